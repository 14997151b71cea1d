//! Struck bodies, with and without pitch: bars, bells, skins, plates, blocks and what rattles.
//!
//! The table `data/struck.tsv` says what each is made of: single modes, dense modes (drawn by a seeded law between two
//! frequencies), bands of noise, and how a stroke falls apart into several (jingles, beans, teeth, bars of a tree).

use crate::Frame;
use crate::bank::Mode;
use crate::body::{Act, Blow, Body, Make};
use crate::facts::{Common, Row, at_key, common, fall, harder, instrument_of, is_damped, rows, span};
use crate::notes::Note;
use crate::plucked::{pedalled, place, whole_cents};
use crate::stage::Stage;
use crate::tables::rows_of;
use ripieno_instruments::{Instrument, by_id};
use ripieno_music::named;
use ripieno_units::{Chance, Decibels, math};
use std::collections::BTreeMap;

static STRUCK: &str = include_str!("../data/struck.tsv");

/// Whether the table has rows of this instrument's own.
pub fn knows(id: &str) -> bool {
    rows_of(STRUCK, by_id(id)).iter().any(|r| !r[0].starts_with("family:"))
}

/// The strokes of a chair, body by body.
pub struct Runner {
    bodies: Vec<Body>,
}

impl crate::Runner for Runner {
    fn run(&mut self, until: i64, stage: &mut Stage) {
        self.bodies.iter_mut().for_each(|b| b.run(until, stage));
    }
}

/// Plays these strokes: one body for each instrument and key.
pub fn runner(frame: Frame<'_>, notes: Vec<Note<'_>>) -> Runner {
    let mut struck: BTreeMap<(&str, u8, i32), Vec<Note<'_>>> = BTreeMap::new();
    for note in notes {
        let instrument = of(note.stroke, note.key, &frame.chair.instrument);
        let id = instrument.map_or("percussion", |i| i.id.as_str());
        let key = if instrument.is_none_or(|i| i.unpitched) { 0 } else { note.key };
        struck.entry((id, key, whole_cents(note.cents, key))).or_default().push(note);
    }
    let mut bodies = Vec::new();
    for ((id, key, cents), notes) in struck {
        let all = table(id);
        let name = [frame.chair.chair.as_str(), "body", id, &key.to_string()].map(String::from);
        let chance = |what: &str| {
            let names: Vec<&str> = name.iter().map(String::as_str).chain([what]).collect();
            Chance::named(frame.options.seed, &names)
        };
        let cents = f64::from(cents);
        match all.iter().find(|r| r.what == "sweep") {
            Some(sweep) => bodies.extend(tree(&frame, id, &all, sweep, &notes, chance)),
            None => bodies.extend(body(&frame, id, &all, (key, cents), &notes, chance)),
        }
    }
    Runner { bodies }
}

/// What a note strikes: what it names, or on a set of drums what its key stands for.
pub fn of(stroke: Option<&str>, key: u8, chair: &str) -> Option<&'static Instrument> {
    let instrument = instrument_of(stroke, chair)?;
    if stroke.is_none() && matches!(instrument.id.as_str(), "drum-kit" | "percussion") {
        let own = ripieno_instruments::table().iter().find(|i| i.unpitched && i.gm_key == Some(key));
        return own.or(Some(instrument));
    }
    Some(instrument)
}

fn blow(frame: &Frame<'_>, common: &Common, note: &Note<'_>) -> Blow {
    Blow {
        rms: frame.amplitude(common.forte, note.attack, note.players),
        level: note.attack,
        harder: harder(note.articulation) + frame.chair.sticks.at(ripieno_units::Seconds(note.onset)),
        keeps: common.keeps,
        every: None,
        hiss: 0.0,
        bend: (!note.bend.is_empty()).then(|| (note.onset, note.bend.clone())),
        seed: 0,
    }
}

fn body(
    frame: &Frame<'_>,
    id: &str,
    rows: &[Row],
    (key, cents): (u8, f64),
    notes: &[Note<'_>],
    chance: impl Fn(&str) -> Chance,
) -> Option<Body> {
    let instrument = by_id(id);
    let common =
        common(rows, if key == 0 { 60 } else { key }, instrument.and_then(|i| i.level).map(|l| l.forte));
    let fall = fall(instrument, if key == 0 { 60 } else { key }, 1.0);
    let mut acts: Vec<(i64, Act)> = Vec::new();
    for (i, note) in notes.iter().enumerate() {
        let mut chance = chance(&place(note));
        let mut blow = blow(frame, &common, note);
        blow.seed = chance.bits();
        // Strokes of a roll ring into each other.
        let rolled = matches!(note.articulation, named::ROLL | named::TREMOLO | named::SWELL);
        if rolled {
            let next = notes.get(i + 1).map_or(note.end, |n| n.onset.min(note.end));
            blow.every = Some(next - note.onset).filter(|s| (0.01..0.4).contains(s));
        }
        match rows.iter().find(|r| r.what == "grains") {
            Some(row) => grains(frame, row, note, &blow, &mut acts, &mut chance),
            None => acts.push((frame.at(note.onset), Act::Strike(blow))),
        }
        let end = pedalled(frame, note.end);
        let again = notes.iter().any(|n| n.onset < end - 1e-4 && end < n.end - 1e-4);
        if (common.damp.is_some() && !rolled || is_damped(note.articulation)) && !again {
            acts.push((frame.at(end), Act::Damp(common.damp.unwrap_or(0.2))));
        }
    }
    // At one frame, hands are laid on before the next stroke.
    acts.sort_by_key(|a| (a.0, matches!(a.1, Act::Strike(_))));
    let make = make(rows, frame.hertz(cents), fall, &common, id);
    Body::new(frame, 0, make, acts)
}

/// The rows of an instrument, with those of others of its family where it has none.
pub fn table(id: &str) -> Vec<Row> {
    rows(STRUCK, by_id(id))
}

/// What a body is made of.
pub fn make(rows: &[Row], pitch: f64, fall: f64, common: &Common, id: &str) -> Make {
    let noisy = by_id(id).is_none_or(|i| i.unpitched);
    let mut modes = Vec::new();
    for row in rows {
        match row.what {
            "ratio" | "fixed" => {
                let value: f64 = row.value.parse().unwrap_or(1.0);
                let amplitude = Decibels(row.level.parse().unwrap_or(0.0)).amplitude();
                modes.push(Mode {
                    hertz: if row.what == "ratio" { value.abs() * pitch } else { value },
                    amplitude: if value < 0.0 { -amplitude } else { amplitude },
                    fall: fall * row.share.parse().unwrap_or(1.0),
                    rise: row.rise.parse().unwrap_or(0.0),
                });
            }
            "dense" => modes.extend(dense(row, 1.0, fall, id)),
            "cloud" => modes.extend(dense(row, pitch, fall, id)),
            _ => {}
        }
    }
    Make { modes, hisses: common.hisses.clone(), noisy, mallet: common.mallet, sharp: common.sharp }
}

/// Modes drawn between two frequencies: as many in each third octave as their density says, evenly in the logarithm. They are
/// the same for every cue, as the instrument in the room is.
fn dense(row: &Row, times: f64, fall: f64, id: &str) -> Vec<Mode> {
    let [low, high, count] = span(row.value, 100.0);
    let (low, high) = (low * times, high * times);
    let levels: [f64; 2] = span(row.level, 0.0);
    let falls: [f64; 2] = span(row.share, 1.0);
    let rises: [f64; 2] = span(row.rise, 0.0);
    let mut chance = Chance::named(1, &["modes", id, row.value]);
    let count = count.clamp(1.0, 400.0) as usize;
    (0..count)
        .map(|i| {
            // One in each cell, anywhere in it: no two lie too near, none repeat at a distance.
            let x = (i as f64 + chance.unit()) / count as f64;
            let between = |pair: [f64; 2]| math::lerp(pair[0], pair[1], x);
            let sign = if chance.unit() < 0.5 { -1.0 } else { 1.0 };
            let strength = Decibels(between(levels) + chance.normal(4.0).clamp(-10.0, 6.0)).amplitude();
            Mode {
                hertz: low.max(1.0) * math::pow(high / low.max(1.0), x),
                amplitude: sign * strength,
                fall: fall * geometric(falls, x) * math::exp2(chance.normal(0.25).clamp(-0.6, 0.6)),
                rise: if rises[1] > 0.0 { geometric(rises, x) } else { 0.0 },
            }
        })
        .collect()
}

fn geometric(pair: [f64; 2], x: f64) -> f64 {
    math::exp(math::lerp(math::ln(pair[0].max(1e-5)), math::ln(pair[1].max(1e-5)), x))
}

/// How a stroke falls apart: `value` so many a second; `level` dB by which the last is weaker; `share` seconds that it takes, or
/// `-` as long as the note; `rise` how uneven they come, 0 to 1.
pub struct Grains {
    rate: f64,
    weaker: f64,
    uneven: f64,
    count: usize,
    /// Together as loud as one over the time of a meter.
    together: f64,
}

impl Grains {
    /// Of a row and a note of so many seconds.
    pub fn new(row: &Row, length: f64) -> Self {
        let rate = at_key(row.value, 60, 20.0).clamp(1.0, 400.0);
        let seconds = row.share.parse().unwrap_or(length.max(0.08));
        let count = ((seconds * rate).round() as usize).clamp(1, 4000);
        Self {
            rate,
            weaker: at_key(row.level, 60, 0.0),
            uneven: at_key(row.rise, 60, 0.3).clamp(0.0, 1.0),
            count,
            together: (rate * crate::body::METER).min(count as f64).max(1.0),
        }
    }

    /// dB of one, re the first.
    fn level(&self, i: usize) -> f64 {
        -self.weaker * i as f64 / self.count as f64
    }

    /// Seconds and power of each, as they come on average.
    pub fn plain(&self) -> Vec<(f64, f64)> {
        let power = |i: usize| math::pow(10.0, self.level(i) / 10.0) / self.together;
        (0..self.count).map(|i| (i as f64 / self.rate, power(i))).collect()
    }
}

/// A stroke that falls apart.
fn grains(
    frame: &Frame<'_>,
    row: &Row,
    note: &Note<'_>,
    blow: &Blow,
    acts: &mut Vec<(i64, Act)>,
    chance: &mut Chance,
) {
    let all = Grains::new(row, note.end - note.onset);
    for i in 0..all.count {
        let off = if i == 0 || frame.plain() { 0.0 } else { all.uneven * chance.between(-0.5, 0.5) };
        let own = if frame.plain() { 0.0 } else { all.uneven * chance.normal(2.0).clamp(-5.0, 4.0) };
        let mut grain = blow.clone();
        grain.rms *= Decibels(own + all.level(i)).amplitude() / math::sqrt(all.together);
        grain.keeps = 1.0;
        grain.seed = chance.bits();
        acts.push((frame.at(note.onset + (i as f64 + off).max(0.0) / all.rate), Act::Strike(grain)));
    }
}

/// A row of bars that a hand sweeps over: each is a body of its own.
fn tree(
    frame: &Frame<'_>,
    id: &str,
    rows: &[Row],
    sweep: &Row,
    notes: &[Note<'_>],
    chance: impl Fn(&str) -> Chance,
) -> Vec<Body> {
    let instrument = by_id(id);
    let common = common(rows, 60, None);
    let [low, high, count] = span(sweep.value, 1.0);
    let count = count.clamp(2.0, 80.0) as usize;
    let shortest = at_key(sweep.share, 60, 0.5);
    let fall = fall(instrument, 60, 4.0);
    let mut bodies = Vec::new();
    for bar in 0..count {
        let mut own = chance(&format!("bar {bar}"));
        let x = bar as f64 / (count - 1) as f64;
        let pitch = low * math::pow(high / low, x) * math::exp2(own.normal(0.01));
        let mut acts = Vec::new();
        for note in notes {
            let mut own = chance(&format!("bar {bar} {}", place(note)));
            // From the long bars to the short ones, or back where the key says that it falls.
            let along = if note.articulation.contains("down") { 1.0 - x } else { x };
            let seconds = (note.end - note.onset).max(shortest);
            let touch =
                Decibels(own.normal(2.0).clamp(-5.0, 4.0)).amplitude() / math::sqrt(0.3 * count as f64);
            let mut blow = blow(frame, &common, note);
            blow.seed = own.bits();
            blow.rms *= if frame.plain() { 1.0 } else { touch };
            let at = note.onset + seconds * along + if bar == 0 { 0.0 } else { 0.02 * own.unit() };
            acts.push((frame.at(at), Act::Strike(blow)));
            if is_damped(note.articulation) {
                acts.push((frame.at(note.end + seconds), Act::Damp(0.3)));
            }
        }
        acts.sort_by_key(|a| a.0);
        // Short bars fall sooner.
        let make = make(rows, pitch, fall * math::sqrt(low / pitch), &common, id);
        bodies.extend(Body::new(frame, 0, make, acts));
    }
    bodies
}
