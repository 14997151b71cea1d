//! What stands beside the findings: how the music meets the picture, and what was changed by hand.

use crate::open::{Shown, Through};
use ripieno_cue::{FitSheet, HitMet, Pencilled};
use ripieno_picture::svg::escape;
use std::fmt::Write as _;

/// Both.
pub fn beside(shown: &Shown, through: Option<&Through>) -> String {
    let mut out = String::from(r#"<div id="beside">"#);
    let hits = ripieno_cue::hits_now(&shown.played.cue);
    if !hits.is_empty() {
        out.push_str(&picture(&hits));
    }
    out.push_str(&hand(shown, through.map_or(&[], |t| &t.pencil)));
    out + "</div>"
}

fn off(hit: &HitMet) -> String {
    match hit.place {
        None => "passed over".into(),
        Some(_) if hit.frames.abs() < 0.05 => "on the frame".into(),
        Some(_) => format!(
            "{:.1} frames {} ({:.0} ms)",
            hit.frames.abs(),
            if hit.frames > 0.0 { "late" } else { "early" },
            hit.ms.abs()
        ),
    }
}

fn hits(all: &[HitMet]) -> String {
    let mut out = String::from("<ul class=\"hits\">");
    for hit in all {
        let place = hit.place.map_or(String::new(), |(bar, beat)| format!(", bar {bar} beat {beat}"));
        let _ = write!(
            out,
            r#"<li class="{}"><b>{}</b> {} <span class="quiet">{}{place}</span></li>"#,
            if hit.is_met() { "met" } else { "missed" },
            escape(&hit.at.to_string()),
            escape(&hit.what),
            escape(&off(hit)),
        );
    }
    out + "</ul>"
}

fn picture(all: &[HitMet]) -> String {
    format!(
        r#"<section class="picture" aria-label="to picture"><h2>To picture</h2>{}<p><button type="button" id="fit" title="tempi and bars that bring the music onto the hits">propose tempi</button></p><div id="proposals" aria-live="polite"></div></section>"#,
        hits(all)
    )
}

/// The proposals, each with its hits, its costs, and a button that takes it.
pub fn proposals(sheet: &FitSheet) -> String {
    let mut out = String::new();
    if sheet.proposals.is_empty() {
        out.push_str("<p>No tempo within the bounds brings the music onto these hits.</p>");
    }
    for (i, proposal) in sheet.proposals.iter().enumerate() {
        let met = proposal.hits.iter().filter(|h| h.is_met()).count();
        let _ = write!(
            out,
            r#"<details{}><summary>{}: {met} of {} hits met</summary>{}<ul class="quiet">{}</ul><p><button type="button" class="take-fit" data-number="{}">take this</button></p></details>"#,
            if i == 0 { " open" } else { "" },
            escape(proposal.kind),
            proposal.hits.len(),
            hits(&proposal.hits),
            proposal.costs.iter().map(|c| format!("<li>{}</li>", escape(c))).collect::<String>(),
            i + 1,
        );
    }
    for remark in &sheet.remarks {
        let _ = write!(out, "<p class=\"quiet\">{}</p>", escape(remark));
    }
    out
}

fn hand(shown: &Shown, marks: &[Pencilled]) -> String {
    let mut out = String::from(r#"<section class="hand" aria-label="by hand"><h2>By hand</h2>"#);
    if marks.is_empty() {
        out.push_str(r#"<p class="quiet">What you change in the performed MIDI elsewhere is kept, and made again whenever the cue is computed: give the file back here.</p>"#);
    } else {
        out.push_str("<ul>");
        for mark in marks {
            let name = shown
                .board
                .rows
                .iter()
                .find(|r| r.chair == mark.chair)
                .map_or(mark.chair.as_str(), |r| &r.name);
            let no = mark.no_longer.as_ref().map_or(String::new(), |why| {
                format!(r#" <span class="gone">no longer fits: {}</span>"#, escape(why))
            });
            let _ = write!(
                out,
                r#"<li><b>{}</b> <span class="quiet">bar {} beat {}</span> {}{no} <button type="button" class="rub" data-mark="{}" aria-label="rub out this mark">rub out</button></li>"#,
                escape(name),
                mark.bar,
                (mark.beat * 100.0).round() / 100.0,
                escape(&mark.message),
                mark.id,
            );
        }
        out.push_str("</ul>");
    }
    out.push_str(
        r#"<p><label class="give-back">give back an edited MIDI <input type="file" id="edited" accept=".mid,.midi,audio/midi"></label> <button type="button" id="rub-back" title="the marks before the last change of them">put back</button></p><p class="quiet small">Handwork changes the MIDI, not the sound of the house orchestra.</p></section>"#,
    );
    out
}
