//! Partials of a held note: by pitch, effort, vowel and colour.

use crate::sung::Vowel;
use crate::tables::{number, numbers, rows};
use ripieno_music::Colour;
use ripieno_units::{Chance, math};

static COLOURS: &str = include_str!("../data/colours.tsv");

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
    /// A mouth: its shapes, see [`crate::sung::SHAPES`].
    Sung(Vec<Vowel>),
}

/// The partials of an instrument.
#[derive(Clone, Debug)]
pub struct Spectrum {
    /// dB an octave, by key.
    pub slope: Vec<(f64, f64)>,
    /// dB of the first partial above that, by key.
    pub first: Vec<(f64, f64)>,
    /// dB of even partials, and hertz at which they are whole again.
    pub even: (f64, f64),
    /// dB that the 16th partial gains on the first, per dB of effort: A_n(L) = A_n + bright min(1, log2(n)/4) L.
    pub bright: f64,
    /// Effort in dB above which it gets no brighter but for a little.
    pub cap: f64,
    /// Hertz from which it falls, and dB an octave beyond.
    pub top: (f64, f64),
    /// Formants.
    pub source: Source,
    /// How uneven the body is from semitone to semitone, dB, by node from MIDI key 0 on.
    pub ripple: Vec<f64>,
}

/// An uneven body: many modes, none known. One value for each semitone from MIDI key 0 on, up to what is heard.
pub fn ripple(db: f64, chance: &mut Chance) -> Vec<f64> {
    if db > 0.0 {
        (0..150).map(|_| chance.normal(db).clamp(-2.0 * db, 2.0 * db)).collect()
    } else {
        Vec::new()
    }
}

/// A change of the spectrum.
#[derive(Clone, Copy, Debug, Default)]
pub struct Tint {
    tilt: f64,
    first: f64,
    /// dB.
    pub level: f64,
    /// dB that breath or bow gain.
    pub noise: f64,
    bump: Option<Bump>,
}

impl Tint {
    /// dB of a partial.
    pub fn at(&self, n: i32, hertz: f64) -> f64 {
        let first = if n == 1 { self.first } else { 0.0 };
        let tilt = if self.tilt == 0.0 { 0.0 } else { self.tilt * math::log2(f64::from(n)).min(5.0) };
        first + tilt + self.bump.map_or(0.0, |b| b.at(hertz))
    }
}

/// Of a colour on an instrument of a family.
pub fn tint(colour: Option<Colour>, family: &str) -> Tint {
    let Some(colour) = colour else { return Tint::default() };
    let found = rows(COLOURS).find(|r| r[0] == colour.word() && (r[1] == "any" || r[1] == family));
    let Some(row) = found else { return Tint::default() };
    let bump = row.get(6).map(|b| numbers(b, ':')).unwrap_or_default();
    Tint {
        tilt: number(&row, 2),
        first: number(&row, 3),
        level: number(&row, 4),
        noise: number(&row, 5),
        bump: (bump.len() == 3).then(|| Bump { hertz: bump[0], gain: bump[1], octaves: bump[2] }),
    }
}

impl Spectrum {
    /// dB of a partial at mf, and what the body's unevenness adds.
    pub fn at(&self, n: i32, hertz: f64, pitch: f64, vowel: u8) -> (f64, f64) {
        let octaves = math::log2(f64::from(n));
        let key = 69.0 + 12.0 * math::log2(pitch / 440.0);
        let first = if n == 1 { math::polyline(&self.first, key) } else { 0.0 };
        let above = math::log2(hertz / self.top.0.max(1.0));
        let top = self.top.1 * 0.5 * (above + math::sqrt(above * above + 0.25));
        let plain = math::polyline(&self.slope, key) * octaves + first + top;
        match &self.source {
            Source::Bumps(bumps) => {
                let even = if n % 2 == 0 {
                    self.even.0 * (1.0 - hertz / self.even.1.max(1.0)).clamp(0.0, 1.0)
                } else {
                    0.0
                };
                let rough = if self.ripple.is_empty() {
                    0.0
                } else {
                    let x = (key + 12.0 * octaves).clamp(0.0, (self.ripple.len() - 2) as f64);
                    let i = math::floor(x);
                    math::lerp(self.ripple[i as usize], self.ripple[i as usize + 1], x - i)
                };
                (plain + even + bumps.iter().map(|b| b.at(hertz)).sum::<f64>(), rough)
            }
            Source::Sung(vowels) => {
                (plain + vowels.get(usize::from(vowel)).map_or(0.0, |v| v.at(hertz, pitch)), 0.0)
            }
        }
    }

    /// dB that an effort adds to a partial.
    pub fn effort(&self, n: i32, _hertz: f64, effort: f64) -> f64 {
        let effort = if effort > self.cap { self.cap + 0.2 * (effort - self.cap) } else { effort };
        self.bright * (math::log2(f64::from(n)) / 4.0).min(1.0) * effort
    }
}
