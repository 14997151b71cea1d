//! Which voice an instrument has.

use crate::tables::{number, numbers, rows_of};
use crate::timbre::{Bump, Source, Spectrum};
use ripieno_instruments::{Instrument, by_id};

static HELD: &str = include_str!("../data/sustained.tsv");

/// A voice.
#[derive(Clone, Debug)]
pub enum Model {
    /// It holds its notes.
    Held(Held),
    /// Strings that die away.
    Plucked,
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

/// The voice of an instrument; one that is unknown sounds as a plain woodwind.
pub fn of(id: &str) -> Model {
    let instrument = by_id(id);
    if instrument.is_some_and(|i| i.unpitched) || crate::struck::knows(id) {
        return Model::Struck;
    }
    match instrument {
        Some(i) if !i.decays => Model::Held(held(i)),
        Some(i) if i.family == ripieno_instruments::Family::Percussion => Model::Struck,
        Some(_) => Model::Plucked,
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
