//! Measuring: levels, pitch, brightness, decay, true peaks.

use crate::spectrum;
use ripieno_units::{Decibels, math};
use std::f64::consts::PI;

/// Largest sample, without its sign.
pub fn peak(samples: &[f32]) -> f64 {
    samples.iter().fold(0.0_f32, |a, b| a.max(b.abs())).into()
}

/// Root of the mean square; zero for none.
pub fn rms(samples: &[f32]) -> f64 {
    let sum: f64 = samples.iter().map(|x| f64::from(*x) * f64::from(*x)).sum();
    math::sqrt(sum / samples.len().max(1) as f64)
}

/// Frequency in hertz of the strongest partial between `low` and `high` hertz: a parabola through the three highest
/// logarithms around the peak of a Hann-windowed spectrum. Zero if there is none.
pub fn strongest(samples: &[f32], sample_rate: f64, low: f64, high: f64) -> f64 {
    let spectrum = spectrum(samples);
    let step = sample_rate / samples.len().max(1) as f64;
    let (from, to) = ((low / step) as usize, ((high / step) as usize + 1).min(spectrum.len()));
    let Some(top) = (from.max(1)..to).max_by(|a, b| spectrum[*a].total_cmp(&spectrum[*b])) else {
        return 0.0;
    };
    let at = |i: usize| math::ln(spectrum.get(i).copied().unwrap_or(0.0).max(1e-12));
    let (a, b, c) = (at(top - 1), at(top), at(top + 1));
    let curvature = a - 2.0 * b + c;
    let offset = if curvature < 0.0 { 0.5 * (a - c) / curvature } else { 0.0 };
    (top as f64 + offset) * step
}

/// Centre of gravity of the amplitude spectrum in hertz: how bright it is.
pub fn centroid(samples: &[f32], sample_rate: f64) -> f64 {
    let spectrum = spectrum(samples);
    let step = sample_rate / samples.len().max(1) as f64;
    let total: f64 = spectrum.iter().sum();
    let moment: f64 = spectrum.iter().enumerate().map(|(i, a)| a * i as f64 * step).sum();
    if total > 0.0 { moment / total } else { 0.0 }
}

/// Level of the difference between two signals, in dB re the level of the first; -200 where they are equal.
pub fn difference(a: &[f32], b: &[f32]) -> Decibels {
    let longest = a.len().max(b.len());
    let at = |s: &[f32], i: usize| s.get(i).copied().unwrap_or(0.0);
    let apart: Vec<f32> = (0..longest).map(|i| at(a, i) - at(b, i)).collect();
    let (apart, whole) = (rms(&apart), rms(a));
    if whole > 0.0 { Decibels::from_amplitude(apart / whole) } else { Decibels::from_amplitude(apart) }
}

/// Taps of each phase of the interpolator: 12, as in ITU-R BS.1770, annex 2.
const TAPS: usize = 12;

/// For each sample, the largest magnitude of the sample and of the points between it and the next, by 4 times oversampling
/// (2 times from 80 kHz on): what a converter may reach. Windowed sinc of 12 taps a phase; ITU-R BS.1770, annex 2, asks for
/// 4 times at 48 kHz and gives such a filter.
pub fn true_peaks(samples: &[f32], sample_rate: f64) -> Vec<f32> {
    let mut peaks: Vec<f32> = samples.iter().map(|x| x.abs()).collect();
    let between = if sample_rate < 80_000.0 { 3 } else { 1 };
    let half = TAPS / 2;
    // Padded, so that every point has its twelve neighbours.
    let mut padded = vec![0.0_f32; half - 1];
    padded.extend_from_slice(samples);
    padded.extend(std::iter::repeat_n(0.0, half));
    for phase in 1..=between {
        let fraction = f64::from(phase) / f64::from(between + 1);
        let taps: [f32; TAPS] = std::array::from_fn(|k| {
            let t = k as f64 - (half as f64 - 1.0) - fraction;
            let window = 0.5 + 0.5 * math::cos(PI * t / (half as f64 + 0.5));
            (window * math::sin(PI * t) / (PI * t)) as f32
        });
        // Tap by tap over a block, so that neighbouring points are worked out together.
        let mut points = [0.0_f32; 512];
        for (block, peaks) in peaks.chunks_mut(512).enumerate() {
            let points = &mut points[..peaks.len()];
            points.fill(0.0);
            for (k, tap) in taps.iter().enumerate() {
                for (point, x) in points.iter_mut().zip(&padded[512 * block + k..]) {
                    *point += x * tap;
                }
            }
            for (peak, point) in peaks.iter_mut().zip(points) {
                *peak = peak.max(point.abs());
            }
        }
    }
    peaks
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn sine(hertz: f64, amplitude: f64, phase: f64, frames: usize) -> Vec<f32> {
        (0..frames)
            .map(|i| (amplitude * math::sin(TAU * hertz * i as f64 / 48_000.0 + phase)) as f32)
            .collect()
    }

    #[test]
    fn pitch_is_found_to_a_tenth_of_a_cent() {
        let samples = sine(440.7, 0.5, 0.2, 48_000);
        let found = strongest(&samples, 48_000.0, 400.0, 480.0);
        assert!((1200.0 * math::log2(found / 440.7)).abs() < 0.1, "{found}");
    }

    /// EBU Tech 3341, signals 15 to 19: sines between samples, within +0.2 and -0.4 dB.
    #[test]
    fn true_peaks_of_the_published_signals() {
        let cases =
            [(4.0, 0.5, 0.0, -6.0), (4.0, 0.5, 45.0, -6.0), (6.0, 0.5, 60.0, -6.0), (8.0, 0.5, 67.5, -6.0)];
        for (divisor, amplitude, degrees, wanted) in cases.into_iter().chain([(4.0, 1.41, 45.0, 3.0)]) {
            // The ends start abruptly, which peaks by itself: only the middle is the signal.
            let samples = sine(48_000.0 / divisor, amplitude, degrees * PI / 180.0, 4800);
            let peaks = true_peaks(&samples, 48_000.0);
            let found = Decibels::from_amplitude(peak(&peaks[100..4700])).0;
            assert!(found > wanted - 0.4 && found < wanted + 0.2, "fs/{divisor} {degrees}: {found}");
        }
    }
}
