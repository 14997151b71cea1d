//! Strokes without pitch: how many hands they take at once, and how quickly each repeats.

use super::FAR_BEYOND;
use crate::solve::events::Words;
use crate::solve::spots::{Spot, gather, list, number};
use crate::{Desk, Table};
use ripieno_instruments::{by_id, strokes};
use ripieno_music::{Finding, Note, NoteKind, Severity};
use std::collections::BTreeMap;

/// A hand or a foot strikes no two of these at once.
const HANDS: usize = 2;
const FEET: usize = 2;

pub(super) fn check(table: &Table<'_>, desk: &Desk<'_>) -> Vec<Finding> {
    let mut notes: Vec<&Note> = desk.part.content.notes.iter().collect();
    notes.retain(|n| matches!(n.kind, NoteKind::Unpitched { .. }));
    if notes.is_empty() {
        return Vec::new();
    }
    notes.sort_by_key(|n| n.at);
    let known = strokes();
    let kit = known.kits.contains(&desk.instrument.id);
    let (mut counts, mut speeds) = (Vec::new(), Vec::new());
    let mut words = Words::of(desk.part);
    // When each thing was struck last.
    let mut last: BTreeMap<&str, f64> = BTreeMap::new();
    for group in notes.chunk_by(|a, b| a.at == b.at) {
        let at = group[0].at;
        let players = usize::from(words.at(at).players.unwrap_or(desk.players).min(desk.players).max(1));
        let seconds = table.clock.seconds(at).0;
        let mut struck: Vec<&str> = group.iter().filter_map(|n| stroke(n)).collect();
        struck.sort_unstable();
        struck.dedup();
        let has = |list: &[String], id: &str| list.iter().any(|i| i == id);
        let feet = if kit { struck.iter().filter(|s| has(&known.feet, s)).count().min(FEET) } else { 0 };
        let hands: usize =
            struck.iter().map(|s| 1 + usize::from(has(&known.two_hands, s))).sum::<usize>() - feet;
        if hands > HANDS * players {
            let things: Vec<String> = struck.iter().map(|s| label(s)).collect();
            counts.push(Spot {
                at: table.timeline.place(at),
                severity: Severity::Hard,
                says: format!(
                    "{}: {} at once take {} hands of {}",
                    desk.name(),
                    list(&things),
                    number(hands as u16),
                    if players == 1 {
                        "one player".into()
                    } else {
                        format!("{} players", number(players as u16))
                    }
                ),
                remedy: format!("Give it to {} players", number(hands.div_ceil(HANDS) as u16)),
                change: None,
            });
        }
        for thing in struck {
            let repetition = by_id(thing).unwrap_or(desk.instrument).repetition;
            let (rate, roll) = (repetition.single * players as f64, repetition.roll);
            let gap = seconds - last.insert(thing, seconds).unwrap_or(f64::NEG_INFINITY);
            // A measured roll of tiny notes is a roll.
            let rolled = group.iter().any(|n| n.tremolo.is_some());
            if rate > 0.0 && gap > 0.0 && gap < 1.0 / rate - 1e-3 && !rolled {
                speeds.push(Spot {
                    at: table.timeline.place(at),
                    severity: match roll {
                        // Two sticks in turn, as in a slow roll.
                        Some((slow, _)) if 1.0 / gap <= slow => Severity::Advice,
                        _ if gap * FAR_BEYOND < 1.0 / rate => Severity::Impossible,
                        _ => Severity::Hard,
                    },
                    says: format!(
                        "{}: {} is struck {:.1} times a second; about {rate:.0} is what hands do at ease",
                        desk.name(),
                        label(thing),
                        1.0 / gap
                    ),
                    remedy: "Write a roll, or fewer strokes".into(),
                    change: None,
                });
            }
        }
    }
    let mut findings = gather("sticks-count", desk.id(), &counts);
    findings.extend(gather("sticks-speed", desk.id(), &speeds));
    findings
}

fn stroke(note: &Note) -> Option<&str> {
    match &note.kind {
        NoteKind::Unpitched { stroke } => Some(stroke),
        NoteKind::Pitched(_) => None,
    }
}

fn label(stroke: &str) -> String {
    by_id(stroke).map_or_else(|| stroke.to_string(), |i| i.name().to_lowercase())
}
