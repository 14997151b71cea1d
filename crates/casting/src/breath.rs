//! Breaths of cells put into the part: a comma before a place.

use crate::casting::{Casting, note};
use crate::realise::Played;
use ripieno_music::{Content, Finding, Mark, Severity};
use ripieno_plan::{CellMark, PlaceWord};
use ripieno_units::Beats;
use std::collections::{BTreeMap, BTreeSet};

/// Puts every breath that the cells name into the notes. The note that sounds before the place gets a breath mark, its slur ends
/// there, and a note that is held over the place is taken again after it.
pub(crate) fn breathe(
    casting: &Casting,
    chair: &str,
    played: &[Played],
    content: &mut Content,
    findings: &mut Vec<Finding>,
) {
    let (places, lost) = places(casting, played);
    for (word, at) in lost {
        let finding = casting.finding(
            "place-unknown",
            Severity::Hard,
            chair,
            at,
            format!("A breath is placed at bar {}, outside its passage.", word.bar),
            "Bars are counted in the unfolded piece, from 1; a pick-up is bar 0.".into(),
        );
        note(findings, finding);
    }
    for at in places {
        let mut after = Vec::new();
        // The last note of each voice that begins before the place, or the chord of them.
        let mut last: BTreeMap<(u8, u16), Beats> = BTreeMap::new();
        for note in content.notes.iter().filter(|n| n.at < at) {
            let from = last.entry((note.staff, note.voice)).or_insert(note.at);
            *from = (*from).max(note.at);
        }
        let mut next: BTreeMap<(u8, u16), Beats> = BTreeMap::new();
        for note in content.notes.iter().filter(|n| n.at >= at) {
            let from = next.entry((note.staff, note.voice)).or_insert(note.at);
            *from = (*from).min(note.at);
        }
        for note in &mut content.notes {
            let voice = (note.staff, note.voice);
            if note.at >= at {
                if next.get(&voice) == Some(&note.at) {
                    note.slurred = false;
                }
                continue;
            }
            let end = note.end();
            if end > at {
                let mut rest = note.clone();
                (rest.at, rest.length) = (at, end - at);
                rest.slurred = false;
                rest.graces.clear();
                rest.syllable = None;
                rest.marks.remove(Mark::Accent);
                rest.marks.remove(Mark::Marcato);
                after.push(rest);
                note.length = at - note.at;
                note.glide = None;
                note.graces_after.clear();
            } else if last.get(&voice) != Some(&note.at) {
                continue;
            }
            note.slurs_on = false;
            note.marks.add(Mark::BreathAfter);
        }
        content.notes.extend(after);
        content.sort();
    }
}

type Lost = (PlaceWord, Beats);

/// The places in score time, and those that are not in their passage.
fn places(casting: &Casting, played: &[Played]) -> (BTreeSet<Beats>, Vec<Lost>) {
    let (mut places, mut lost) = (BTreeSet::new(), Vec::new());
    for one in played {
        let segment = one.segment;
        let Some(window) = casting.windows[segment.passage] else { continue };
        for mark in &segment.marks {
            let CellMark::Breath(words) = mark else { continue };
            for word in words {
                match casting.score.timeline.at(word.bar, word.beat.unwrap_or(1.0)) {
                    // Cells that go on alike are one segment: any of its passages may hold the place.
                    Some(at) if at >= segment.from.min(window.start) && at <= segment.to => {
                        places.insert(at);
                    }
                    // Another source of the same cell has it.
                    Some(at) if at >= window.start && at <= window.end => {}
                    _ => lost.push((*word, window.start)),
                }
            }
        }
    }
    (places, lost)
}
