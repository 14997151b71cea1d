//! Struck bodies, with and without pitch: modes that ring and bands of noise, kept from stroke to stroke.

use crate::Frame;
use crate::model::Fall;
use crate::notes::Note;
use crate::plucked::pedalled;
use crate::stage::Stage;
use crate::tables::{number, rows_of};
use ripieno_instruments::by_id;
use ripieno_music::named;
use ripieno_signal::{Biquad, Noise, OnePole};
use ripieno_units::{Chance, Decibels, math};
use std::collections::BTreeMap;
use std::f64::consts::TAU;

static STRUCK: &str = include_str!("../data/struck.tsv");

/// Most modes of one body.
const MODES: usize = 8;

/// The rows that an instrument has of its own; empty for what is not struck.
pub fn own(id: &str) -> Vec<Vec<&'static str>> {
    let instrument = by_id(id);
    rows_of(STRUCK, instrument).into_iter().filter(|r| !r[0].starts_with("family:")).collect()
}

/// The strokes of a chair, body by body.
pub struct Runner<'a> {
    bodies: Vec<Body<'a>>,
}

/// Plays these strokes: one body for each instrument and key.
pub fn runner<'a>(frame: Frame<'a>, notes: Vec<Note<'a>>) -> Runner<'a> {
    let mut bodies: BTreeMap<(&str, u8), Vec<Note<'a>>> = BTreeMap::new();
    for note in notes {
        let id = note.stroke.filter(|s| by_id(s).is_some()).unwrap_or(&frame.chair.instrument);
        let pitched = by_id(id).is_none_or(|i| !i.unpitched);
        bodies.entry((id, if pitched { note.key } else { 0 })).or_default().push(note);
    }
    let bodies = bodies.into_iter().filter_map(|((id, key), notes)| body(frame, id, key, notes)).collect();
    Runner { bodies }
}

impl crate::Runner for Runner<'_> {
    fn run(&mut self, until: i64, stage: &mut Stage) {
        self.bodies.iter_mut().for_each(|b| b.run(until, stage));
    }
}

/// What rings, side by side.
#[derive(Default)]
struct Modes {
    re: [f32; MODES],
    im: [f32; MODES],
    /// One turn.
    turn_re: [f32; MODES],
    turn_im: [f32; MODES],
    /// Hertz as a share of the pitch (or fixed), dB, seconds of the fall by 60 dB, seconds of the rise.
    facts: Vec<(f64, bool, f64, f64)>,
}

impl Modes {
    /// Sets pitch, and how fast it falls: `fall` cuts every mode's own.
    fn tune(&mut self, hertz: f64, fall: f64, rate: f64) {
        for (i, (value, fixed, _, own)) in self.facts.iter().enumerate().take(MODES) {
            let f = if *fixed { *value } else { value * hertz };
            let seconds = own.min(fall).max(0.005);
            // What lies too high for the sample rate is left out.
            let r = if f < 0.45 * rate { math::pow(10.0, -3.0 / (seconds * rate)) } else { 0.0 };
            let w = TAU * f / rate;
            self.turn_re[i] = (r * math::cos(w)) as f32;
            self.turn_im[i] = (r * math::sin(w)) as f32;
        }
    }

    fn run(&mut self, block: &mut [f32]) {
        for x in block {
            let mut re = [0.0_f32; MODES];
            let mut im = [0.0_f32; MODES];
            for i in 0..MODES {
                re[i] = self.re[i] * self.turn_re[i] - self.im[i] * self.turn_im[i];
                im[i] = self.re[i] * self.turn_im[i] + self.im[i] * self.turn_re[i];
            }
            (self.re, self.im) = (re, im);
            let (a, b) = (im[0] + im[4] + im[2] + im[6], im[1] + im[5] + im[3] + im[7]);
            *x += a + b;
        }
    }

    fn energy(&self) -> f32 {
        self.re.iter().chain(&self.im).map(|x| x * x).sum()
    }
}

/// A band of noise.
struct Band {
    noise: Noise,
    filter: Biquad,
    /// Turns filtered noise to RMS 1.
    even: f32,
    gain: f64,
    hertz: f64,
    /// What it is to reach, and how fast it falls and rises.
    target: f32,
    keep: f32,
    rise: OnePole,
}

impl Band {
    fn run(&mut self, block: &mut [f32]) {
        for x in block {
            let level = self.rise.sample(self.target);
            self.target *= self.keep;
            *x += level * self.even * self.filter.sample(self.noise.sample());
        }
    }
}

/// A body that rings, and what is still to be done to it.
struct Body<'a> {
    frame: Frame<'a>,
    notes: Vec<Note<'a>>,
    modes: Modes,
    bands: Vec<Band>,
    chance: Chance,
    /// Turns the sum of its modes and bands to RMS 1.
    even: f64,
    forte: f64,
    /// Hertz up to which a stroke at mf is bright.
    mallet: f64,
    damp: f64,
    /// A stroke (the number of its note), or a hand laid on.
    events: Vec<(i64, Option<usize>)>,
    next: usize,
    at: i64,
    playing: Option<usize>,
}

fn body<'a>(frame: Frame<'a>, id: &str, key: u8, notes: Vec<Note<'a>>) -> Option<Body<'a>> {
    let rate = frame.rate;
    let instrument = by_id(id);
    let rows = rows_of(STRUCK, instrument);
    let strike = rows.iter().find(|r| r[1] == "strike")?;
    let (mallet, forte) = (number(strike, 2), number(strike, 3));
    let forte = instrument.and_then(|i| i.level).map_or(forte, |l| l.forte);
    let damp: Option<f64> = strike.get(4).and_then(|d| d.parse().ok());
    let fall = Fall::of(instrument, 1.0).at(if key == 0 { 60 } else { key });
    let mut chance =
        Chance::named(frame.options.seed, &[frame.chair.chair.as_str(), "body", id, &key.to_string()]);
    let mut modes = Modes::default();
    let mut bands: Vec<Band> = Vec::new();
    let mut power = 0.0;
    for row in &rows {
        let (value, level, share) = (number(row, 2), number(row, 3), number(row, 4));
        match row[1] {
            "ratio" | "fixed" if modes.facts.len() < MODES => {
                modes.facts.push((value, row[1] == "fixed", level, share * fall));
                power += 0.5 * math::pow(10.0, level / 10.0);
            }
            "noise" if value < 0.45 * rate => {
                let mut filter = Biquad::band_pass(value, 1.0, rate);
                let mut noise = Noise::seeded(chance.bits());
                // The level of the band is measured, not reckoned: half a second of it.
                let sum: f64 = (0..(rate / 2.0) as usize)
                    .map(|_| f64::from(filter.sample(noise.sample())))
                    .map(|y| y * y)
                    .sum();
                let rms = math::sqrt(sum / (rate / 2.0));
                bands.push(Band {
                    noise,
                    filter,
                    even: (1.0 / rms.max(1e-9)) as f32,
                    gain: Decibels(level).amplitude(),
                    hertz: value,
                    target: 0.0,
                    keep: math::pow(10.0, -3.0 / ((share * fall).max(0.01) * rate)) as f32,
                    rise: OnePole::smoothing(number(row, 5).max(0.0005), rate),
                });
                power += math::pow(10.0, level / 10.0);
            }
            _ => {}
        }
    }
    let even = 1.0 / math::sqrt(power.max(1e-9));
    let mut events: Vec<(i64, Option<usize>)> = Vec::new();
    for (number, note) in notes.iter().enumerate() {
        events.push((frame.at(note.onset), Some(number)));
        let short = matches!(note.articulation, named::STACCATO | named::STACCATISSIMO);
        // Strokes of a roll ring into each other.
        let rolled = matches!(note.articulation, named::ROLL | named::TREMOLO | named::SWELL);
        if (damp.is_some() && !rolled) || short {
            events.push((frame.at(pedalled(&frame, note.end)), None));
        }
    }
    // At one frame, hands are laid on before the next stroke.
    events.sort_by_key(|e| (e.0, e.1.is_some()));
    Some(Body {
        frame,
        modes,
        bands,
        chance,
        even,
        forte,
        mallet,
        damp: damp.unwrap_or(0.2),
        at: events.first()?.0,
        events,
        next: 0,
        playing: None,
        notes,
    })
}

impl Body<'_> {
    fn run(&mut self, until: i64, stage: &mut Stage) {
        let rate = self.frame.rate;
        let silence = 1e-9_f32;
        let mut block = [0.0_f32; 128];
        while self.at < until {
            while let Some((_, event)) = self.events.get(self.next).copied().filter(|e| e.0 <= self.at) {
                match event {
                    Some(note) => self.strike(note),
                    None => {
                        let pitch = self.playing.map_or(440.0, |n| self.frame.hertz(self.notes[n].cents));
                        self.modes.tune(pitch, self.damp, rate);
                        for band in &mut self.bands {
                            band.target *= 0.3;
                        }
                        self.playing = None;
                    }
                }
                self.next += 1;
            }
            let ahead = self.events.get(self.next).map(|e| e.0);
            let quiet = self.modes.energy() < silence * silence
                && self.bands.iter().all(|b| b.target < silence && b.rise.value < silence);
            if quiet {
                let Some(ahead) = ahead else { break };
                self.at = ahead;
                continue;
            }
            let frames = ahead.map_or(i64::MAX, |e| e - self.at).clamp(1, block.len() as i64) as usize;
            let block = &mut block[..frames];
            block.fill(0.0);
            // A pedal that glides while the note rings.
            if let Some(note) = self.playing.map(|n| &self.notes[n]).filter(|n| !n.bend.is_empty()) {
                let bend = math::polyline(&note.bend, self.at as f64 / rate - note.onset);
                self.modes.tune(self.frame.hertz(note.cents + bend), f64::MAX, rate);
            }
            self.modes.run(block);
            for band in &mut self.bands {
                band.run(block);
            }
            stage.add(0, self.at, block);
            self.at += frames as i64;
        }
    }

    fn strike(&mut self, number: usize) {
        let note = &self.notes[number];
        let pitch = self.frame.hertz(note.cents);
        self.modes.tune(pitch, f64::MAX, self.frame.rate);
        let loud = self.frame.amplitude(self.forte, note.attack, note.players) * self.even;
        let bright = self.mallet * math::exp2(note.attack.clamp(-40.0, 20.0) / 12.0);
        // A soft mallet stays longer on the skin: a low pass of the second order.
        let softened = |f: f64| 1.0 / (1.0 + (f / bright) * (f / bright));
        for (i, (value, fixed, level, _)) in self.modes.facts.iter().enumerate() {
            let f = if *fixed { *value } else { value * pitch };
            // No two strokes fall on the same spot.
            let spot = if self.frame.plain() { 1.0 } else { 1.0 + 0.15 * self.chance.between(-1.0, 1.0) };
            self.modes.re[i] += (loud * softened(f) * spot * Decibels(*level).amplitude()) as f32;
        }
        if !self.frame.plain() {
            for band in &mut self.bands {
                let new = loud * band.gain * softened(band.hertz);
                let old = f64::from(band.target);
                band.target = math::sqrt(new * new + old * old) as f32;
            }
        }
        self.playing = Some(number);
    }
}
