//! What the house orchestra's instruments sound like, for the read-through.

use ripieno_music::{Colour, named};
use ripieno_readthrough::{Spectra, Spectrum};
use ripieno_sound::spectra::{Asked, Sounding, at_levels};

/// The house orchestra.
pub struct House;

impl Spectra for House {
    fn note(
        &self,
        instrument: &str,
        stroke: Option<&str>,
        key: f64,
        level: f64,
        colour: Option<Colour>,
    ) -> Spectrum {
        self.at_levels(instrument, stroke, key, &[level], colour).pop().unwrap_or_default()
    }

    fn at_levels(
        &self,
        instrument: &str,
        stroke: Option<&str>,
        key: f64,
        levels: &[f64],
        colour: Option<Colour>,
    ) -> Vec<Spectrum> {
        let mut asked = Asked { colour, ..Asked::new(instrument, key, 0.0) };
        match stroke {
            Some(word @ (named::PIZZICATO | named::SNAP_PIZZICATO)) => asked.articulation = word,
            other => asked.stroke = other,
        }
        let spectrum = |found: Sounding| Spectrum {
            components: found.components.iter().map(|c| (c.hertz, c.power)).collect(),
            decay: found.decay,
        };
        at_levels(&asked, levels).into_iter().map(spectrum).collect()
    }
}
