//! What the house orchestra's instruments sound like, for the read-through.

use ripieno_music::Colour;
use ripieno_readthrough::{Spectra, Spectrum};

/// The house orchestra.
pub struct House;

impl Spectra for House {
    fn note(
        &self,
        _instrument: &str,
        _stroke: Option<&str>,
        _key: f64,
        _level: f64,
        _colour: Option<Colour>,
    ) -> Spectrum {
        Spectrum::default()
    }
}
