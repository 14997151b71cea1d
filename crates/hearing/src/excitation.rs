//! From components to excitation: filters that are broader to the high side the louder the sound.

use crate::ear::transfer;
use crate::scale::{BANDS, LOWEST, Place, Scale, cam, erb};
use ripieno_units::math::{exp, log10};
use ripieno_units::quick::{decibels, ratio};

/// Excitation of one component that is left out, 60 dB below that of a tone of 1 kHz at 0 dB SPL: a thousand of them are not heard.
const UNHEARD: f64 = 1e-6;

/// A component with less than this of the excitation that others have made at its own place is not spread.
const DROWNED: f64 = 1e-4;

/// Excitation by place, as power re that of a tone of 1 kHz at 0 dB SPL from the front; beside it the power itself by bands of
/// 1 Cam, not spread.
#[derive(Clone, Debug, PartialEq)]
pub struct Pattern {
    pub(crate) excitation: Vec<f64>,
    pub(crate) bands: [f64; BANDS],
}

impl Pattern {
    /// Silence.
    pub fn zero(scale: &Scale) -> Self {
        Pattern { excitation: vec![0.0; scale.len()], bands: [0.0; BANDS] }
    }

    /// Adds another sound (powers add). Both must be of scales with the same step; places that only one has are left.
    pub fn add(&mut self, other: &Pattern) {
        self.add_scaled(other, 1.0);
    }

    /// Adds another sound times `power` (a ratio of powers: 4.0 for four players that play the same).
    pub fn add_scaled(&mut self, other: &Pattern, power: f64) {
        for (a, b) in self.excitation.iter_mut().zip(&other.excitation) {
            *a += b * power;
        }
        for (a, b) in self.bands.iter_mut().zip(&other.bands) {
            *a += b * power;
        }
    }

    /// Takes another sound away that has been added before; never below nothing.
    pub fn subtract(&mut self, other: &Pattern) {
        for (a, b) in self.excitation.iter_mut().zip(&other.excitation) {
            *a = (*a - b).max(0.0);
        }
        for (a, b) in self.bands.iter_mut().zip(&other.bands) {
            *a = (*a - b).max(0.0);
        }
    }

    /// The same pattern `decibels` louder. Quick; the spread is not made broader, so keep to a few dB.
    pub fn scaled_db(&self, decibels: f64) -> Pattern {
        let mut scaled = Pattern { excitation: vec![0.0; self.excitation.len()], bands: [0.0; BANDS] };
        scaled.add_scaled(self, ratio(decibels));
        scaled
    }

    /// Excitation by place, a power.
    pub fn excitation(&self) -> &[f64] {
        &self.excitation
    }

    /// Power at the inner ear by bands of 1 Cam from 1.8 Cam up (what lies beyond the ends counts to the outer bands).
    pub fn bands(&self) -> &[f64] {
        &self.bands
    }

    /// Whether nothing sounds.
    pub fn is_silent(&self) -> bool {
        self.excitation.iter().all(|e| *e <= 0.0)
    }
}

/// A band of noise from `low` to `high` hertz with `density` dB SPL in each hertz, as components: every 10 Hz, or every 1 Hz in
/// bands of 30 Hz and less, as ISO 532-2 asks for.
pub fn noise(low: f64, high: f64, density: f64) -> Vec<(f64, f64)> {
    let width = high - low;
    if width.is_nan() || width <= 0.0 {
        return Vec::new();
    }
    let wanted = if width <= 30.0 { 1.0 } else { 10.0 };
    // A million components are enough for everything that is heard.
    let count = (width / wanted).round().clamp(1.0, 1e6) as usize;
    let step = width / count as f64;
    (0..count).map(|i| (low + step * (i as f64 + 0.5), density + 10.0 * log10(step))).collect()
}

/// What is let through, as a ratio of powers, of a tone at `tone` hertz by the ear's filter at `centre` hertz, where the level in
/// one equivalent rectangular bandwidth round the tone is `level` dB (Glasberg and Moore 1990; ISO 532-2).
pub fn weight(centre: f64, tone: f64, level: f64) -> f64 {
    let sharpness = 4.0 * centre / erb(centre);
    let x = if tone < centre { lower(sharpness, level) } else { sharpness } * (tone - centre).abs() / centre;
    (1.0 + x) * exp(-x)
}

/// Sharpness of the lower side of a filter: blunter for loud sound, which is why low sounds mask high ones.
fn lower(sharpness: f64, level: f64) -> f64 {
    /// Sharpness at 1 kHz.
    const AT_1_KHZ: f64 = 4000.0 / 132.639;
    // A filter that rises away from its centre makes no sense: above 137 dB it is flat.
    (sharpness - 0.35 * sharpness / AT_1_KHZ * (level - 51.0)).max(0.0)
}

/// The excitation of components (frequency in Hz, level in dB SPL) that sound together.
///
/// By ISO 532-2 if these are all that sounds, but for what lies 40 dB below the excitation of others at its own place. Components that are not finite, or not between 10 Hz and 24 kHz, are not
/// heard and left out. The time grows with places times components, plus components squared where they stand close.
pub fn excitation(scale: &Scale, components: &[(f64, f64)]) -> Pattern {
    let mut pattern = Pattern::zero(scale);
    let mut parts: Vec<(f64, f64)> = components
        .iter()
        .filter(|(hertz, level)| (10.0..=24_000.0).contains(hertz) && level.is_finite())
        .map(|&(hertz, level)| (hertz, ratio(level.min(200.0) + transfer(scale.field, hertz))))
        .collect();
    parts.sort_by(|a, b| a.0.total_cmp(&b.0));
    // The strongest first: what lies far below the others' excitation at its own place adds nothing to it.
    let mut order: Vec<usize> = (0..parts.len()).collect();
    order.sort_by(|a, b| parts[*b].1.total_cmp(&parts[*a].1));
    for i in order {
        let (hertz, power) = parts[i];
        let band = (cam(hertz) - LOWEST).clamp(0.0, BANDS as f64 - 1.0) as usize;
        pattern.bands[band] += power;
        let above = scale.places.partition_point(|place| place.hertz <= hertz);
        let beside = &pattern.excitation[above.saturating_sub(1)..(above + 1).min(scale.len())];
        if beside.iter().all(|e| power < DROWNED * e) {
            continue;
        }
        let level = decibels(near(scale, &parts, i).max(1e-30));
        spread(scale, &mut pattern.excitation, above, (hertz, power), level);
    }
    pattern
}

/// Power within one equivalent rectangular bandwidth round component `i`, by a filter that does not depend on level.
fn near(scale: &Scale, parts: &[(f64, f64)], i: usize) -> f64 {
    let centre = parts[i].0;
    let slope = 4.0 / erb(centre);
    // Farther away the filter lets through less than -70 dB.
    let width = 19.0 / slope;
    let weighed = |(hertz, power): &(f64, f64)| power * scale.shape(slope * (hertz - centre).abs());
    let above = parts[i..].iter().take_while(|p| p.0 <= centre + width).map(weighed).sum::<f64>();
    above + parts[..i].iter().rev().take_while(|p| p.0 >= centre - width).map(weighed).sum::<f64>()
}

/// Adds the excitation of one component (hertz, power), whose first place above is `split`.
fn spread(scale: &Scale, into: &mut [f64], split: usize, (hertz, power): (f64, f64), level: f64) {
    let (below, above) = scale.places.split_at(split);
    let (into_below, into_above) = into.split_at_mut(split);
    // Places below the tone hear it with the upper sides of their filters, which are steep: the first silent one ends it.
    for (place, e) in below.iter().zip(into_below).rev() {
        let through = scale.shape(place.sharpness * (hertz - place.hertz) / place.hertz);
        if through <= 0.0 {
            break;
        }
        *e += power * through;
    }
    let blunt = lower(1.0, level);
    for (Place { hertz: centre, sharpness, .. }, e) in above.iter().zip(into_above) {
        let through = power * scale.shape(sharpness * blunt * (centre - hertz) / centre);
        // From here on it falls; what lies so far below all that is heard ends it.
        if through < UNHEARD {
            break;
        }
        *e += through;
    }
}
