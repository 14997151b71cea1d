//! Which voice an instrument has.

use crate::tables::{number, numbers, rows_of};
use crate::timbre::{Bump, Source, Spectrum};
use ripieno_instruments::{Instrument, by_id};
use ripieno_units::math;
use std::collections::BTreeMap;
use std::sync::OnceLock;

static HELD: &str = include_str!("../data/sustained.tsv");
static PLUCKED: &str = include_str!("../data/plucked.tsv");

/// A voice.
#[derive(Clone, Debug)]
pub enum Model {
    /// It holds its notes.
    Held(Held),
    /// Strings that die away.
    Plucked(Plucked),
    /// Struck bodies; the instrument may differ from stroke to stroke.
    Struck,
}

/// A voice that holds its notes.
#[derive(Clone, Debug)]
pub struct Held {
    /// dB re 1 pW.
    pub forte: f64,
    /// Seconds to the steady level: sharp and soft.
    pub attack: (f64, f64),
    /// Seconds.
    pub release: f64,
    /// dB re the tone.
    pub noise: f64,
    /// Cents and hertz.
    pub vibrato: (f64, f64),
    /// Whether it is sung.
    pub sings: bool,
    /// Which colours it has.
    pub family: &'static str,
    /// Its partials.
    pub spectrum: Spectrum,
}

/// A string.
#[derive(Clone, Debug)]
pub struct Plucked {
    /// dB re 1 pW.
    pub forte: f64,
    /// Seconds in which what lies at 3 kHz falls by 60 dB.
    pub high: f64,
    /// Share of the string at which it is plucked.
    pub pick: f64,
    /// Hertz up to which a pluck at mf is bright.
    pub strike: f64,
    /// Seconds of the fall when damped; none rings on.
    pub damp: Option<f64>,
    /// Seconds of the fall by 60 dB, by key.
    pub fall: Fall,
}

/// Seconds of the fall by 60 dB, by key.
#[derive(Clone, Debug)]
pub struct Fall {
    /// Key and natural logarithm of the seconds.
    points: Vec<(f64, f64)>,
}

impl Fall {
    /// From the instrument table, or one value for all.
    pub fn of(instrument: Option<&Instrument>, otherwise: f64) -> Self {
        let mut points: Vec<(f64, f64)> = instrument
            .map_or(&[][..], |i| &i.decay[..])
            .iter()
            .map(|p| (f64::from(p.key), 0.5 * math::ln((p.shortest * p.longest).clamp(1e-4, 1e4))))
            .collect();
        if points.is_empty() {
            points.push((60.0, math::ln(otherwise.clamp(0.01, 100.0))));
        }
        Self { points }
    }

    /// Seconds.
    pub fn at(&self, key: u8) -> f64 {
        math::exp(math::polyline(&self.points, key.into()))
    }
}

/// The voice of an instrument; one that is unknown sounds as a plain woodwind.
pub fn of(id: &str) -> Model {
    let instrument = by_id(id);
    if instrument.is_some_and(|i| i.unpitched) || !crate::struck::own(id).is_empty() {
        return Model::Struck;
    }
    match instrument {
        Some(i) if !i.decays => Model::Held(held(i)),
        Some(i) if i.family == ripieno_instruments::Family::Percussion => Model::Struck,
        Some(_) => Model::Plucked(plucked(id)),
        None => by_id("flute").map_or(Model::Struck, |i| Model::Held(held(i))),
    }
}

fn held(instrument: &Instrument) -> Held {
    let found = rows_of(HELD, Some(instrument));
    let row = found.first().map_or(&[][..], |r| &r[..]);
    let at = |column| number(row, column);
    let middle = |range: (f64, f64)| 0.0005 * (range.0 + range.1);
    let shapes = row.get(9).copied().unwrap_or_default();
    let (voice, factor) = match shapes.split_once(':') {
        Some((name, factor)) if name.chars().all(char::is_alphabetic) => (Some(name), factor),
        _ => (None, ""),
    };
    let source = match voice {
        Some(name) => Source::Sung {
            vowels: crate::sung::vowels(name, factor.parse().unwrap_or(1.0)),
            solo: instrument.players <= 1,
        },
        None => Source::Bumps(
            shapes
                .split(';')
                .map(|b| numbers(b, ':'))
                .filter(|b| b.len() == 3)
                .map(|b| Bump { hertz: b[0], gain: b[1], octaves: b[2] })
                .collect(),
        ),
    };
    Held {
        forte: instrument.level.map_or(at(1), |l| l.forte),
        attack: instrument.attack.map_or((0.04, 0.12), |a| (middle(a.sharp), middle(a.soft))),
        release: 0.001 * at(2).max(10.0),
        noise: at(5),
        vibrato: (at(6), at(7).max(0.1)),
        sings: voice.is_some(),
        family: match instrument.family {
            ripieno_instruments::Family::Strings => "strings",
            ripieno_instruments::Family::Brass => "brass",
            _ => "other",
        },
        spectrum: Spectrum { slope: at(3), bright: at(4), even: at(8), source },
    }
}

/// The plucked string of an instrument; that of a bowed one is its pizzicato.
pub fn plucked(id: &str) -> Plucked {
    static MADE: OnceLock<BTreeMap<&'static str, Plucked>> = OnceLock::new();
    let made = MADE.get_or_init(|| {
        ripieno_instruments::table().iter().map(|i| (i.id.as_str(), string(Some(i)))).collect()
    });
    by_id(id).and_then(|i| made.get(i.id.as_str())).cloned().unwrap_or_else(|| string(None))
}

fn string(instrument: Option<&Instrument>) -> Plucked {
    let found = rows_of(PLUCKED, instrument);
    let row = found.first().map_or(&["", "86", "0.3", "0.2", "2000", "-", "1"][..], |r| &r[..]);
    Plucked {
        forte: number(row, 1),
        high: number(row, 2).max(0.01),
        pick: number(row, 3),
        strike: number(row, 4).max(100.0),
        damp: row.get(5).and_then(|d| d.parse().ok()),
        fall: Fall::of(instrument, number(row, 6)),
    }
}
