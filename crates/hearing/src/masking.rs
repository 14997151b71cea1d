//! A sound beside others: how loud it still is, and whether it is heard.

use crate::excitation::Pattern;
use crate::loudness::{NOTHING, SONES};
use crate::scale::{Place, Scale};
use ripieno_units::quick::{decibels, pow};

/// Share of a sound above the masked threshold from which it counts as heard.
const HEARD: f64 = 0.5;
/// Share below which it counts as covered.
const COVERED: f64 = 0.25;
/// A band stands out where the signal has this many times the power of the masker (3 dB) ...
const STANDS_OUT: f64 = 2.0;
/// ... and so many bands that stand out are enough to be heard, whatever the share; one that stands out further counts for as many
/// as its ratio of powers is larger. A tone of few partials is heard by one band of 7.8 dB as a rich one by three of 3 dB (own
/// choice: an ideal observer of independent bands would ask 5.4 dB, but a partial of its own pitch may be taken for another's).
const ENOUGH_BANDS: f64 = 3.0;

/// Loudness in sones of `signal` while `masker` sounds too, with both ears (Moore, Glasberg and Baer 1997).
///
/// What is above the masked threshold sounds the less loud the closer to it; far above, masking no longer matters.
pub fn partial_loudness(scale: &Scale, signal: &Pattern, masker: &Pattern) -> f64 {
    let each = scale.places.iter().zip(signal.excitation.iter().zip(&masker.excitation));
    each.map(|(place, (&s, &m))| partial(place, s, m)).sum::<f64>() * SONES * scale.step
}

fn partial(place: &Place, signal: f64, masker: f64) -> f64 {
    let threshold = place.efficiency * masker + place.threshold;
    if signal <= NOTHING * threshold {
        return 0.0;
    }
    let grow = |e: f64| pow(e * place.growth.gain + place.growth.floor, place.growth.exponent);
    let both = grow(signal + masker);
    let at_threshold = grow(masker * (1.0 + place.efficiency) + place.threshold);
    if signal >= threshold {
        let taken = (at_threshold - place.just_heard) * pow(threshold / signal, 0.3);
        return (both - place.nothing - taken).max(0.0);
    }
    // Below: steeper, and the two laws meet at the threshold.
    let alone = grow(masker);
    let slope = (place.just_heard - place.nothing) / (at_threshold - alone).max(1e-300);
    let x = 2.0 * signal / (signal + threshold);
    (x * ripieno_units::math::sqrt(x) * slope * (both - alone)).max(0.0)
}

/// How a sound fares beside others.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Heard {
    /// Share of what is heard of it alone that lies above the masked threshold, 0 to 1, bands weighed by their loudness.
    pub share: f64,
    /// Bands of 1 Cam in which it stands 3 dB or more above the others (and above the threshold of hearing).
    pub best_bands: usize,
    /// Sum over these bands of the ratio of its power to that of the others.
    pub clearness: f64,
    /// Most by which a band of it exceeds the masked threshold, in dB; below 0 nothing is heard of it. -200 for silence.
    pub margin: f64,
}

/// What ears would say, as an estimate: attention, place and timbre may change it by some 10 dB.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    /// Hardly or not to be heard.
    Covered,
    /// Partly heard.
    AtRisk,
    /// Heard.
    Heard,
}

impl Heard {
    /// The verdict.
    pub fn verdict(&self) -> Verdict {
        if self.share >= HEARD || self.clearness >= STANDS_OUT * ENOUGH_BANDS {
            Verdict::Heard
        } else if self.share >= COVERED {
            Verdict::AtRisk
        } else {
            Verdict::Covered
        }
    }
}

/// Whether `signal` is heard while `masker` sounds.
///
/// In each band of 1 Cam the signal's own power (not what it spreads to other bands) is held against the masker's excitation.
pub fn heard(scale: &Scale, signal: &Pattern, masker: &Pattern) -> Heard {
    let mut result = Heard { margin: -200.0, ..Heard::default() };
    let (mut all, mut above, mut margin) = (0.0, 0.0, 0.0_f64);
    for (i, (place, &power)) in scale.bands.iter().zip(&signal.bands).enumerate() {
        if power < place.threshold {
            continue;
        }
        let masker = at_band(scale, masker, i);
        let weight = crate::loudness::grown(place, power);
        let threshold = place.efficiency * masker + place.threshold;
        all += weight;
        if power >= threshold {
            above += weight;
        }
        if power >= STANDS_OUT * masker {
            result.best_bands += 1;
            // Of silence all bands stand out as far as one can tell.
            result.clearness += (power / masker.max(f64::MIN_POSITIVE)).min(1e6);
        }
        margin = margin.max(power / threshold);
    }
    if all > 0.0 {
        result.share = above / all;
        result.margin = decibels(margin.max(1e-20));
    }
    result
}

/// Mean excitation of the places in band `i`.
fn at_band(scale: &Scale, pattern: &Pattern, i: usize) -> f64 {
    // Steps of the scale begin 0.05 Cam below the first band.
    let edge = |band: usize| ((band as f64 + 0.05) / scale.step + 0.5) as usize;
    let (first, last) = (edge(i), edge(i + 1));
    let end = last.min(pattern.excitation.len());
    let inside = pattern.excitation.get(first.min(end)..end).unwrap_or_default();
    if inside.is_empty() { 0.0 } else { inside.iter().sum::<f64>() / inside.len() as f64 }
}
