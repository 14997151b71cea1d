//! Two versions of a cue: what is another.

use ripieno_cue::Change;
use ripieno_picture::svg::escape;

/// Asks for the other version. It stands beside the pieces that are renewed: what was compared stays to be read.
pub fn panel() -> &'static str {
    r#"<section id="versions" aria-labelledby="versions-title"><h2 id="versions-title">Versions</h2>
<form id="compare"><label>What has changed since <input name="folder" size="18" autocomplete="off" spellcheck="false" placeholder="a cue, or a delivered folder" value="delivered"></label> <button type="submit">compare</button></form>
<div id="changes" aria-live="polite"></div></section>"#
}

/// The changes in sentences.
pub fn changes(all: &[Change]) -> String {
    if all.is_empty() {
        return "<p>Nothing: both versions play the same, in the same places.</p>".into();
    }
    let one = |change: &Change| format!("<li>{}</li>", escape(&change.message));
    format!("<ul>{}</ul>", all.iter().map(one).collect::<String>())
}
