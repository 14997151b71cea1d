//! `dies-away`: notes of harp, piano, bars and bells that are held as if they could sustain, or told to grow.

use super::range::capital;
use super::sheet::{Read, Sheet, Stretch, repeated_strokes, said};
use ripieno_instruments::{DecayPoint, Family};
use ripieno_music::{DirectionKind, Finding, Gesture, Severity};

/// Held so many times as long as it can be heard: what dies just as its value ends is as it should be, and the time to fall
/// by 60 dB is not known more closely than that.
const LONGER: f64 = 1.25;

pub(crate) fn check(sheet: &Sheet<'_>, out: &mut Vec<Finding>) {
    let instrument = sheet.desk.instrument;
    if !instrument.decays {
        return;
    }
    let many = strokes(sheet);
    let single = |i: &usize| !repeated_strokes(&sheet.notes[*i]) && !many[*i];
    if !instrument.decay.is_empty() {
        let gone = |r: &Read<'_>| rings(&instrument.decay, r.key.unwrap_or(60));
        let hits: Vec<usize> = (0..sheet.notes.len())
            .filter(|i| sheet.notes[*i].seconds() > LONGER * gone(&sheet.notes[*i]))
            .filter(single)
            .filter(|i| !held_by_another(sheet, &sheet.notes[*i], gone(&sheet.notes[*i])))
            .collect();
        // A harp is written so every day: said once, where nobody else holds the harmony.
        let once = match (hits.first(), hits.last()) {
            (Some(first), Some(last)) => {
                let first = sheet.place(sheet.notes[*first].note.at);
                vec![Stretch { first, to_bar: sheet.bar(*last), hits: hits.clone() }]
            }
            _ => Vec::new(),
        };
        for stretch in once {
            let by =
                |a: &&usize, b: &&usize| sheet.notes[**a].seconds().total_cmp(&sheet.notes[**b].seconds());
            let Some(longest) = stretch.hits.iter().max_by(by) else { continue };
            let read = &sheet.notes[*longest];
            out.push(
                sheet
                    .found("dies-away", Severity::Advice, &stretch)
                    .says(format!(
                        "{} held for up to {}, and at this height the {} is gone after about {}",
                        capital(&stretch.count()),
                        said(read.seconds()),
                        instrument.name(),
                        said(gone(read))
                    ))
                    .remedy("Strike again, roll or trill it, or give the held note to an instrument that sustains")
                    .done(),
            );
        }
    }
    // A hairpin that grows over one stroke.
    let mut hits: Vec<usize> = Vec::new();
    for direction in &sheet.desk.part.content.directions {
        let DirectionKind::Hairpin { louder: true, to, .. } = direction.kind else { continue };
        // What is struck where it ends is what it leads to: a pianist leans into it.
        let struck_within = sheet.notes.iter().any(|r| r.note.at > direction.at && r.note.at <= to);
        if struck_within {
            continue;
        }
        let held = sheet.notes.iter().rposition(|r| {
            r.note.at <= direction.at
                && r.note.end() >= to
                && direction.staff.is_none_or(|s| s == r.note.staff)
        });
        hits.extend(held.filter(single));
    }
    hits.sort_unstable();
    hits.dedup();
    // On a keyboard a hairpin over a held chord speaks of the line that it stands in.
    let severity = if instrument.family == Family::Keyboard { Severity::Advice } else { Severity::Hard };
    for stretch in sheet.stretches(&hits) {
        out.push(
            sheet
                .found("dies-away", severity, &stretch)
                .says(format!(
                    "A crescendo over {} that is struck but once: the {} only dies away",
                    if stretch.hits.len() == 1 { "a note".to_string() } else { stretch.count() },
                    instrument.name()
                ))
                .remedy(
                    "Roll, trill or repeat the note, or give the crescendo to an instrument that sustains",
                )
                .done(),
        );
    }
}

/// Does somebody who can sustain sound when a note has died, for most of what is left of its value?
fn held_by_another(sheet: &Sheet<'_>, read: &Read<'_>, gone: f64) -> bool {
    let (from, to) = (read.from + gone, read.to);
    let holds = |g: &Gesture| g.end.0.min(to) - g.onset.0.max(from) > 0.5 * (to - from);
    let others = sheet.table.desks.iter().filter(|d| d.id() != sheet.desk.id());
    others
        .filter(|d| !d.instrument.decays && !d.instrument.unpitched)
        .any(|d| d.performance.gestures.iter().any(holds))
}

/// Which notes are played as many strokes.
fn strokes(sheet: &Sheet<'_>) -> Vec<bool> {
    use std::collections::BTreeSet;
    let key = |bar: i32, beat: f64, key: u8| (bar, (beat * 960.0).round() as i64, key);
    let many: BTreeSet<(i32, i64, u8)> = sheet
        .desk
        .performance
        .gestures
        .iter()
        .filter(|g| g.realisation.as_ref().is_some_and(|r| r.strokes.len() > 2))
        .map(|g| key(g.place.bar, g.place.beat, if g.stroke.is_some() { 0 } else { g.key }))
        .collect();
    let of = |r: &Read<'_>| {
        let at = sheet.place(r.note.at);
        key(at.bar, at.beat, r.key.and_then(|k| u8::try_from(k).ok()).unwrap_or(0))
    };
    sheet.notes.iter().map(|r| many.contains(&of(r))).collect()
}

/// How long a note can be heard at the most: the longest time to fall by 60 dB, straight between the points known.
fn rings(decay: &[DecayPoint], key: i16) -> f64 {
    let points: Vec<(f64, f64)> = decay.iter().map(|d| (f64::from(d.key), d.longest)).collect();
    ripieno_units::math::polyline(&points, f64::from(key))
}
