//! The time structure: about a beat each, and what every chair sounds in it.

use crate::Table;
use ripieno_music::{Colour, Gesture, named};
use ripieno_units::math::log10;
use ripieno_units::quick::exp;
use ripieno_units::{Beats, Seconds};

/// Longer beats are halved: a masker that comes and goes within a slot is heard round.
const LONGEST: f64 = 1.2;
/// Shorter beats are taken together: the ear holds masking for some 0.2 s.
const SHORTEST: f64 = 0.3;
/// Slots of one bar, at most: a bar of minutes at a mad tempo is no reason to run out of memory.
const MOST: usize = 64;

/// A stretch of time, about a beat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slot {
    /// Seconds.
    pub from: f64,
    /// Seconds; after `from`.
    pub to: f64,
    /// Its middle in score time.
    pub middle: Beats,
    /// Index of its bar in the timeline.
    pub bar: usize,
}

impl Slot {
    /// Seconds.
    pub fn length(&self) -> f64 {
        self.to - self.from
    }
}

/// The slots of the whole cue.
pub fn slots(table: &Table<'_>) -> Vec<Slot> {
    let mut out = Vec::new();
    for (i, bar) in table.timeline.bars.iter().enumerate() {
        let from = table.clock.seconds(bar.at).0;
        let to = table.clock.seconds(bar.at + bar.length).0;
        let seconds = to - from;
        if !seconds.is_finite() || seconds < 1e-4 {
            continue;
        }
        let metre = bar.metre;
        let compound = metre.beats > 3 && metre.beats.is_multiple_of(3) && metre.unit >= 8;
        let beat = metre.beat() * if compound { 3 } else { 1 };
        let mut n = (bar.length.ratio(beat).round().clamp(1.0, MOST as f64)) as usize;
        while seconds / n as f64 > LONGEST && n * 2 <= MOST {
            n *= 2;
        }
        while seconds / (n as f64) < SHORTEST && n > 1 {
            n = if n.is_multiple_of(2) {
                n / 2
            } else if n.is_multiple_of(3) {
                n / 3
            } else {
                1
            };
        }
        for k in 0..n {
            let at = |k: usize| bar.at + bar.length.scaled(k as i64, n as i64);
            let middle = bar.at + bar.length.scaled(2 * k as i64 + 1, 2 * n as i64);
            let slot = Slot {
                from: table.clock.seconds(at(k)).0,
                to: table.clock.seconds(at(k + 1)).0,
                middle,
                bar: i,
            };
            if slot.length() > 1e-4 {
                out.push(slot);
            }
        }
    }
    out
}

/// What makes a sound, apart from how loud it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Voice {
    /// Index of the desk whose instrument it is: the first of that instrument.
    pub instrument: u16,
    /// Index of the stroke in [`Sounds::strokes`].
    pub stroke: u16,
    /// MIDI key; 0 for strokes without pitch.
    pub key: u8,
    /// Its colour.
    pub colour: Option<Colour>,
}

/// One note of one chair within one slot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sound {
    /// Index of the desk.
    pub desk: u16,
    /// Its pitch for the music; 0 where it has none.
    pub key: u8,
    /// What makes it.
    pub voice: Voice,
    /// From, within the slot, in seconds of the cue.
    pub from: f64,
    /// To.
    pub to: f64,
    /// Seconds since its onset, at `from`.
    pub age: f64,
    /// dB re the instrument's mf.
    pub level: f64,
    /// dB on top: players, articulation. The room's gain and the decay come later.
    pub gain: f64,
    /// How many play it.
    pub players: u16,
    /// It begins in this slot.
    pub begins: bool,
    /// Plucked or struck with the finger on an instrument that is bowed.
    pub plucked: bool,
}

/// All sounds.
#[derive(Clone, Debug, Default)]
pub struct Sounds {
    /// For each slot, in order of desks.
    pub slots: Vec<Vec<Sound>>,
    /// Names of strokes; the first stands for none.
    pub strokes: Vec<Option<String>>,
}

/// A bowed tremolo sounds softer than the sustained note under the same mark: -2 to -3 dB (instruments note 10.2, from memory).
const TREMOLO: f64 = -2.5;

/// What plays when.
pub fn sounds(table: &Table<'_>, slots: &[Slot]) -> Sounds {
    let mut all = Sounds { slots: vec![Vec::new(); slots.len()], strokes: vec![None] };
    for (d, desk) in table.desks.iter().enumerate() {
        let Ok(index) = u16::try_from(d) else { break };
        let instrument = table
            .desks
            .iter()
            .position(|other| other.instrument.id == desk.instrument.id)
            .and_then(|i| u16::try_from(i).ok())
            .unwrap_or(index);
        let bowed = desk.instrument.bow.is_some();
        for gesture in &desk.performance.gestures {
            let plucked = matches!(gesture.articulation.as_str(), named::PIZZICATO | named::SNAP_PIZZICATO);
            let stroke = match &gesture.stroke {
                Some(stroke) => Some(stroke.as_str()),
                None if plucked && bowed => Some(gesture.articulation.as_str()),
                None => None,
            };
            let stroke = stroke_index(&mut all.strokes, stroke);
            let players = gesture.players.clamp(1, desk.players.max(1));
            let mut gain = 10.0 * log10(f64::from(players));
            if bowed && gesture.articulation == named::TREMOLO {
                gain += TREMOLO;
            }
            let pitched = gesture.stroke.is_none() && !desk.instrument.unpitched;
            let note = Note { level: None, key: gesture.key, from: gesture.onset.0, to: gesture.end.0 };
            for note in notes(gesture, note, desk.instrument.decays) {
                let base = Sound {
                    desk: index,
                    key: if pitched { note.key } else { 0 },
                    voice: Voice {
                        instrument,
                        stroke,
                        key: if pitched { note.key } else { 0 },
                        colour: gesture.colour,
                    },
                    from: note.from,
                    to: note.to,
                    age: 0.0,
                    level: 0.0,
                    gain,
                    players,
                    begins: false,
                    plucked: plucked && bowed,
                };
                let struck = desk.instrument.decays || base.plucked;
                place(&mut all.slots, slots, base, |at, first| {
                    if struck {
                        note.level.unwrap_or(gesture.attack.0)
                    } else if let Some(level) = note.level.filter(|_| first) {
                        level
                    } else {
                        desk.performance.level.at(Seconds(at))
                    }
                });
            }
        }
    }
    all
}

/// A note to be placed in slots.
#[derive(Clone, Copy)]
struct Note {
    key: u8,
    from: f64,
    to: f64,
    level: Option<f64>,
}

/// The notes of a gesture: itself, or the strokes that realise it, with equal keys that follow each other closely taken
/// together on what is held (a trill is then two notes that share the time).
fn notes(gesture: &Gesture, whole: Note, decays: bool) -> Vec<Note> {
    let Some(realised) = gesture.realisation.as_ref().filter(|r| !r.strokes.is_empty()) else {
        return vec![whole];
    };
    // An unmeasured tremolo or a roll is one sound that goes on; on what decays each stroke is a note of its own.
    let same = realised.strokes.iter().all(|s| s.key == gesture.key);
    if same && !decays {
        return vec![whole];
    }
    realised
        .strokes
        .iter()
        .map(|s| Note { key: s.key, from: s.onset.0, to: s.end.0, level: decays.then_some(s.attack.0) })
        .collect()
}

fn stroke_index(strokes: &mut Vec<Option<String>>, stroke: Option<&str>) -> u16 {
    let found = strokes.iter().position(|s| s.as_deref() == stroke);
    let index = found.unwrap_or_else(|| {
        strokes.push(stroke.map(str::to_string));
        strokes.len() - 1
    });
    u16::try_from(index).unwrap_or(0)
}

/// Cuts a note at the slots that it lies in.
fn place(into: &mut [Vec<Sound>], slots: &[Slot], base: Sound, level: impl Fn(f64, bool) -> f64) {
    let (onset, end) = (base.from, base.to);
    if !onset.is_finite() || !end.is_finite() || end <= onset {
        return;
    }
    let first = slots.partition_point(|s| s.to <= onset);
    // A note that comes a hair before its beat belongs to it: asynchrony is some 30 ms.
    let begins = slots.get(first).map_or(first, |s| if s.to - onset < 0.06 { first + 1 } else { first });
    for (k, slot) in slots.iter().enumerate().skip(first).take_while(|(_, s)| s.from < end) {
        let (from, to) = (onset.max(slot.from), end.min(slot.to));
        if to - from < 1e-3 {
            continue;
        }
        let found = level((from + to) / 2.0, k == first);
        let level = if found.is_finite() { found.clamp(-60.0, 30.0) } else { 0.0 };
        into[k].push(Sound { from, to, age: from - onset, level, begins: k == begins, ..base });
    }
}

/// Mean power, re its start, of what falls by 60 dB in `decay` seconds, from `age` on for `length` seconds.
pub fn mean_decay(decay: f64, age: f64, length: f64) -> f64 {
    let rate = 6.0 * std::f64::consts::LN_10 / decay.max(1e-3);
    let x = rate * length;
    let mean = if x < 1e-6 { 1.0 } else { (1.0 - exp(-x)) / x };
    exp(-rate * age) * mean
}
