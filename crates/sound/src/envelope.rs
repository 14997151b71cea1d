//! How held notes begin, go on and end, by articulation and instrument.

use crate::model::Held;
use crate::notes::Note;
use crate::tables::{number, rows};
use ripieno_units::math;

static ARTICULATIONS: &str = include_str!("../data/articulations.tsv");

/// 0 before 0, 1 after 1, smooth between.
pub fn smooth(x: f64) -> f64 {
    let x = x.clamp(0.0, 1.0);
    x * x * (3.0 - 2.0 * x)
}

/// From where it is smooth to within 1 dB of its end: where it has 0.89.
const NEARLY: f64 = 0.79;

/// The course of a note's level.
#[derive(Clone, Copy, Debug)]
pub struct Envelope {
    /// Seconds to the level that it goes on at, within 1 dB.
    pub attack: f64,
    /// dB above that at the start, and seconds in which it falls to a third.
    pub peak: (f64, f64),
    /// dB a second.
    pub hold: f64,
    /// Seconds from the end to silence.
    pub release: f64,
    /// Noise at the start, as amplitude re what goes on.
    pub burst: f64,
}

fn row(name: &str, family: &str) -> Vec<&'static str> {
    let fits = |r: &Vec<&str>, name: &str| r[0] == name && (r[1] == family || r[1] == "any");
    rows(ARTICULATIONS)
        .find(|r| fits(r, name))
        .or_else(|| rows(ARTICULATIONS).find(|r| fits(r, "any")))
        .unwrap_or_default()
}

/// dB a second that a held note of an articulation loses, below zero, on an instrument of a family.
pub fn hold(articulation: &str, family: &str) -> f64 {
    number(&row(articulation, family), 5)
}

impl Envelope {
    /// Of a chain that begins with one note and ends with another. `extra` is how far the first note's attack lies above the
    /// chair's level, dB.
    pub fn new(held: &Held, first: &Note<'_>, last: &Note<'_>, extra: f64) -> Self {
        let (begins, ends) = (row(first.articulation, held.family), row(last.articulation, held.family));
        let (sharp, soft) = held.attack;
        // Louder is sharper.
        let quiet = ((3.0 - first.attack) / 40.0).clamp(-0.15, 0.3);
        let softness = (number(&begins, 2) + quiet).clamp(-0.3, 1.0);
        let time = (sharp + (soft - sharp) * softness).max(0.5 * sharp);
        let shortest = 0.5 * (first.end - first.onset);
        let (mut peak, mut fade) = (number(&begins, 3), number(&begins, 4).max(0.01));
        if extra > 1.0 {
            (peak, fade) = (peak.max(extra), fade.max(0.15));
        } else {
            peak += extra;
        }
        Self {
            attack: time.min(shortest).max(0.008),
            peak: (peak, fade),
            hold: number(&begins, 5),
            release: (held.release * number(&ends, 6).max(0.1)).max(0.012),
            burst: math::pow(10.0, number(&begins, 7) / 20.0),
        }
    }

    /// Amplitude after so many seconds from the start of the sound and from its end (below zero before it).
    pub fn rise(&self, since: f64) -> f64 {
        smooth(NEARLY * since / self.attack)
    }

    /// dB that the start adds.
    pub fn start(&self, since: f64) -> f64 {
        let peak =
            if self.peak.0 == 0.0 { 0.0 } else { self.peak.0 * math::exp(-since.max(0.0) / self.peak.1) };
        peak + (self.hold * (since - self.attack).max(0.0)).max(-18.0)
    }

    /// Amplitude after so many seconds from the end.
    pub fn fall(&self, after: f64) -> f64 {
        let x = after / self.release;
        if x <= 0.0 {
            1.0
        } else if x >= 1.0 {
            0.0
        } else {
            // A string, a tube: straight in dB, and gone at the end.
            math::exp(-4.6 * x) * (1.0 - smooth(x))
        }
    }
}
