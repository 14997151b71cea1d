//! Every chair's patch: what it was asked, how often, with which delay; and the patch list as text to paste.

use crate::{Seen, board::name};
use ripieno_picture::svg::escape;
use std::fmt::Write as _;

pub fn chairs(seen: &Seen<'_>) -> String {
    let cards = ripieno_cue::view::patches(seen.cue);
    let mut out = String::from(
        "<section><h2>Chairs and patches</h2><table class=\"plain\"><thead><tr><th>Chair</th><th>Players</th><th>Patch</th><th>Articulations (notes, delay)</th><th>Dynamics</th><th>Curve events</th></tr></thead><tbody>",
    );
    for track in &seen.performed.patches.tracks {
        let used: Vec<String> = track.used.iter().map(used).collect();
        let players = seen.board.rows.iter().find(|r| r.chair == track.chair).map_or(0, |r| r.players);
        let card = cards
            .cards
            .iter()
            .find(|c| c.card.patch == track.patch && c.chairs.iter().any(|(id, _)| *id == track.chair));
        let _ = write!(
            out,
            "<tr><th scope=\"row\">{}</th><td>{players}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
            escape(&track_name(seen, &track.chair, &track.track)),
            escape(&track.patch),
            escape(&used.join(", ")),
            card.map_or_else(String::new, |c| escape(&c.dynamics)),
            match track.control_events {
                0 => "none".to_string(),
                n => format!("{n}, at most {} a second", track.busiest_second),
            },
        );
    }
    out + "</tbody></table></section>"
}

fn used((articulation, count, delay): &(String, usize, f64)) -> String {
    if *delay > 0.0 {
        format!("{articulation} ({count}, {delay:.0} ms)")
    } else {
        format!("{articulation} ({count})")
    }
}

/// The chair's name, with the track's where they differ by more than that.
fn track_name(seen: &Seen<'_>, chair: &str, track: &str) -> String {
    let name = name(seen, chair);
    if track == chair { name } else { format!("{name} ({track})") }
}

/// One line a chair: what plays it.
pub fn patch_list(seen: &Seen<'_>) -> String {
    let mut lines: Vec<String> = Vec::new();
    for track in &seen.performed.patches.tracks {
        lines.push(format!("{}: {}", name(seen, &track.chair), track.patch));
    }
    lines.dedup();
    format!(
        "<section><h2>Patch list</h2><p class=\"quiet\">To paste where the patches are to be named.</p><pre>{}</pre></section>",
        escape(&lines.join("\n"))
    )
}
