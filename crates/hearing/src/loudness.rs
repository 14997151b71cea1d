//! From excitation to sones and phons.

use crate::excitation::{Pattern, excitation};
use crate::scale::{Place, Scale};
use ripieno_units::quick::pow;

/// Specific loudness per Cam of one ear is this times the growth (ISO 532-2).
const PER_EAR: f64 = 0.0617;
/// Two ears that hear the same, against one: each inhibits the other (ISO 532-2).
const BOTH_EARS: f64 = 1.5;
/// Both together.
pub(crate) const SONES: f64 = PER_EAR * BOTH_EARS;
/// So far below a threshold (40 dB) nothing is added that counts: less than a hundred-thousandth of what the threshold has.
pub(crate) const NOTHING: f64 = 1e-4;
/// Excitation above which loudness grows by another law (ISO 532-2).
const VERY_LOUD: f64 = 1e10;

/// Loudness per Cam, in sones, by place, of a sound heard with both ears.
pub fn specific_loudness<'a>(scale: &'a Scale, pattern: &'a Pattern) -> impl Iterator<Item = f64> + 'a {
    scale.places.iter().zip(&pattern.excitation).map(|(place, &e)| SONES * grown(place, e))
}

/// Loudness in sones of a sound heard with both ears, by ISO 532-2; 0 for silence.
pub fn loudness(scale: &Scale, pattern: &Pattern) -> f64 {
    specific_loudness(scale, pattern).sum::<f64>() * scale.step
}

pub(crate) fn grown(place: &Place, e: f64) -> f64 {
    if e <= NOTHING * place.threshold {
        return 0.0;
    }
    if e > VERY_LOUD {
        return pow(e / 1.0707, 0.2);
    }
    let full = pow(e * place.growth.gain + place.growth.floor, place.growth.exponent) - place.nothing;
    if e < place.threshold { full * pow(2.0 * e / (e + place.threshold), 1.5) } else { full }
}

/// Loudness level in phons of `sones`: the level of a tone of 1 kHz from the front that is as loud, from 0 to 130.
pub fn phons(scale: &Scale, sones: f64) -> f64 {
    let table = scale.sones_of_tones.get_or_init(|| {
        (0..=130).map(|level| loudness(scale, &excitation(scale, &[(1000.0, f64::from(level))]))).collect()
    });
    let i = table.partition_point(|s| *s <= sones);
    match (i.checked_sub(1).and_then(|i| table.get(i)), table.get(i)) {
        (Some(a), Some(b)) => (i - 1) as f64 + (sones - a) / (b - a),
        (None, _) => 0.0,
        (Some(_), None) => 130.0,
    }
}
