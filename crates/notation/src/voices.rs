//! A chair's notes laid out on staves and voices: chords, and lanes in which nothing overlaps.

use crate::piece::Player;
use ripieno_music::{Note, NoteKind};
use ripieno_units::Beats;
use std::collections::BTreeMap;

/// Instruments that are written on two staves (common practice, no source).
const GRAND: &[&str] = &["harp", "piano", "celesta", "harpsichord", "organ", "harmonium", "accordion"];
/// The hands part at middle C.
const MIDDLE: f64 = 60.0;
/// A chord within an octave and a second is for one hand.
const HAND: i16 = 14;
/// A hand keeps the line until it is so many semitones across middle C.
const KEEPS: f64 = 5.0;
/// More staves than this no chair has.
const MOST_STAVES: u8 = 4;

/// Notes that begin and end together in one voice.
#[derive(Clone, Debug)]
pub(crate) struct Chord<'a> {
    pub at: Beats,
    pub length: Beats,
    /// From low to high.
    pub notes: Vec<&'a Note>,
    /// Slurred to the chord before it in its lane; from it to the next.
    pub slur_stop: bool,
    pub slur_start: bool,
}

impl Chord<'_> {
    pub fn end(&self) -> Beats {
        self.at + self.length
    }
}

/// One voice of one staff: chords in order that do not overlap.
#[derive(Clone, Debug, Default)]
pub(crate) struct Lane<'a> {
    pub staff: u8,
    /// Number of the voice in the part, from 1.
    pub voice: u16,
    pub chords: Vec<Chord<'a>>,
    /// The source's own voice and staff.
    pub source: u16,
}

/// All lanes of a player and how many staves they need.
pub(crate) fn lay<'a>(player: &Player<'a>) -> (u8, Vec<Lane<'a>>) {
    let notes: Vec<&'a Note> = player.part.content.notes.iter().filter(|n| n.length.is_positive()).collect();
    let grand = GRAND.contains(&player.instrument.id.as_str()) && !player.instrument.unpitched;
    let apart = on_two_staves(&notes);
    let staves = match (grand, apart) {
        (true, _) => notes.iter().map(|n| n.staff).max().unwrap_or(2).clamp(2, MOST_STAVES),
        (false, true) => notes.iter().map(|n| n.staff).max().unwrap_or(1).clamp(1, MOST_STAVES),
        (false, false) => 1,
    };
    let mut by_place: BTreeMap<(Beats, u16, u8), Vec<&'a Note>> = BTreeMap::new();
    for note in &notes {
        by_place.entry((note.at, note.voice, note.staff)).or_default().push(note);
    }
    let mut hands = Hands { last: 1 };
    let mut lanes: Vec<Lane<'a>> = Vec::new();
    for ((at, voice, source_staff), mut here) in by_place {
        here.sort_by_key(|n| n.pitch().map_or((0, 0), |p| (p.key, p.cents)));
        let mut groups: Vec<(u8, Vec<&'a Note>)> = Vec::new();
        if staves == 1 {
            groups.push((1, here));
        } else if apart {
            groups.push((source_staff.clamp(1, staves), here));
        } else {
            groups.extend(hands.share(here));
        }
        for (staff, notes) in groups {
            // A source voice keeps to its lane, also where staves are folded into one.
            let source = voice.saturating_add(u16::from(source_staff.saturating_sub(1)).saturating_mul(1000));
            for chord in chords(at, notes) {
                put(&mut lanes, staff, source, chord);
            }
        }
    }
    lanes.sort_by_key(|l| l.staff);
    let mut of_staff = BTreeMap::new();
    for lane in &mut lanes {
        let n: &mut u16 = of_staff.entry(lane.staff).or_insert(0);
        *n += 1;
        // Four voices a staff as usual; more get numbers beyond those of the last staff.
        let extra = if *n > 4 { 4 * u16::from(staves) + (*n - 5) * u16::from(staves) } else { 0 };
        lane.voice = if *n > 4 { extra + u16::from(lane.staff) } else { 4 * u16::from(lane.staff - 1) + *n };
        slurs(lane);
    }
    (staves, lanes)
}

/// Does the source itself write two staves that sound together?
fn on_two_staves(notes: &[&Note]) -> bool {
    let mut until: Option<(Beats, u8)> = None;
    for note in notes {
        if until.is_some_and(|(end, staff)| staff != note.staff && end > note.at) {
            return true;
        }
        if until.is_none_or(|(end, _)| note.end() > end) {
            until = Some((note.end(), note.staff));
        }
    }
    false
}

/// Which hand plays what.
struct Hands {
    last: u8,
}

impl Hands {
    /// Shares what begins together: a reachable chord to one hand, a wide one at middle C.
    fn share<'a>(&mut self, notes: Vec<&'a Note>) -> Vec<(u8, Vec<&'a Note>)> {
        let keys: Vec<i16> = notes.iter().filter_map(|n| n.pitch()).map(|p| p.key).collect();
        let (Some(low), Some(high)) = (keys.iter().min(), keys.iter().max()) else { return vec![(1, notes)] };
        if high.saturating_sub(*low) <= HAND {
            let mean = keys.iter().map(|k| f64::from(*k)).sum::<f64>() / keys.len() as f64;
            let edge = if self.last == 1 { MIDDLE - KEEPS } else { MIDDLE + KEEPS };
            self.last = if mean >= edge { 1 } else { 2 };
            return vec![(self.last, notes)];
        }
        let (lower, upper): (Vec<_>, Vec<_>) =
            notes.into_iter().partition(|n| n.pitch().is_some_and(|p| f64::from(p.key) < MIDDLE));
        [(1, upper), (2, lower)].into_iter().filter(|(_, n)| !n.is_empty()).collect()
    }
}

/// Notes of one place as chords: those of one length and of different pitches.
fn chords<'a>(at: Beats, notes: Vec<&'a Note>) -> Vec<Chord<'a>> {
    let mut found: Vec<Chord<'a>> = Vec::new();
    for note in notes {
        let two = |n: &Note| n.tremolo.is_some_and(|t| t.with.is_some());
        let fits = |c: &&mut Chord<'a>| {
            c.length == note.length
                && c.notes.iter().all(|n| n.kind != note.kind && two(n) == two(note))
                && c.notes.iter().all(|n| same_sort(&n.kind, &note.kind))
        };
        match found.iter_mut().find(fits) {
            Some(chord) => chord.notes.push(note),
            None => found.push(Chord {
                at,
                length: note.length,
                notes: vec![note],
                slur_stop: false,
                slur_start: false,
            }),
        }
    }
    found
}

fn same_sort(a: &NoteKind, b: &NoteKind) -> bool {
    matches!(
        (a, b),
        (NoteKind::Pitched(_), NoteKind::Pitched(_))
            | (NoteKind::Unpitched { .. }, NoteKind::Unpitched { .. })
    )
}

/// Into the lane of its voice if that is free, else into any of that voice, else into one of its own.
fn put<'a>(lanes: &mut Vec<Lane<'a>>, staff: u8, source: u16, chord: Chord<'a>) {
    let free = |l: &Lane<'_>| l.staff == staff && l.chords.last().is_none_or(|c| c.end() <= chord.at);
    let own = lanes.iter().position(|l| free(l) && l.source == source);
    // A new voice where the others rest for a while may use their lane: one staff reads better with one voice.
    let rests =
        |l: &Lane<'_>| free(l) && l.chords.last().is_none_or(|c| c.end() < chord.at || c.notes.len() > 1);
    match own.or_else(|| lanes.iter().position(rests)) {
        Some(i) => lanes[i].chords.push(chord),
        None => lanes.push(Lane { staff, voice: 1, chords: vec![chord], source }),
    }
}

/// Slurs join neighbours of a lane.
fn slurs(lane: &mut Lane<'_>) {
    for i in 1..lane.chords.len() {
        let on = lane.chords[i - 1].notes.iter().any(|n| n.slurs_on);
        let joined = on && lane.chords[i].notes.iter().any(|n| n.slurred);
        lane.chords[i - 1].slur_start |= joined;
        lane.chords[i].slur_stop |= joined;
    }
}
