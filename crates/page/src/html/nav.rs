//! From view to view, in words.

use ripieno_picture::svg::escape;

/// The views of a cue with the last part of their addresses.
const VIEWS: [(&str, &str, &str); 3] = [
    ("board", "", "who plays what"),
    ("hall", "hall", "who sits where, and in which room"),
    ("patches", "patches", "what your own sampled instruments are told"),
];

/// Links to the views; `here` is the one that is shown.
pub fn nav(id: &str, here: &str) -> String {
    let link = |(word, path, help): (&str, &str, &str)| {
        let current = if word == here { r#" aria-current="page""# } else { "" };
        format!(r#"<a href="/cue/{}/{path}" title="{help}"{current}>{word}</a>"#, escape(id))
    };
    format!(r#"<nav class="places" aria-label="views">{}</nav>"#, VIEWS.map(link).concat())
}
