//! The panel of a film: chosen from the user's own files, in step with what is heard. What the plan says of the picture is a piece
//! of its own, which is renewed; the panel is not, for the film in it is the browser's.

use crate::open::Shown;
use ripieno_cue::hits_now;
use ripieno_picture::svg::escape;
use serde::Serialize;

#[derive(Serialize)]
struct Rate {
    word: &'static str,
    num: i64,
    den: i64,
    counted: i64,
    drops: bool,
}

#[derive(Serialize)]
struct Hit {
    frame: i64,
    what: String,
    place: String,
    /// Frames that the music is late; none where it is passed over.
    off: Option<f64>,
    met: bool,
}

#[derive(Default, Serialize)]
struct Facts {
    rate: Option<Rate>,
    /// Frame of bar 1.
    zero: i64,
    /// The picture's first frame.
    start: i64,
    hits: Vec<Hit>,
}

/// What the plan says of the picture, for the script that counts its frames.
pub fn facts(shown: &Shown) -> String {
    let cue = &shown.played.cue;
    let facts = cue.plan.picture.as_ref().map_or_else(Facts::default, |picture| {
        let (num, den) = picture.rate.fraction();
        let hit = |hit: ripieno_cue::HitMet| Hit {
            frame: hit.at.frame,
            place: hit.place_words(),
            off: hit.place.map(|_| hit.frames),
            met: hit.is_met(),
            what: hit.what,
        };
        Facts {
            rate: Some(Rate {
                word: picture.rate.word(),
                num,
                den,
                counted: picture.rate.counted(),
                drops: picture.rate.drops(),
            }),
            zero: picture.zero().frame,
            start: picture.start.frame,
            hits: hits_now(cue).into_iter().map(hit).collect(),
        }
    });
    let json = serde_json::to_string(&facts).unwrap_or_default();
    format!(r#"<div id="film-facts" hidden data-facts="{}"></div>"#, escape(&json))
}

/// The panel.
pub fn panel() -> String {
    r#"<section id="film" aria-label="Film" hidden>
<video id="film-picture" muted playsinline preload="auto" disablepictureinpicture hidden aria-label="the film, in step with the music"></video>
<p class="film-place"><output id="film-code" aria-label="time code" aria-live="off"></output></p>
<p id="film-next" class="quiet"></p>
<p class="film-controls"><label class="film-choose">choose a film<input type="file" id="film-file" accept="video/*"></label>
<button type="button" id="film-sound" aria-pressed="false" title="hear the film's own sound beside the music">its sound</button>
<button type="button" id="film-larger" title="the film larger">larger</button>
<button type="button" id="film-smaller" title="the film smaller">smaller</button>
<button type="button" id="film-away" title="put the film away" disabled>put away</button></p>
<p id="film-said" role="status" class="small"></p>
<p class="film-begin"><label><span id="film-begin-label">the film's first frame is</span> <input id="film-begin" autocomplete="off" spellcheck="false" aria-describedby="film-begin-fault"></label></p>
<p id="film-begin-fault" role="alert" class="fault"></p>
<ul id="film-hits" class="hits" aria-label="hits of the picture"></ul>
<p id="film-without" class="quiet small" hidden>For time code and hits, say in <code>cue.toml</code> how many frames a second the picture has, and the code of its first one:<code class="lines">[picture]
rate  = "25"
start = "01:00:00:00"</code></p>
<p class="quiet small">The film stays on this computer: the browser opens it from where it is, and nothing of it is sent anywhere. When the page is loaded anew it is to be chosen again.</p>
</section>"#
        .into()
}
