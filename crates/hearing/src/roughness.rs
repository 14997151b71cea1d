//! Roughness of two sounds: the beating of partials that lie close.

use ripieno_units::quick::{exp, pow};

/// How rough two pure tones of equal strength are, by frequency in Hz: 0 (unison, or far apart) to 1 (worst, about a quarter of
/// a critical band apart).
///
/// Plomp and Levelt's curve ("Tonal consonance and critical bandwidth", J. Acoust. Soc. Am. 38, 1965) in the closed form and
/// with the numbers of Sethares ("Local consonance and the relationship between timbre and scale", J. Acoust. Soc. Am. 94, 1993).
pub fn dissonance(a: f64, b: f64) -> f64 {
    let (low, high) = if a < b { (a, b) } else { (b, a) };
    if !low.is_finite() || low <= 0.0 || !high.is_finite() {
        return 0.0;
    }
    let x = 0.24 / (0.0207 * low + 18.96) * (high - low);
    (exp(-3.51 * x) - exp(-5.75 * x)) / WORST
}

/// The greatest value of `exp(-3.51 x) - exp(-5.75 x)`.
const WORST: f64 = 0.179_805_7;

/// How rough two sounds are together, by the pairs of their components (Hz, dB of any one reference), each pair by the weaker
/// of its amplitudes (Sethares 1993), relative to the amplitudes of both. 1 is two equal pure tones at the worst distance; rich
/// sounds in a low close third reach more. Beating within each sound is not counted.
pub fn roughness(a: &[(f64, f64)], b: &[(f64, f64)]) -> f64 {
    let amplitudes = |components: &[(f64, f64)]| -> Vec<(f64, f64)> {
        let finite = components.iter().filter(|c| c.0.is_finite() && c.1.is_finite());
        finite.map(|&(hertz, level)| (hertz, pow(10.0, level.clamp(-200.0, 300.0) / 20.0))).collect()
    };
    let (a, b) = (amplitudes(a), amplitudes(b));
    let power = |side: &[(f64, f64)]| side.iter().map(|c| c.1 * c.1).sum::<f64>();
    let whole = ripieno_units::math::sqrt(power(&a) * power(&b));
    if whole <= 0.0 {
        return 0.0;
    }
    let mut sum = 0.0;
    for &(f, x) in &a {
        for &(g, y) in &b {
            sum += x.min(y) * dissonance(f, g);
        }
    }
    sum / whole
}
