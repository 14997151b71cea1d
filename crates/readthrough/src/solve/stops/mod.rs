//! Double, triple and quadruple stops: which strings, which fingers, which position; and whether the hand gets there.

mod fingering;
mod passage;
mod words;

pub use fingering::{Asked, Fingering, Stop, THUMB, fingerings, position, share, stops_needed};
pub use passage::{
    CANNOT, Known, SHIFT_COST, SHIFT_LENGTH_COST, SHIFT_SECONDS, SHIFT_SPEED, Task, WAITING, WITHOUT_SHIFT,
    Way, best_way, change, ways,
};

use super::events::{Event, Who, Words, events};
use super::spots::{Spot, gather, names};
use crate::rules::{Concern, Rule};
use crate::{Desk, Table};
use ripieno_instruments::{Strings, strings_of};
use ripieno_music::{Change, Finding, Playing, Severity};
use ripieno_plan::CellMark;

const SOURCE: &str = "open strings: Adler, The Study of Orchestration, from memory; places on the string: L (1 - 2^(-n/12)); \
                      reach of hands: common practice, no source";

/// The rules of this module.
pub const RULES: &[Rule] = &[
    Rule {
        name: "stops",
        concern: Concern::Living,
        asks: "can a left hand stop these notes together, on which strings and with which fingers",
        source: SOURCE,
    },
    Rule {
        name: "stops-shift",
        concern: Concern::Living,
        asks: "does the hand get from one chord to the next in time",
        source: SOURCE,
    },
    Rule {
        name: "stops-held",
        concern: Concern::Living,
        asks: "is a chord of three or four strings held, when a bow holds two",
        source: "Adler, The Study of Orchestration, from memory; two seconds: common practice, no source",
    },
    Rule {
        name: "stops-divide",
        concern: Concern::Living,
        asks: "must a section divide where nothing says so",
        source: SOURCE,
    },
];

/// A rest of this many seconds leaves the hand free to be anywhere.
const FREE_SECONDS: f64 = 1.0;
/// So many onsets before and after a chord decide how it is fingered.
const AROUND: usize = 6;
/// A chord on more strings than a bow holds is broken; held for longer, somebody has to say which notes go on.
const HELD_SECONDS: f64 = 2.0;

#[derive(Default)]
struct Found {
    stops: Vec<Spot>,
    shifts: Vec<Spot>,
    held: Vec<Spot>,
    divide: Vec<Spot>,
}

/// Every desk with strings that are known.
pub fn check(table: &Table<'_>) -> Vec<Finding> {
    table.desks.iter().flat_map(|desk| check_desk(table, desk)).collect()
}

fn check_desk(table: &Table<'_>, desk: &Desk<'_>) -> Vec<Finding> {
    let Some(board) = strings_of(&desk.instrument.id) else { return Vec::new() };
    let all = events(desk.part, table.timeline, &table.clock);
    if all.iter().all(|e| e.new.len() + e.held.len() < 2) {
        return Vec::new();
    }
    let mut words = Words::of(desk.part);
    let whos: Vec<Who> = all.iter().map(|e| words.at(e.at)).collect();
    let mut found = Found::default();
    let mut known = Known::new(board);
    // What the hand does, chord after chord; a chord that is divided or cannot be ends a stretch.
    let mut stretch: Vec<usize> = Vec::new();
    for (i, event) in all.iter().enumerate() {
        let neighbours = board.bowed && !whos[i].pizz;
        let keys = event.keys();
        let one_hand = keys.len() < 2 || stopped_by_one(desk, whos[i]);
        let free = stretch.last().is_some_and(|last| event.seconds - all[*last].end > FREE_SECONDS);
        if free || !one_hand {
            close(desk, board, &all, &whos, &mut stretch, &mut known, &mut found);
        }
        if event.harmonic || whos[i].harmonics {
            continue;
        }
        if !one_hand {
            divided(table, desk, event, whos[i], keys, neighbours, &mut known, &mut found);
            continue;
        }
        if known.ways(&keys, neighbours).is_empty() {
            close(desk, board, &all, &whos, &mut stretch, &mut known, &mut found);
            // A note that lies on no string is the compass's matter, not the chord's.
            let mut alone = |k: &u8| known.ways(&[*k], neighbours).is_empty();
            if keys.len() > 1 && !keys.iter().any(&mut alone) {
                found.stops.push(impossible(table, desk, board, event, &keys, neighbours, whos[i]));
            }
            continue;
        }
        too_long(desk, event, &keys, whos[i], &mut found);
        stretch.push(i);
    }
    close(desk, board, &all, &whos, &mut stretch, &mut known, &mut found);
    let id = desk.id();
    let mut findings = gather("stops", id, &found.stops);
    findings.extend(gather("stops-shift", id, &found.shifts));
    findings.extend(gather("stops-held", id, &found.held));
    findings.extend(gather("stops-divide", id, &found.divide));
    findings
}

/// One player has all of it: alone, or `non div.`.
fn stopped_by_one(desk: &Desk<'_>, who: Who) -> bool {
    who.players.unwrap_or(desk.players).min(desk.players.max(1)) <= 1 || who.divided == Some(false)
}

/// A section's chord: divided, unless it can be played as stops.
#[allow(clippy::too_many_arguments)]
fn divided(
    table: &Table<'_>,
    desk: &Desk<'_>,
    event: &Event,
    who: Who,
    keys: Vec<u8>,
    neighbours: bool,
    known: &mut Known<'_>,
    found: &mut Found,
) {
    // Stems of their own say that it is divided; so does the word.
    let voice = |n: usize| desk.part.content.notes.get(n).map(|n| (n.staff, n.voice));
    let first = event.new.first().and_then(|n| voice(n.note));
    let one_voice = event.new.iter().chain(&event.held).all(|n| voice(n.note) == first);
    if who.divided == Some(true) || !one_voice || !known.ways(&keys, neighbours).is_empty() {
        return;
    }
    if keys.iter().any(|k| known.ways(&[*k], neighbours).is_empty()) {
        return; // the compass's matter
    }
    let change = with_div(table, desk, event.place.bar);
    found.divide.push(Spot {
        at: event.place,
        severity: Severity::Advice,
        says: format!(
            "{}: no hand can stop {}, so the section has to divide, and nothing says so",
            desk.name(),
            names(&keys)
        ),
        remedy: "Write `div.` over it".into(),
        change,
    });
}

/// The cell at a bar with `div.` in place of `non div.`.
fn with_div(table: &Table<'_>, desk: &Desk<'_>, bar: i32) -> Option<Change> {
    let passage = table.passage_at(bar)?;
    let cell = passage.cells.iter().find(|c| c.chair == desk.id())?;
    let mut words = cell.words.clone();
    words.marks.retain(|m| !matches!(m, CellMark::Playing(Playing::NonDiv | Playing::Unis)));
    words.marks.push(CellMark::Playing(Playing::Div(0)));
    table.cell_change(desk.id(), bar, words.to_string())
}

/// A chord that no hand can stop.
fn impossible(
    table: &Table<'_>,
    desk: &Desk<'_>,
    board: &Strings,
    event: &Event,
    keys: &[u8],
    neighbours: bool,
    who: Who,
) -> Spot {
    let divisible = desk.players > 1 && who.players.is_none();
    let (remedy, change) = if divisible {
        let needed = stops_needed(Some(board), keys);
        (
            format!(
                "Write `div.`: {} of the {} players have it between them",
                super::spots::number(needed),
                desk.players
            ),
            with_div(table, desk, event.place.bar),
        )
    } else {
        (words::lighter(board, keys, neighbours), None)
    };
    Spot {
        at: event.place,
        severity: Severity::Impossible,
        says: format!("{}: {}", desk.name(), words::why_not(board, keys, neighbours)),
        remedy,
        change,
    }
}

/// Three or four strings held for long.
fn too_long(desk: &Desk<'_>, event: &Event, keys: &[u8], who: Who, found: &mut Found) {
    let polyphony = desk.instrument.polyphony;
    let bowed = desk.instrument.bow.is_some() && !who.pizz;
    if !bowed || keys.len() <= usize::from(polyphony.notes) || event.new.is_empty() {
        return;
    }
    if keys.len() > usize::from(polyphony.broken) {
        found.stops.push(Spot {
            at: event.place,
            severity: Severity::Hard,
            says: format!(
                "{}: {} are {} notes at once, and {} is what the instrument is used to",
                desk.name(),
                names(keys),
                super::spots::number(keys.len() as u16),
                super::spots::number(u16::from(polyphony.broken))
            ),
            remedy: "Keep the outer notes, or divide the chord among several players".into(),
            change: None,
        });
    } else if !event.broken && event.end - event.seconds > HELD_SECONDS {
        found.held.push(Spot {
            at: event.place,
            severity: Severity::Advice,
            says: format!(
                "{}: {} are held for {:.1} s; the bow breaks the chord and holds two strings of it",
                desk.name(),
                names(keys),
                event.end - event.seconds
            ),
            remedy: "Write the notes that are to go on as long ones, the others short".into(),
            change: None,
        });
    }
}

/// Fingers a stretch and says what is hard in it.
fn close(
    desk: &Desk<'_>,
    board: &Strings,
    all: &[Event],
    whos: &[Who],
    stretch: &mut Vec<usize>,
    known: &mut Known<'_>,
    found: &mut Found,
) {
    let onsets = std::mem::take(stretch);
    let chord = |k: usize| all[onsets[k]].new.len() + all[onsets[k]].held.len() > 1;
    let mut k = 0;
    while k < onsets.len() {
        // Onsets near a chord, with the chords near those.
        let Some(first) = (k..onsets.len()).find(|k| chord(*k)) else { break };
        let from = first.saturating_sub(AROUND).max(k);
        let mut last = first;
        while let Some(next) = (last + 1..onsets.len().min(last + 2 * AROUND)).find(|k| chord(*k)) {
            last = next;
        }
        let to = (last + AROUND).min(onsets.len() - 1);
        let part = &onsets[from..=to];
        let tasks: Vec<(Task, bool)> = part
            .iter()
            .enumerate()
            .map(|(n, i)| {
                let event = &all[*i];
                // What was held from an onset that is left out is new here.
                let held = if n == 0 { Vec::new() } else { event.held.iter().map(|h| h.key).collect() };
                let task = Task { keys: event.keys(), held, seconds: event.seconds };
                (task, board.bowed && !whos[*i].pizz)
            })
            .collect();
        if let Some(way) = best_way(known, &tasks) {
            report(desk, board, all, part, &tasks, &way, known, found);
        }
        k = to + 1;
    }
}

#[allow(clippy::too_many_arguments)]
fn report(
    desk: &Desk<'_>,
    board: &Strings,
    all: &[Event],
    part: &[usize],
    tasks: &[(Task, bool)],
    way: &Way,
    known: &mut Known<'_>,
    found: &mut Found,
) {
    for (n, fingering) in way.fingerings.iter().enumerate() {
        let event = &all[part[n]];
        let keys = &tasks[n].0.keys;
        // Strained for the sake of what comes before or after is the player's choice; what is strained by itself is told.
        let mut strained = || known.ways(keys, tasks[n].1).iter().all(|f| f.strain > 1.0);
        if keys.len() > 1 && fingering.strain > 1.0 && !event.new.is_empty() && strained() {
            let (opens, at_ease) = words::opening(board, fingering);
            found.stops.push(Spot {
                at: event.place,
                severity: Severity::Hard,
                says: format!(
                    "{}: {}; the hand opens to {opens:.0} mm, {at_ease:.0} mm is at ease",
                    desk.name(),
                    words::fingered(board, keys, fingering)
                ),
                remedy: words::lighter(board, keys, tasks[n].1),
                change: None,
            });
        }
    }
    for n in &way.troubled {
        if tasks[*n].0.keys.len() < 2 && tasks[n - 1].0.keys.len() < 2 {
            continue;
        }
        let (before, after) = (&way.fingerings[n - 1], &way.fingerings[*n]);
        let seconds = tasks[*n].0.seconds - tasks[n - 1].0.seconds;
        found.shifts.push(Spot {
            at: all[part[*n]].place,
            severity: Severity::Hard,
            says: format!(
                "{}: from {} to {}: {}",
                desk.name(),
                words::fingered(board, &tasks[n - 1].0.keys, before),
                words::fingered(board, &tasks[*n].0.keys, after),
                words::moved(before, after, seconds)
            ),
            remedy: "Give the hand a rest or an open string before the second, or write the two nearer to each other".into(),
            change: None,
        });
    }
}
