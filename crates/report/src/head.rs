//! The job sheet: what the cue is, how long, for whom, how loud.

use crate::{Seen, title};
use ripieno_cue::counted;
use ripieno_cue::view::clock;
use ripieno_picture::svg::escape;
use ripieno_plan::Purpose;
use std::fmt::Write as _;

pub fn head(seen: &Seen<'_>) -> String {
    let timeline = &seen.performed.performance.timeline;
    let plan = &seen.cue.plan;
    let seconds = timeline.seconds(timeline.end()).0;
    let bars = timeline.bars.iter().filter(|b| b.number > 0).count();
    let chairs = seen.performed.performance.chairs.len();
    let players: u32 = seen.performed.performance.chairs.iter().map(|c| u32::from(c.players)).sum();
    let notes: usize = seen.performed.parts.iter().map(|p| p.content.notes.len()).sum();
    let sent = seen.performed.patches.intents.iter().filter(|i| i.note_on.is_some()).count();
    let mut rows: Vec<(&str, String)> = Vec::new();
    if let Some(date) = &plan.date {
        rows.push(("Date", date.to_string()));
    }
    rows.push(("Length", format!("{} ({seconds:.2} s), {}", clock(seconds), counted(bars, "bar"))));
    rows.push(("Metre and tempo", metres(seen)));
    rows.push(("Players", format!("{}, {}", counted(chairs, "chair"), counted(players as usize, "player"))));
    rows.push((
        "Made for",
        match plan.purpose {
            Purpose::Samples => "the composer's own patches".into(),
            Purpose::Session => "a session with living players".into(),
        },
    ));
    rows.push(("Notes", format!("{notes} written, {sent} sent to patches")));
    let lead = &seen.performed.patches;
    rows.push((
        "Before bar 1",
        format!(
            "{} whole bar{} of lead-in, {:.3} s, the same in MIDI and in sound",
            lead.lead_in_bars,
            if lead.lead_in_bars == 1 { "" } else { "s" },
            lead.lead_in.0
        ),
    ));
    if let Some(picture) = &plan.picture {
        let (rate, start) = (picture.rate.word(), picture.start);
        let begins = match picture.zero() == start {
            true => "there bar 1 begins".into(),
            false => format!("bar 1 begins at {}", picture.zero()),
        };
        rows.push(("Picture", format!("{rate} frames a second, first frame {start}; {begins}")));
    }
    rows.push(("Music", plan.music.clone()));
    let mut out = format!("<header><h1>{}</h1><table class=\"job\"><tbody>", escape(title(seen.cue)));
    for (what, value) in rows {
        let _ = write!(out, "<tr><th scope=\"row\">{what}</th><td>{}</td></tr>", escape(&value));
    }
    out + "</tbody></table></header>"
}

/// The hits of the picture, and what of the music falls on them.
pub fn hits(seen: &Seen<'_>) -> String {
    let hits = ripieno_cue::hits_now(seen.cue);
    if hits.is_empty() {
        return String::new();
    }
    let mut out = String::from(
        "<section><h2>Hits</h2><table class=\"plain\"><thead><tr><th>Time code</th><th>What</th><th>Music</th><th>Off by</th></tr></thead><tbody>",
    );
    for hit in &hits {
        let _ = write!(
            out,
            "<tr><th scope=\"row\">{}</th><td>{}</td><td>{}</td><td>{}</td></tr>",
            hit.at,
            escape(&hit.what),
            hit.place_words(),
            hit.error_words()
        );
    }
    out + "</tbody></table></section>"
}

/// Metres and tempi in the order in which they come, as far as one line tells.
fn metres(seen: &Seen<'_>) -> String {
    let timeline = &seen.performed.performance.timeline;
    let mut metres: Vec<String> = Vec::new();
    for bar in &timeline.bars {
        let metre = format!("{}/{}", bar.metre.beats, bar.metre.unit);
        if metres.last() != Some(&metre) {
            metres.push(metre);
        }
    }
    let tempi = timeline.tempi.iter().map(|t| 60.0e6 / f64::from(t.micros.max(1)));
    let (low, high) = tempi.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), t| (a.min(t), b.max(t)));
    let shown = if metres.len() > 8 {
        format!("{} and {} more changes", metres[..8].join(", "), metres.len() - 8)
    } else {
        metres.join(", ")
    };
    match low.is_finite() {
        true if high - low < 0.05 => format!("{shown}; {low:.1} quarters a minute"),
        true => format!("{shown}; {low:.1} to {high:.1} quarters a minute"),
        false => shown,
    }
}
