//! Which voice an instrument has.

use crate::breath::Band;
use crate::tables::{names, number, numbers, rows, rows_of};
use crate::timbre::{Bump, Source, Spectrum};
use ripieno_instruments::{Family, Instrument, by_id};

static HELD: &str = include_str!("../data/sustained.tsv");

/// A voice.
#[derive(Clone, Debug)]
pub enum Model {
    /// It holds its notes.
    Held(Box<Held>),
    /// Strings that die away.
    Plucked,
    /// Struck bodies; the instrument may differ from stroke to stroke.
    Struck,
}

/// How the notes of a held voice are made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Bowed.
    Strings,
    /// Lips in a cup.
    Brass,
    /// Air and reeds, pipes and bellows too.
    Wind,
    /// Sung.
    Sung,
}

/// A voice that holds its notes.
#[derive(Clone, Debug)]
pub struct Held {
    /// dB re 1 pW.
    pub forte: f64,
    /// pp and ff, dB re forte.
    pub range: (f64, f64),
    /// Seconds to the steady level: sharp and soft.
    pub attack: (f64, f64),
    /// Seconds from the end to silence.
    pub release: f64,
    /// Breath or bow.
    pub noise: Band,
    /// Cents, hertz, dB.
    pub vibrato: (f64, f64, f64),
    /// dB of effort that are missing at the start, and the seconds in which a third of them is left.
    pub lag: (f64, f64),
    /// Standard deviation of its slow walk in pitch, cents.
    pub drift: f64,
    /// Roughness from moment to moment, cents.
    pub jitter: f64,
    /// Cents from which a note is reached at its start.
    pub scoop: f64,
    /// How it is played.
    pub kind: Kind,
    /// Which colours and articulations it has.
    pub family: &'static str,
    /// Unevenness of its body, dB.
    pub ripple: f64,
    /// Its partials.
    pub spectrum: Spectrum,
}

/// Players from which on strings have the figures of a section, where the table has such.
const SECTION: u16 = 4;

/// The voice of an instrument with so many players; one that is unknown sounds as a plain woodwind.
pub fn of(id: &str, players: u16) -> Model {
    let instrument = by_id(id);
    if instrument.is_some_and(|i| i.unpitched) || crate::struck::knows(id) {
        return Model::Struck;
    }
    match instrument {
        Some(i) if !i.decays => Model::Held(Box::new(held(i, players))),
        Some(i) if i.family == Family::Percussion => Model::Struck,
        Some(_) => Model::Plucked,
        None => by_id("flute").map_or(Model::Struck, |i| Model::Held(Box::new(held(i, players)))),
    }
}

/// Pairs `key:value`.
fn by_key(text: &str) -> Vec<(f64, f64)> {
    text.split(';').map(|p| numbers(p, ':')).filter(|p| p.len() == 2).map(|p| (p[0], p[1])).collect()
}

fn held(instrument: &Instrument, players: u16) -> Held {
    let several = (players >= SECTION).then(|| format!("{}+", instrument.id));
    let section = several.and_then(|id| rows(HELD).find(|r| names(r, &id)));
    let found = section.map_or_else(|| rows_of(HELD, Some(instrument)), |r| vec![r]);
    let row = found.first().map_or(&[][..], |r| &r[..]);
    let at = |column| number(row, column);
    let text = |column: usize| row.get(column).copied().unwrap_or_default();
    let part = |column: usize, i: usize, otherwise: f64| {
        numbers(text(column), ':').get(i).copied().unwrap_or(otherwise)
    };
    let middle = |range: (f64, f64)| 0.0005 * (range.0 + range.1);
    let shapes = text(13);
    let (voice, factor) = match shapes.split_once(':') {
        Some((name, factor)) if name.chars().all(char::is_alphabetic) => (Some(name), factor),
        _ => (None, ""),
    };
    let source = match voice {
        Some(name) => {
            Source::Sung(crate::sung::vowels(name, factor.parse().unwrap_or(1.0), instrument.players))
        }
        None => Source::Bumps(
            shapes
                .split(';')
                .map(|b| numbers(b, ':'))
                .filter(|b| b.len() == 3)
                .map(|b| Bump { hertz: b[0], gain: b[1], octaves: b[2] })
                .collect(),
        ),
    };
    let (kind, family) = match instrument.family {
        _ if voice.is_some() => (Kind::Sung, "voice"),
        Family::Strings => (Kind::Strings, "strings"),
        Family::Brass => (Kind::Brass, "brass"),
        Family::Keyboard => (Kind::Wind, "keyboard"),
        _ => (Kind::Wind, "wind"),
    };
    // Where the instrument table has no figures, those of the family.
    let attack = match kind {
        Kind::Strings => (0.050, 0.250),
        Kind::Sung => (0.080, 0.250),
        Kind::Brass => (0.032, 0.110),
        Kind::Wind => (0.030, 0.100),
    };
    let (jitter, drift, scoop) = match kind {
        Kind::Strings => (1.5, 3.0, 0.0),
        Kind::Sung => (3.0, 4.0, -35.0),
        Kind::Brass => (1.0, 2.0, -14.0),
        Kind::Wind if family == "keyboard" => (0.0, 0.0, 0.0),
        Kind::Wind => (1.0, 2.0, -5.0),
    };
    Held {
        forte: instrument.level.map_or(at(1), |l| l.forte),
        range: instrument
            .level
            .map_or((part(2, 0, -14.0), part(2, 1, 4.0)), |l| (l.pp - l.forte, l.ff - l.forte)),
        attack: instrument.attack.map_or(attack, |a| (middle(a.sharp), middle(a.soft))),
        release: 0.001 * at(3).max(10.0),
        noise: Band {
            level: part(10, 0, -60.0),
            low: part(10, 1, 500.0),
            high: part(10, 2, 4000.0),
            sync: part(10, 3, 0.0).clamp(0.0, 1.0),
        },
        vibrato: (part(11, 0, 0.0), part(11, 1, 5.5).max(0.1), part(11, 2, 0.0)),
        lag: (part(12, 0, 0.0), part(12, 1, 0.03).max(0.001)),
        drift,
        jitter,
        scoop,
        kind,
        family,
        ripple: at(9),
        spectrum: Spectrum {
            slope: by_key(text(4)),
            bright: part(5, 0, 0.3),
            cap: part(5, 1, 99.0),
            first: by_key(text(6)),
            even: (part(7, 0, 0.0), part(7, 1, 3000.0)),
            top: (part(8, 0, 20_000.0), part(8, 1, 0.0)),
            source,
            ripple: Vec::new(),
        },
    }
}
