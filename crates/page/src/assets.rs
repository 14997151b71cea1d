//! Style and scripts, inside the program.

use axum::http::header;
use axum::response::{IntoResponse, Response};

const FILES: &[(&str, &str, &str)] = &[
    ("page.css", "text/css; charset=utf-8", include_str!("../assets/page.css")),
    ("board.css", "text/css; charset=utf-8", include_str!("../assets/board.css")),
    ("pictures.css", "text/css; charset=utf-8", ripieno_picture::STYLE),
    ("opened.css", "text/css; charset=utf-8", include_str!("../assets/opened.css")),
    ("hall.css", "text/css; charset=utf-8", include_str!("../assets/hall.css")),
    ("patches.css", "text/css; charset=utf-8", include_str!("../assets/patches.css")),
    ("hall.js", SCRIPT, include_str!("../assets/hall.js")),
    ("patches.js", SCRIPT, include_str!("../assets/patches.js")),
    ("prints.js", SCRIPT, include_str!("../assets/prints.js")),
    ("wire.js", SCRIPT, include_str!("../assets/wire.js")),
    ("main.js", SCRIPT, include_str!("../assets/main.js")),
    ("api.js", SCRIPT, include_str!("../assets/api.js")),
    ("board.js", SCRIPT, include_str!("../assets/board.js")),
    ("edit.js", SCRIPT, include_str!("../assets/edit.js")),
    ("complete.js", SCRIPT, include_str!("../assets/complete.js")),
    ("beside.js", SCRIPT, include_str!("../assets/beside.js")),
    ("findings.js", SCRIPT, include_str!("../assets/findings.js")),
    ("passages.js", SCRIPT, include_str!("../assets/passages.js")),
    ("opened.js", SCRIPT, include_str!("../assets/opened.js")),
    ("view.js", SCRIPT, include_str!("../assets/view.js")),
    ("out.js", SCRIPT, include_str!("../assets/out.js")),
    ("listen.js", SCRIPT, include_str!("../assets/listen.js")),
    ("film.js", SCRIPT, include_str!("../assets/film.js")),
    ("timecode.js", SCRIPT, include_str!("../assets/timecode.js")),
    ("film.css", "text/css; charset=utf-8", include_str!("../assets/film.css")),
    ("listen.css", "text/css; charset=utf-8", include_str!("../assets/listen.css")),
    ("home.js", SCRIPT, include_str!("../assets/home.js")),
];

const SCRIPT: &str = "text/javascript; charset=utf-8";

/// An asset by its name.
pub fn asset(name: &str) -> Option<Response> {
    let (_, kind, text) = FILES.iter().find(|(n, ..)| *n == name)?;
    Some(([(header::CONTENT_TYPE, *kind)], *text).into_response())
}
