//! `[source]` of a plan: read as it is written, and complained of where it cannot be.

use ripieno_plan::Plan;

const CUE: &str = "[cue]\nmusic = \"mock.mid\"\n";

#[test]
fn tracks_of_a_played_source_are_read() {
    let text = format!(
        "{CUE}\n[source]\nplayed = true\nlead-in = 2\n\n[source.tracks]\n\"VN1 leg\" = {{ chair = \"violins-1\", card = 2, \
         playing = \"legato\", delay-ms = 120, switches = {{ \"C0\" = \"legato\", \"C#0\" = \"?\" }} }}\n\"Keys\" = {{ switches = \
         [\"C-1\"] }}\n"
    );
    let (plan, found) = Plan::parse("cue.toml", &text);
    assert!(found.is_empty(), "{found:?}");
    let source = plan.source;
    assert_eq!((source.played, source.lead_in, source.tracks.len()), (true, 2, 2));
    let one = &source.tracks[0];
    assert_eq!((one.track.as_str(), one.chair.as_deref(), one.card), ("VN1 leg", Some("violins-1"), 2));
    assert_eq!((one.playing.as_deref(), one.delay_ms), (Some("legato"), 120.0));
    // Middle C, key 60, is C4.
    assert_eq!(one.switches, [(12, Some("legato".to_string())), (13, None)]);
    assert_eq!(source.tracks[1].switches, [(0, None)]);
}

#[test]
fn what_cannot_be_read_is_said() {
    for wrong in [
        "[source]\nplayd = true",
        "[source]\nlead-in = -1",
        "[source.tracks]\n\"A\" = 3",
        "[source.tracks]\n\"A\" = { switches = [\"H9\"] }",
        "[source.tracks]\n\"A\" = { switches = 3 }",
        "[source.tracks]\n\"A\" = { delay-ms = 1e9 }",
    ] {
        let (_, found) = Plan::parse("cue.toml", &format!("{CUE}\n{wrong}\n"));
        assert!(!found.is_empty(), "{wrong}");
    }
}
