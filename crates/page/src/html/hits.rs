//! The hits of the picture on the board's ruler: a mark each where it stands in the head of its passage.

use ripieno_cue::view::Column;
use ripieno_cue::{Cue, hits_now};
use ripieno_picture::svg::escape;
use std::fmt::Write as _;

/// For each passage the marks of its hits; empty where it has none. Past the end of the music there is no head to stand in.
pub(super) fn marks(cue: &Cue, columns: &[Column]) -> Vec<String> {
    let mut out = vec![String::new(); columns.len()];
    let Some(picture) = &cue.plan.picture else { return out };
    for hit in hits_now(cue) {
        let time = hit.at.since(picture.zero());
        let Some(i) = columns.iter().position(|c| (c.from..c.to).contains(&time)) else { continue };
        let column = &columns[i];
        let words = format!("{} {}", hit.at, hit.what);
        let words = format!("{}: {}, {}", words.trim_end(), hit.place_words(), hit.error_words());
        let _ = write!(
            out[i],
            r#"<span class="hit{missed}" role="img" style="--at: {at:.2}%" title="{words}" aria-label="hit {words}"></span>"#,
            missed = if hit.is_met() { "" } else { " missed" },
            at = 100.0 * (time - column.from) / (column.to - column.from).max(1e-9),
            words = escape(&words),
        );
    }
    out
}
