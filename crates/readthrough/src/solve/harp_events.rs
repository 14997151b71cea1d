//! A harp part as events for the pedals: what is plucked when, on which strings it may lie, and how long it rings.

use super::harp_pedals::{Event, LETTERS, Need};
use crate::{Desk, Table};
use ripieno_instruments::{HarpFacts, Instrument};
use ripieno_music::{Glide, Mark, Note, Spelling, Timeline};
use ripieno_units::Beats;
use std::collections::{BTreeMap, BTreeSet};

/// Onsets closer than this are one event, seconds: a chord as hands play it.
const TOGETHER: f64 = 0.03;
/// Grace notes follow each other so quickly, seconds.
const GRACE: f64 = 0.08;
/// A string that has fallen so far, dB, is heard no more under what follows.
const FADED: f64 = 20.0;

/// The part as events.
#[derive(Clone, Debug, Default)]
pub struct Plucked {
    /// For the search.
    pub events: Vec<Event>,
    /// Where each event stands in the score.
    pub places: Vec<Beats>,
    /// For each event its notes in the part, by index.
    pub notes: Vec<Vec<usize>>,
    /// Positions of the strings that no pedal moves, in the order of the facts.
    pub fixed: Vec<i8>,
    /// Notes of strings without pedal that are tuned to something else, or that no string has: index in the part.
    pub without_string: Vec<usize>,
    /// Some letters are held to what is written.
    pub by_letter: bool,
}

/// One string that is asked for, before events are made.
struct Ask {
    at: f64,
    place: Beats,
    key: Option<i16>,
    options: Vec<(u8, i8)>,
    rings: f64,
    held: f64,
    note: usize,
}

/// A note that only strings without pedal have: its event, its key, the strings with their positions, and whether it could be had
/// otherwise.
type OnFixed = (usize, i16, Vec<(usize, i8)>, bool);

/// Reads a part. `free`: written letters may be respelled.
pub fn plucked(table: &Table<'_>, desk: &Desk<'_>, free: bool, facts: &HarpFacts) -> Plucked {
    let notes = &desk.part.content.notes;
    let mut out = Plucked::default();
    let mut asks: Vec<Ask> = Vec::new();
    let mut low_and_high: Vec<OnFixed> = Vec::new();
    let reader = Reader { table, desk, facts, free };
    for (index, note) in notes.iter().enumerate() {
        for pluck in reader.plucks(note) {
            let all = strings_of(pluck.key, facts);
            let mut options: Vec<(u8, i8)> = Vec::new();
            let mut fixed = Vec::new();
            for (letter, position) in reader.by_letter(all, pluck.written, pluck.key) {
                let natural = pluck.key - i16::from(position);
                match facts.fixed.iter().position(|k| *k == natural) {
                    Some(string) => fixed.push((string, position)),
                    None => options.push((letter, position)),
                }
            }
            if options.is_empty() && fixed.is_empty() {
                continue; // off the instrument: the range says so
            }
            out.by_letter |= options.len() == 1 && strings_of(pluck.key, facts).len() > 1;
            if !fixed.is_empty() {
                low_and_high.push((index, pluck.key, fixed, !options.is_empty()));
            }
            asks.push(Ask {
                at: pluck.at,
                place: pluck.place,
                key: Some(pluck.key),
                options,
                rings: pluck.at + if pluck.key <= facts.wire { facts.wire_rings } else { facts.string_rings },
                held: pluck.held,
                note: index,
            });
        }
        asks.extend(reader.glissando(note, notes, index));
    }
    out.fixed = preset(&low_and_high, facts);
    let mut settled = BTreeSet::new();
    for (note, key, fixed, pedalled) in &low_and_high {
        let has = fixed.iter().any(|(string, position)| out.fixed[*string] == *position);
        if !has && !pedalled {
            out.without_string.push(*note);
        }
        // A fixed string that has the note asks nothing of the feet.
        if has || !pedalled {
            settled.insert((*note, Some(*key)));
        }
    }
    asks.retain(|a| !settled.contains(&(a.note, a.key)));
    out.without_string.dedup();
    gather(asks, &mut out, repeat_within(desk.instrument));
    out
}

/// The least time between two plucks of one string, seconds.
pub fn repeat_within(instrument: &Instrument) -> f64 {
    1.0 / instrument.repetition.single.max(0.1)
}

/// The strings that can give a key: letter and position.
fn strings_of(key: i16, facts: &HarpFacts) -> Vec<(u8, i8)> {
    let mut found = Vec::new();
    for letter in 0..7u8 {
        for position in [-1i8, 0, 1] {
            let natural = key - i16::from(position);
            if natural.rem_euclid(12) == LETTERS[usize::from(letter)]
                && (facts.low..=facts.high).contains(&natural)
            {
                found.push((letter, position));
            }
        }
    }
    found
}

struct Pluck {
    at: f64,
    place: Beats,
    key: i16,
    written: Option<Spelling>,
    held: f64,
}

struct Reader<'a> {
    table: &'a Table<'a>,
    desk: &'a Desk<'a>,
    facts: &'a HarpFacts,
    free: bool,
}

impl Reader<'_> {
    /// Everything that is plucked for one note: its graces, itself with neighbours, its repetitions.
    fn plucks(&self, note: &Note) -> Vec<Pluck> {
        let Some(pitch) = note.pitch() else { return Vec::new() };
        let seconds = |at: Beats| self.table.clock.seconds(at).0;
        let (at, end) = (seconds(note.at), seconds(note.end()));
        let mut out = Vec::new();
        for (i, grace) in note.graces.iter().enumerate() {
            let at = at - GRACE * (note.graces.len() - i) as f64;
            let (key, written) = (grace.pitch.key, grace.written);
            out.push(Pluck { at, place: note.at, key, written, held: at });
        }
        let damped = note.marks.has(Mark::Staccato) || note.marks.has(Mark::Damp);
        let held = if damped { at } else { end.min(at + self.fades(pitch.key)) };
        out.push(Pluck { at, place: note.at, key: pitch.key, written: note.written, held });
        let neighbours = note.ornament.iter().flat_map(|o| [o.above, o.below]).flatten();
        for other in neighbours.chain(note.tremolo.and_then(|t| t.with)) {
            out.push(Pluck { at, place: note.at, key: other.key, written: None, held: at });
        }
        // An unmeasured tremolo on one pitch: at once again.
        if let Some(tremolo) = note.tremolo
            && tremolo.with.is_none()
            && (tremolo.strokes == 0 || tremolo.strokes >= 3)
        {
            let again = at + 1.0 / self.desk.instrument.repetition.fast.unwrap_or(8.0);
            if again < end {
                out.push(Pluck { at: again, place: note.at, key: pitch.key, written: None, held });
            }
        }
        for (i, grace) in note.graces_after.iter().enumerate() {
            let at = (end - GRACE * (note.graces_after.len() - i) as f64).max(at);
            out.push(Pluck { at, place: note.at, key: grace.pitch.key, written: grace.written, held: at });
        }
        out
    }

    /// The seven letters that a glissando runs over: as the key signature and the notes of its bar have them.
    fn glissando(&self, note: &Note, notes: &[Note], index: usize) -> Vec<Ask> {
        if note.glide.is_none_or(|g| g == Glide::Slide) {
            return Vec::new();
        }
        let after = notes[index + 1..].iter().find(|n| n.voice == note.voice && n.at > note.at);
        let (Some(from), Some(to)) = (note.pitch(), after.and_then(Note::pitch)) else { return Vec::new() };
        let timeline = self.table.timeline;
        let mut scale = signature(timeline, note.at);
        let bar = timeline.bar_at(note.at).at;
        let earlier = notes[..=index].iter().rev().take_while(|n| n.at >= bar);
        let mut seen = [false; 7];
        for spelling in after.into_iter().chain(earlier).filter_map(|n| n.written) {
            let letter = usize::from(spelling.step.min(6));
            if !std::mem::replace(&mut seen[letter], true) && (-100..=100).contains(&spelling.alter) {
                scale[letter] = (spelling.alter / 100) as i8;
            }
        }
        // The letters strictly between the two ends.
        let (low, high) = (from.key.min(to.key), from.key.max(to.key));
        let between = |letter: &usize| {
            let step = LETTERS[*letter] + i16::from(scale[*letter]);
            (low + 1..high).any(|k| (k - step).rem_euclid(12) == 0)
        };
        let at = self.table.clock.seconds(note.at).0;
        // A little after the first note, which may be on a string of its own.
        let ask = |letter: usize| Ask {
            at,
            place: note.at,
            key: None,
            options: vec![(letter as u8, scale[letter])],
            rings: at + self.facts.string_rings,
            held: at,
            note: index,
        };
        (0..7).filter(between).map(ask).collect()
    }

    /// The strings that the player takes: those of the written letter, unless it may be respelled or is no single sharp or flat.
    fn by_letter(&self, all: Vec<(u8, i8)>, written: Option<Spelling>, key: i16) -> Vec<(u8, i8)> {
        let Some(spelling) = written.filter(|_| !self.free) else { return all };
        // Written for an instrument that transposes: its letters are not the harp's.
        if (spelling.pitch().key - key).rem_euclid(12) != 0 {
            return all;
        }
        let letter: Vec<(u8, i8)> = all.iter().copied().filter(|(l, _)| *l == spelling.step).collect();
        if letter.is_empty() { all } else { letter }
    }

    /// How long an undamped string is heard under others, seconds.
    fn fades(&self, key: i16) -> f64 {
        let points: Vec<(f64, f64)> =
            self.desk.instrument.decay.iter().map(|p| (f64::from(p.key), p.shortest)).collect();
        if points.is_empty() {
            0.0
        } else {
            ripieno_units::math::polyline(&points, f64::from(key)) * FADED / 60.0
        }
    }
}

/// The letters of the key signature.
pub fn signature(timeline: &Timeline, at: Beats) -> [i8; 7] {
    const SHARPS: [usize; 7] = [3, 0, 4, 1, 5, 2, 6];
    let fifths = timeline.key_at(at).map_or(0, |k| k.fifths.clamp(-7, 7));
    let mut scale = [0i8; 7];
    for i in 0..usize::from(fifths.unsigned_abs()) {
        if fifths > 0 { scale[SHARPS[i]] = 1 } else { scale[SHARPS[6 - i]] = -1 }
    }
    scale
}

/// The tuning of the fixed strings under which most notes have a string; natural where it does not matter.
fn preset(asked: &[OnFixed], facts: &HarpFacts) -> Vec<i8> {
    let strings = facts.fixed.len().min(6);
    let mut best = (usize::MAX, vec![0i8; facts.fixed.len()]);
    for index in 0..3usize.pow(strings as u32) {
        let mut rest = index;
        let mut tuning = vec![0i8; facts.fixed.len()];
        for position in tuning.iter_mut().take(strings) {
            *position = [0, -1, 1][rest % 3];
            rest /= 3;
        }
        let mut price = tuning.iter().filter(|p| **p != 0).count();
        for (_, _, fixed, pedalled) in asked {
            if !fixed.iter().any(|(s, p)| tuning[*s] == *p) {
                price += if *pedalled { 10 } else { 1000 };
            }
        }
        if price < best.0 {
            best = (price, tuning);
        }
    }
    best.1
}

/// Makes events of what is asked for.
fn gather(mut asks: Vec<Ask>, out: &mut Plucked, repeat: f64) {
    asks.sort_by(|a, b| a.at.total_cmp(&b.at).then(a.key.cmp(&b.key)).then(a.options.cmp(&b.options)));
    // By pitch class: until when it buzzes, until when it is written to sound and by which key. By key: its last pluck.
    let mut ringing: BTreeMap<i16, (f64, f64, i16)> = BTreeMap::new();
    let mut last: BTreeMap<i16, f64> = BTreeMap::new();
    let mut index = 0;
    while index < asks.len() {
        let at = asks[index].at;
        let count = asks[index..].iter().take_while(|a| a.at < at + TOGETHER).count();
        let mut event = Event { at, needs: Vec::new() };
        let mut notes = Vec::new();
        for ask in &asks[index..index + count] {
            if ask.options.is_empty() {
                continue;
            }
            notes.push(ask.note);
            let class = ask.key.unwrap_or_else(|| {
                let (letter, position) = ask.options[0];
                LETTERS[usize::from(letter)] + i16::from(position)
            });
            let ring =
                ringing.entry(class.rem_euclid(12)).or_insert((f64::NEG_INFINITY, f64::NEG_INFINITY, class));
            ring.0 = ring.0.max(ask.rings);
            if ask.held >= ring.1 {
                (ring.1, ring.2) = (ask.held, class);
            }
            let again = ask.key.and_then(|key| {
                let before = last.insert(key, at);
                before.filter(|t| *t < at && at - t < repeat - 1e-6)
            });
            let ring = *ring;
            match event.needs.iter_mut().find(|n| n.options == ask.options) {
                Some(need) => {
                    need.keys.extend(ask.key);
                    (need.rings, need.held) = (ring.0, (ring.1, ring.2));
                    need.again = need.again.or(again);
                }
                None => event.needs.push(Need {
                    options: ask.options.clone(),
                    keys: ask.key.into_iter().collect(),
                    rings: ring.0,
                    held: (ring.1, ring.2),
                    again,
                }),
            }
        }
        if !event.needs.is_empty() {
            notes.sort_unstable();
            notes.dedup();
            out.places.push(asks[index].place);
            out.events.push(event);
            out.notes.push(notes);
        }
        index += count;
    }
}
