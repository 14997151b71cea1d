//! Is it heard? From loudness, not from opinion; an estimate.

use crate::rules::Rule;
use crate::{Arc, Table};
use ripieno_music::{Colour, Finding, Reading};

/// The rules of this folder.
pub const RULES: &[Rule] = &[];

/// The steady sound of one player, or a struck or plucked note in its first 100 ms: sound power by component.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Spectrum {
    /// Frequency in hertz and sound power in dB re 1 pW of each partial, or of each narrow band of noise.
    pub components: Vec<(f64, f64)>,
    /// Time to fall by 60 dB, in seconds; `None` while it is held.
    pub decay: Option<f64>,
}

/// What instruments sound like: brought by whoever calls.
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
}

/// Findings of balance, and the arc.
pub fn check(_table: &Table<'_>, _reading: &Reading, _spectra: &dyn Spectra) -> (Vec<Finding>, Arc) {
    (Vec::new(), Arc::default())
}
