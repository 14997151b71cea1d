//! The opened cell: its picture, what it shows, and the same in words.

use ripieno_picture::staff::{Opened, draw, in_words, natural_scale};
use ripieno_picture::svg::escape;
use std::fmt::Write as _;

/// A chair in a passage, opened. `wider` multiplies the scale, 0.25 to 4.
pub fn opened(cell: &Opened, wider: f64) -> String {
    let wider = if wider.is_finite() { wider.clamp(0.25, 4.0) } else { 1.0 };
    let title = cell.title.replace(" on a staff", "");
    let mut out = format!(
        r#"<section id="opened" tabindex="-1" aria-labelledby="opened-title"><header><h2 id="opened-title">{}</h2><div class="opened-controls" role="group" aria-label="the opened cell"><button type="button" data-opened="wider" title="more room for each second">wider</button><button type="button" data-opened="narrower" title="less room for each second">narrower</button><button type="button" data-opened="close" title="back to the board (Escape)">close</button></div></header>"#,
        escape(&title)
    );
    if cell.notes.is_empty() {
        let _ = write!(out, r#"<p class="quiet">{}</p></section>"#, escape(&cell.caption));
        return out;
    }
    let _ = write!(
        out,
        r#"<div class="opened-frame" tabindex="0" aria-label="the picture, wider than the page: the arrow keys move it">{}</div><p class="quiet small">{}</p><details id="opened-words"><summary>in words</summary><dl>"#,
        draw(cell, natural_scale(cell) * wider),
        escape(&cell.caption)
    );
    for bar in in_words(cell) {
        let _ = write!(out, "<dt>bar {}</dt><dd>{}</dd>", bar.bar, escape(&bar.text));
    }
    out.push_str("</dl></details></section>");
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_picture::staff::{Bar, Note, Staff, Words};

    #[test]
    fn picture_and_words_tell_the_same_and_names_are_harmless() {
        let cell = Opened {
            title: "<Oboe> in “Fog”, bar 5: one note on a staff".into(),
            staves: vec![Staff::Lines(vec!["Tam-tam".into()])],
            bars: vec![Bar { at: 0.0, number: 5, ..Bar::default() }],
            end: 2.0,
            notes: vec![Note { onset: 0.5, end: 1.0, beat: 2.0, ..Note::default() }],
            calls: vec![Words { at: 0.5, to: None, text: "roll (C0)".into() }],
            ..Opened::default()
        };
        let html = opened(&cell, 1.0);
        assert!(html.contains("&lt;Oboe&gt; in “Fog”, bar 5: one note</h2>"));
        assert!(
            html.contains("<dt>bar 5</dt><dd>beat 2: Tam-tam for 0.5 s; the patch is called: roll (C0)</dd>")
        );
        assert!(html.contains("role=\"img\"") && !html.contains("<Oboe>"));
        let width = |wider: f64| {
            opened(&cell, wider)
                .split("width=\"")
                .nth(1)
                .unwrap()
                .split('"')
                .next()
                .unwrap()
                .parse::<f64>()
                .unwrap()
        };
        assert!(width(2.0) > width(1.0) && width(f64::NAN) == width(1.0));
        let silent = Opened { notes: Vec::new(), caption: "Silent here.".into(), ..cell };
        assert!(opened(&silent, 1.0).contains("Silent here.") && !opened(&silent, 1.0).contains("<svg"));
    }
}
