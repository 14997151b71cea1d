//! The controls of listening, in words.

/// What is said beside them: levels and times as in the NIOSH recommendation (85 dBA for 8 hours, 3 dB a halving; NIOSH 98-126).
const HEARING: &str = "Listening begins at a moderate level, and is limited. What is loud for long harms hearing for good: at 85 dB(A), 8 hours a day are the most that is recommended, and half of that for every 3 dB more (NIOSH 98-126). Your local rules on noise at work come first; ringing ears are a reason to stop.";

/// The few that other views than the board have.
pub fn few() -> String {
    format!(
        r#"<span id="listening" role="group" aria-label="listening">
<button type="button" id="play" class="chief" title="play; space">play</button>
<label>hear <select id="hear"><option value="all:">everything</option></select></label>
<label>level <input id="level" type="range" min="0" max="100" value="80"></label>
<button type="button" id="kept-casting" aria-pressed="false" hidden></button>
<output id="heard-place" aria-label="place"></output>
<details class="hearing"><summary>on hearing</summary><p>{HEARING}</p></details>
</span>"#
    )
}

/// The controls; what can be chosen is filled in by the script.
pub fn controls() -> String {
    format!(
        r#"<span id="listening" role="group" aria-label="listening">
<button type="button" id="play" class="chief" title="play from the place that was chosen; space">play</button>
<span class="before"><button type="button" id="play-before" title="play from before the passage">from</button><input id="bars-before" type="number" min="0" max="99" value="2" aria-label="bars before"><button type="button" class="bare" id="play-before-too" tabindex="-1">bars before</button></span>
<label>hear <select id="hear"><option value="all:">everything</option></select></label>
<button type="button" id="except" aria-pressed="false" title="everything but what is chosen">all but it</button>
<button type="button" id="against" aria-pressed="false" title="the full orchestra, at the same place; press again to go back">full orchestra</button>
<button type="button" id="again" aria-pressed="false" title="the passage, again and again">loop</button>
<button type="button" id="keep-casting" title="keep this casting to hear a later one against it">keep casting</button>
<button type="button" id="kept-casting" aria-pressed="false" disabled title="hear the casting that was kept, at the same loudness">kept casting</button>
<label>level <input id="level" type="range" min="0" max="100" value="80"></label>
<output id="heard-place" aria-label="place"></output>
<details class="hearing"><summary>on hearing</summary><p>{HEARING}</p></details>
</span>"#
    )
}
