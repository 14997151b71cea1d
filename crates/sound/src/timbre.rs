//! Partials of a held note: by pitch, level, vowel and colour.

use crate::sung::Vowel;
use crate::tables::{numbers, rows};
use ripieno_music::Colour;
use ripieno_signal::periodic;
use ripieno_units::{Chance, math};
use std::collections::BTreeMap;
use std::f64::consts::TAU;
use std::rc::Rc;

static COLOURS: &str = include_str!("../data/colours.tsv");

/// Samples of one period.
pub const LENGTH: usize = 2048;

/// Levels at which a spectrum is worked out: dB re mf of the lowest, and from one to the next.
pub const LOWEST: f64 = -36.0;
/// From layer to layer, dB.
pub const STEP: f64 = 6.0;
/// Number of layers: up to +18 dB.
pub const LAYERS: usize = 10;

/// A formant.
#[derive(Clone, Copy, Debug)]
pub struct Bump {
    /// Centre.
    pub hertz: f64,
    /// dB.
    pub gain: f64,
    /// Width in octaves, at a half of the dB.
    pub octaves: f64,
}

impl Bump {
    fn at(&self, hertz: f64) -> f64 {
        let away = math::log2(hertz / self.hertz) / (0.5 * self.octaves.max(0.05));
        self.gain / (1.0 + away * away)
    }
}

/// What shapes the partials.
#[derive(Clone, Debug)]
pub enum Source {
    /// A body.
    Bumps(Vec<Bump>),
    /// A mouth; soloists also have the singer's formant that their vowels show.
    Sung {
        /// a e i o u.
        vowels: Vec<Vowel>,
        /// One singer.
        solo: bool,
    },
}

/// The partials of an instrument.
#[derive(Clone, Debug)]
pub struct Spectrum {
    /// dB an octave.
    pub slope: f64,
    /// dB that the 16th partial gains on the first, per dB of level: A_n(L) = A_n + bright min(1, log2(n)/4) L.
    pub bright: f64,
    /// dB of even partials below 1.5 kHz.
    pub even: f64,
    /// Formants.
    pub source: Source,
}

/// What a period is made for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Wanted {
    /// MIDI key.
    pub key: u8,
    /// Number of the vowel.
    pub vowel: u8,
    /// Colour.
    pub colour: Option<Colour>,
}

/// A change of the spectrum.
#[derive(Clone, Copy, Debug, Default)]
pub struct Tint {
    tilt: f64,
    /// dB.
    pub level: f64,
    bump: Option<Bump>,
}

/// Of a colour on an instrument of a family.
pub fn tint(colour: Option<Colour>, family: &str) -> Tint {
    let Some(colour) = colour else { return Tint::default() };
    let found = rows(COLOURS).find(|r| r[0] == colour.word() && (r[1] == "any" || r[1] == family));
    let Some(row) = found else { return Tint::default() };
    let bump = numbers(row[4], ':');
    Tint {
        tilt: crate::tables::number(&row, 2),
        level: crate::tables::number(&row, 3),
        bump: (bump.len() == 3).then(|| Bump { hertz: bump[0], gain: bump[1], octaves: bump[2] }),
    }
}

/// Periods of one chair, made when they are first wanted.
pub struct Periods {
    spectrum: Spectrum,
    family: &'static str,
    rate: f64,
    tuning: f64,
    phases: Vec<f64>,
    made: BTreeMap<(Wanted, usize), Rc<[f32]>>,
}

impl Periods {
    /// For a chair.
    pub fn new(spectrum: Spectrum, family: &'static str, rate: f64, tuning: f64, mut chance: Chance) -> Self {
        // One set of phases for all periods, so that one passes into the other without a dip.
        let phases = (0..LENGTH / 2).map(|_| TAU * chance.unit()).collect();
        Self { spectrum, family, rate, tuning, phases, made: BTreeMap::new() }
    }

    /// One period of RMS 1, with its first sample again at its end. Partials end below 0.45 of the sample rate.
    pub fn get(&mut self, wanted: Wanted, layer: usize) -> Rc<[f32]> {
        if let Some(made) = self.made.get(&(wanted, layer)) {
            return Rc::clone(made);
        }
        let pitch = self.tuning * math::exp2((f64::from(wanted.key) - 69.0) / 12.0);
        let tint = tint(wanted.colour, self.family);
        let level = LOWEST + STEP * layer as f64;
        // A semitone of room for vibrato and bends; the last half-octave fades.
        let top = 0.45 * self.rate / 1.06;
        let mut partials: Vec<(f64, f64)> = Vec::new();
        for (phase, n) in self.phases.iter().zip(1..) {
            let hertz = pitch * f64::from(n);
            if n > 1 && hertz > top {
                break;
            }
            let octaves = math::log2(f64::from(n));
            let mut db = self.spectrum.at(n, hertz, pitch, wanted.vowel)
                + self.spectrum.bright * (octaves / 4.0).min(1.0) * level
                + tint.tilt * octaves.min(5.0)
                + tint.bump.map_or(0.0, |b| b.at(hertz));
            let fade = 2.0 * math::log2(top / hertz);
            if n > 1 && fade < 1.0 {
                db += 20.0 * math::log10(fade.max(1e-3));
            }
            partials.push((math::pow(10.0, db.clamp(-200.0, 100.0) / 20.0), *phase));
        }
        let power: f64 = partials.iter().map(|(a, _)| a * a / 2.0).sum();
        let even = 1.0 / math::sqrt(power.max(1e-300));
        partials.iter_mut().for_each(|p| p.0 *= even);
        let mut period = periodic(LENGTH, &partials);
        period.push(period[0]);
        let made: Rc<[f32]> = period.into();
        self.made.insert((wanted, layer), Rc::clone(&made));
        made
    }
}

impl Spectrum {
    /// dB of a partial at mf.
    fn at(&self, n: i32, hertz: f64, pitch: f64, vowel: u8) -> f64 {
        let octaves = math::log2(f64::from(n));
        match &self.source {
            Source::Bumps(bumps) => {
                let even = if n % 2 == 0 { self.even * (1.0 - hertz / 3000.0).clamp(0.0, 1.0) } else { 0.0 };
                self.slope * octaves + even + bumps.iter().map(|b| b.at(hertz)).sum::<f64>()
            }
            // The vowels' levels hold the slope of the source already; a little is left for what lies between.
            Source::Sung { vowels, solo } => {
                let shape = vowels.get(usize::from(vowel)).map_or(0.0, |v| v.at(hertz, pitch, *solo));
                shape + self.slope * 0.25 * octaves
            }
        }
    }
}
