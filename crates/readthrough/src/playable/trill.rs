//! `trill`: trills and tremolos without a fingering, or with a poor one.

use super::cell_edit::without_mark;
use super::range::capital;
use super::sheet::{Sheet, pitch_name};
use ripieno_instruments::{
    Family,
    players::{Limits, limits},
};
use ripieno_music::{Finding, OrnamentKind, Severity};

/// Why a pair of notes does not go.
#[derive(Clone, Copy, PartialEq, PartialOrd, Eq, Ord)]
enum Why {
    Poor,
    Wide,
    Low,
    None,
}

pub(crate) fn check(sheet: &Sheet<'_>, out: &mut Vec<Finding>) {
    if matches!(sheet.desk.instrument.family, Family::Voices | Family::Percussion | Family::Keyboard) {
        return;
    }
    let Some(limits) = limits(&sheet.desk.instrument.id) else { return };
    let mut hits: Vec<(usize, Why, String)> = Vec::new();
    for (i, read) in sheet.notes.iter().enumerate() {
        let Some(key) = read.key else { continue };
        let trilled =
            read.note.ornament.filter(|o| matches!(o.kind, OrnamentKind::Trill | OrnamentKind::Shake));
        // A source that does not say how far leaves it open: then only the register counts.
        let other = match (trilled, read.note.tremolo.and_then(|t| t.with)) {
            (Some(ornament), _) => ornament.above.map(|p| p.key),
            (None, Some(with)) => Some(with.key),
            _ => continue,
        };
        if let Some(why) = judge(limits, key, other, trilled.is_some()) {
            let pair = match other {
                Some(o) => format!("{} to {}", pitch_name(key.min(o)), pitch_name(key.max(o))),
                None => pitch_name(key),
            };
            hits.push((i, why, pair));
        }
    }
    for worst in [Why::None, Why::Low, Why::Wide, Why::Poor] {
        let indices: Vec<usize> = hits.iter().filter(|h| h.1 == worst).map(|h| h.0).collect();
        for stretch in sheet.stretches(&indices) {
            let mut pairs: Vec<&str> = Vec::new();
            for hit in hits.iter().filter(|h| h.1 == worst && stretch.hits.contains(&h.0)) {
                if !pairs.contains(&hit.2.as_str()) {
                    pairs.push(&hit.2);
                }
            }
            let name = sheet.desk.instrument.name();
            let (severity, reason) = match worst {
                Why::None => (Severity::Impossible, format!("has no fingering on the {name} (plain system)")),
                Why::Low => (Severity::Impossible, format!("lies below the trills of the {name}")),
                Why::Wide => {
                    (Severity::Hard, format!("is wider than one position or fingering of the {name} gives"))
                }
                Why::Poor => {
                    (Severity::Hard, format!("has only a poor fingering on the {name} (plain system)"))
                }
            };
            let bar = stretch.first.bar;
            let text = sheet.table.cell_at(sheet.desk.id(), bar).and_then(|t| without_mark(t, "trill"));
            let remedy = match (worst, &text) {
                (_, Some(_)) => "Leave the trill out in this cell, or give it to an instrument that has it",
                (Why::Wide, None) => "Bring the notes nearer to each other, or let two players alternate",
                _ => {
                    "Trill with another neighbour, give it to an instrument that has it, or ask the player for a way"
                }
            };
            out.push(
                sheet
                    .found("trill", severity, &stretch)
                    .says(format!("{} {reason} ({})", capital(&pairs.join(", ")), stretch.count()))
                    .remedy(remedy)
                    .change(text.and_then(|t| sheet.table.cell_change(sheet.desk.id(), bar, t)))
                    .done(),
            );
        }
    }
}

fn judge(limits: &Limits, key: i16, other: Option<i16>, trilled: bool) -> Option<Why> {
    let (low, high) = other.map_or((key, key), |o| (key.min(o), key.max(o)));
    let has = |list: &[(u8, u8)]| list.iter().any(|(a, b)| (i16::from(*a), i16::from(*b)) == (low, high));
    if limits.trills_from.is_some_and(|from| low < i16::from(from)) && (trilled || high - low <= 2) {
        return Some(Why::Low);
    }
    if has(&limits.trills_impossible) {
        return Some(Why::None);
    }
    if limits.tremolo.is_some_and(|widest| f64::from(high - low) > widest) {
        return Some(Why::Wide);
    }
    has(&limits.trills_hard).then_some(Why::Poor)
}
