//! Is it heard? From loudness, not from opinion; an estimate.
//!
//! Levels come from instruments, dynamics, players and seats ([`slots`]); each note's components become excitation at the
//! listener ([`ear`]); a line is held against all others that sound with it, and against the reverberation of what was
//! before ([`balance`], [`lines`]). What is covered is said with remedies that were tried and what each does ([`covered`],
//! [`remedies`]); beside it how notes lie ([`spacing`]) and what doublings do ([`idle`]).

use crate::rules::{Concern, Rule};
use crate::{Arc, Table};
use ripieno_music::{Colour, Finding, Reading};

pub(crate) mod balance;
mod cells;
mod covered;
mod ear;
mod idle;
pub(crate) mod lines;
mod remedies;
mod slots;
mod spacing;
#[cfg(test)]
mod tests;
mod unmarked;

use balance::Balance;
use lines::Lines;

const MASKING: &str = "partial loudness after Moore, Glasberg and Baer 1997, excitation after ISO 532-2; bounds of the verdict: own choice";

/// The rules of this folder.
pub const RULES: &[Rule] = &[
    Rule {
        name: "tune-covered",
        concern: Concern::Balance,
        asks: "the tune is heard beside everything else",
        source: MASKING,
    },
    Rule {
        name: "tune-at-risk",
        concern: Concern::Balance,
        asks: "the tune is heard with ease",
        source: MASKING,
    },
    Rule {
        name: "line-lost",
        concern: Concern::Balance,
        asks: "counter-melody and bass are heard for half of their time",
        source: MASKING,
    },
    Rule {
        name: "mud",
        concern: Concern::Balance,
        asks: "low notes lie wide enough: no rougher than a third on C3",
        source: "low-interval limits after Piston and Adler (from memory), by roughness after Plomp and Levelt 1965, Sethares 1993",
    },
    Rule {
        name: "hole",
        concern: Concern::Balance,
        asks: "in forte no wide empty interval between outer and inner parts",
        source: "Rimsky-Korsakov, Principles of Orchestration, on the distribution of chords; bounds: own choice",
    },
    Rule {
        name: "crossing",
        concern: Concern::Balance,
        asks: "no accompaniment of the tune's own colour lies above it as loud",
        source: "common practice, no source",
    },
    Rule {
        name: "doubling-idle",
        concern: Concern::Balance,
        asks: "a doubling adds loudness or colour",
        source: MASKING,
    },
    Rule {
        name: "marks-missing",
        concern: Concern::Balance,
        asks: "how old are the marks that a balance would be judged by",
        source: "own choice",
    },
    Rule {
        name: "octave-beat",
        concern: Concern::Balance,
        asks: "no two equal instruments alone in octaves",
        source: "Rimsky-Korsakov, Principles of Orchestration, on octaves in the woodwind, by partials that meet",
    },
];

/// The steady sound of one player, or a struck or plucked note in its first 100 ms: sound power by component.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Spectrum {
    /// Frequency in hertz and sound power in dB re 1 pW of each partial, or of each narrow band of noise.
    pub components: Vec<(f64, f64)>,
    /// Time to fall by 60 dB, in seconds; `None` while it is held.
    pub decay: Option<f64>,
}

/// What instruments sound like: brought by whoever calls.
///
/// `stroke` is what is struck on a chair without pitch; with a pitch on a bowed instrument it is the name of an articulation that
/// plucks it, `pizzicato` or `snap-pizzicato`. Where that is not known, and the sound comes back as held, it is made to decay.
pub trait Spectra: Sync {
    /// The sound of one player of an instrument at a pitch (MIDI key with fractions; 0 for strokes) and level (dB re its mf).
    fn note(
        &self,
        instrument: &str,
        stroke: Option<&str>,
        key: f64,
        level: f64,
        colour: Option<Colour>,
    ) -> Spectrum;

    /// The same at several levels, for which much may be worked out at once.
    fn at_levels(
        &self,
        instrument: &str,
        stroke: Option<&str>,
        key: f64,
        levels: &[f64],
        colour: Option<Colour>,
    ) -> Vec<Spectrum> {
        levels.iter().map(|level| self.note(instrument, stroke, key, *level, colour)).collect()
    }
}

/// Findings of balance, and the arc.
pub fn check(table: &Table<'_>, reading: &Reading, spectra: &dyn Spectra) -> (Vec<Finding>, Arc) {
    let balance = Balance::new(table, spectra);
    let unmarked = unmarked::unmarked(table);
    let lines = Lines::new(&balance, reading, &unmarked);
    let ((mut findings, spacing), (idle, arc)) = rayon::join(
        || rayon::join(|| covered::check(&balance, &lines), || spacing::check(&balance, &lines)),
        || {
            rayon::join(
                || idle::check(&balance, &lines, &reading.doublings),
                || crate::arc::trace(&balance, &lines.passages),
            )
        },
    );
    findings.extend(spacing);
    findings.extend(idle);
    findings.extend(unmarked::findings(table, &unmarked));
    (findings, arc)
}
