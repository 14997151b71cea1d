//! What the house orchestra's instruments sound like, for the read-through.

use ripieno_music::{Colour, named};
use ripieno_readthrough::{Spectra, Spectrum};
use ripieno_sound::spectra::{Asked, of};

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
        let mut asked = Asked { colour, ..Asked::new(instrument, key, level) };
        match stroke {
            Some(word @ (named::PIZZICATO | named::SNAP_PIZZICATO)) => asked.articulation = word,
            other => asked.stroke = other,
        }
        let found = of(&asked);
        Spectrum {
            components: found.components.iter().map(|c| (c.hertz, c.power)).collect(),
            decay: found.decay,
        }
    }
}
