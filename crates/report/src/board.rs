//! The casting board and the arc, for paper: broken into systems as a score is, each with its own heads.

use crate::Seen;
use ripieno_cue::view::{BoardCell, Row, arc_points, clock};
use ripieno_picture::arc::{self, Scale};
use ripieno_picture::contour::contour;
use ripieno_picture::line;
use ripieno_picture::svg::escape;
use std::fmt::Write as _;
use std::ops::Range;

/// Most passages side by side.
const ACROSS: usize = 7;

/// Height of a contour, points.
const CONTOUR: f64 = 15.0;

/// Height of the arc, points.
const ARC: f64 = 92.0;

/// Passages that stand side by side, as even as can be.
fn systems(count: usize) -> Vec<Range<usize>> {
    let rows = count.div_ceil(ACROSS).max(1);
    (0..rows).map(|i| (i * count / rows)..((i + 1) * count / rows)).collect()
}

pub fn board(seen: &Seen<'_>) -> String {
    let mut out = String::from("<section class=\"casting\"><h2>Casting</h2>");
    out.push_str(r#"<ul class="legend">"#);
    for role in line::SOUNDING {
        let _ =
            write!(out, r#"<li class="{}">{}{}</li>"#, line::class(role), line::sign(role), line::word(role));
    }
    out.push_str("</ul>");
    for system in systems(seen.board.columns.len()) {
        out.push_str(&table(seen, system));
    }
    out + "</section>"
}

/// The widths of a system's passages in percent of what the names leave.
fn widths(seen: &Seen<'_>, system: &Range<usize>) -> Vec<f64> {
    let columns = &seen.board.columns[system.clone()];
    // A short passage still has to hold its words.
    let seconds: Vec<f64> = columns.iter().map(|c| (c.to - c.from).max(0.5)).collect();
    let least = 0.6 * seconds.iter().sum::<f64>() / seconds.len().max(1) as f64;
    let held: Vec<f64> = seconds.iter().map(|s| s.max(least)).collect();
    let sum: f64 = held.iter().sum();
    held.iter().map(|s| 85.0 * s / sum.max(1e-9)).collect()
}

fn table(seen: &Seen<'_>, system: Range<usize>) -> String {
    let board = &seen.board;
    let mut out = String::from(r#"<table class="system"><colgroup><col style="width:15%">"#);
    for width in widths(seen, &system) {
        let _ = write!(out, r#"<col style="width:{width:.2}%">"#);
    }
    out.push_str("</colgroup><thead><tr><th scope=\"col\">Chair</th>");
    for column in &board.columns[system.clone()] {
        let letter =
            column.letter.as_ref().map_or(String::new(), |l| format!(r#"<b class="letter">{l}</b> "#));
        let _ = write!(
            out,
            r#"<th scope="col">{letter}<i>{}</i><br><span class="quiet">{}, {}</span></th>"#,
            escape(&column.name),
            crate::bars(column.from_bar, column.to_bar),
            clock(column.from.max(0.0)),
        );
    }
    out.push_str("</tr></thead>");
    let plays = |row: &Row| row.cells[system.clone()].iter().any(|c| !c.strokes.is_empty());
    let rows: Vec<&Row> = board.rows.iter().filter(|r| r.cells.len() >= system.end && plays(r)).collect();
    for family in rows.chunk_by(|a, b| a.family == b.family) {
        out.push_str("<tbody>");
        for row in family {
            let _ = write!(out, r#"<tr><th scope="row">{}</th>"#, escape(&row.name));
            for cell in &row.cells[system.clone()] {
                out.push_str(&self::cell(cell));
            }
            out.push_str("</tr>");
        }
        out.push_str("</tbody>");
    }
    out + "</table>"
}

fn cell(cell: &BoardCell) -> String {
    if cell.strokes.is_empty() {
        return "<td></td>".into();
    }
    let kind = if cell.with.is_some() { "col" } else { "leads" };
    format!(
        r#"<td class="{} {kind}"><span class="words">{}{}</span>{}</td>"#,
        line::class(cell.role),
        line::sign(cell.role),
        escape(&cell.text),
        contour(&cell.strokes, CONTOUR)
    )
}

pub fn arc(seen: &Seen<'_>) -> String {
    let bars = &seen.checked.arc.bars;
    let seconds = seen.board.seconds;
    let points = arc_points(&seen.checked.arc, seconds);
    if points.is_empty() {
        return String::new();
    }
    let from = points.first().map_or(0.0, |p| p.at);
    let length = (seconds - from).max(1e-6);
    let mut out = String::from(
        r#"<section class="arc-section"><h2>The arc</h2><p class="quiet">Loudness as one line (an estimate from instruments, dynamics and seats), the span from the lowest to the highest note as a band, players sounding as strokes at the foot, brightness dotted.</p><div class="arc-frame">"#,
    );
    out.push_str(&arc::column(&points, &Scale::of(&points), from, seconds, ARC));
    for column in &seen.board.columns {
        let _ = write!(
            out,
            r#"<span class="seam" style="left:{:.2}%">{}</span>"#,
            ((column.from - from) / length * 100.0).clamp(0.0, 100.0),
            escape(column.letter.as_deref().unwrap_or("")),
        );
    }
    if let Some(climax) = &seen.checked.arc.climax
        && let Some(bar) = bars.iter().find(|b| b.bar == climax.bar)
    {
        let left = ((bar.seconds - from) / length * 100.0).clamp(0.0, 100.0);
        let side = if left > 60.0 { " right" } else { "" };
        let _ = write!(
            out,
            r#"<span class="climax{side}" style="left:{left:.2}%">climax, bar {}</span>"#,
            climax.bar
        );
    }
    out.push_str("</div>");
    let entrances: Vec<String> = seen
        .checked
        .arc
        .chairs
        .iter()
        .map(|p| {
            format!(
                "<tr><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
                escape(&name(seen, &p.who)),
                p.from_bar,
                p.to_bar,
                p.bars
            )
        })
        .collect();
    let _ = write!(
        out,
        "<details><summary>First and last bars of every chair</summary><table class=\"plain\"><thead><tr><th>Chair</th><th>from bar</th><th>to bar</th><th>bars with notes</th></tr></thead><tbody>{}</tbody></table></details></section>",
        entrances.concat()
    );
    out
}

/// The name of a chair.
pub fn name(seen: &Seen<'_>, chair: &str) -> String {
    seen.board.rows.iter().find(|r| r.chair == chair).map_or_else(|| chair.to_string(), |r| r.name.clone())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn systems_are_even_and_complete() {
        for count in 0..60 {
            let all = systems(count);
            assert_eq!(all.iter().map(Range::len).sum::<usize>(), count);
            assert!(all.iter().all(|s| s.len() <= ACROSS));
            let (least, most) = (all.iter().map(Range::len).min(), all.iter().map(Range::len).max());
            assert!(most.unwrap() - least.unwrap() <= 1);
        }
    }
}
