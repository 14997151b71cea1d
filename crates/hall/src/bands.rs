//! Octave bands: figures by band, and taps shaped by band.

use ripieno_transform::{Complex, ComplexToReal, Planner32, RealToComplex};
use ripieno_units::math;
use std::f64::consts::{FRAC_PI_2, PI};
use std::sync::Arc;

/// Centres of the octave bands in hertz (IEC 61260-1, nominal).
pub const OCTAVES: [f64; 8] = [63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0];

/// One figure for each of [`OCTAVES`].
pub type Octaves = [f64; 8];

/// Taps of the windowed sinc that stands for an arrival between samples.
const TAPS: usize = 64;

/// Where a frequency lies among the bands: 0 at 63 Hz and below, 7 at 8 kHz and above.
pub(crate) fn place(hertz: f64) -> f64 {
    math::log2(hertz.max(1.0) / 62.5).clamp(0.0, 7.0)
}

/// A figure by octave at any frequency: straight between the centres over the logarithm of frequency, held outside.
pub(crate) fn between(octaves: &Octaves, hertz: f64) -> f64 {
    let at = place(hertz);
    let i = (at as usize).min(6);
    math::lerp(octaves[i], octaves[i + 1], at - i as f64)
}

/// Shapes sparse taps by octave: magnitudes without phase that sum to one, so that equal gains leave a tap as it was.
#[derive(Clone)]
pub(crate) struct Shaper {
    forward: Arc<dyn RealToComplex<f32>>,
    inverse: Arc<dyn ComplexToReal<f32>>,
    length: usize,
    /// For each bin the lower of the two bands that share it, and the share of the upper.
    shares: Vec<(u8, f32)>,
    /// Bins in which a band has a share: from, to.
    spans: [(usize, usize); 8],
}

impl std::fmt::Debug for Shaper {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        write!(f, "Shaper({})", self.length)
    }
}

impl Shaper {
    /// For responses of up to `frames`.
    pub fn new(frames: usize, sample_rate: f64) -> Self {
        // What rings before the first tap goes round to the end: room for it, where it is cut off.
        let length = (frames + (0.03 * sample_rate) as usize).next_power_of_two().max(256);
        let mut planner = Planner32::new();
        let bins = length / 2 + 1;
        let shares: Vec<(u8, f32)> = (0..bins)
            .map(|k| {
                let at = place(k as f64 * sample_rate / length as f64);
                let i = (at as usize).min(6);
                let s = math::sin(FRAC_PI_2 * (at - i as f64));
                (i as u8, (s * s) as f32)
            })
            .collect();
        let spans = std::array::from_fn(|b| {
            let has = |(i, s): &(u8, f32)| {
                (usize::from(*i) == b && *s < 1.0) || (usize::from(*i) + 1 == b && *s > 0.0)
            };
            let from = shares.iter().position(has).unwrap_or(0);
            let to = shares.iter().rposition(has).map_or(0, |k| k + 1);
            (from, to.max(from))
        });
        Self { forward: planner.forward(length), inverse: planner.inverse(length), length, shares, spans }
    }

    /// The sum of the bands, each through its octave, `frames` long.
    pub fn shape(&self, taps: &Taps, frames: usize) -> Vec<f32> {
        let mut sum = vec![Complex::new(0.0_f32, 0.0); self.length / 2 + 1];
        let mut spectrum = self.forward.make_output_vec();
        let mut scratch = self.forward.make_scratch_vec();
        let mut input = vec![0.0_f32; self.length];
        for (index, (band, (from, to))) in taps.bands.iter().zip(self.spans).enumerate() {
            if to == from || band.iter().all(|x| *x == 0.0) {
                continue;
            }
            let used = band.len().min(self.length);
            input[..used].copy_from_slice(&band[..used]);
            input[used..].fill(0.0);
            if self.forward.process_with_scratch(&mut input, &mut spectrum, &mut scratch).is_err() {
                continue;
            }
            for k in from..to {
                let (lower, share) = self.shares[k];
                let weight = if usize::from(lower) == index { 1.0 - share } else { share };
                sum[k] += spectrum[k] * weight;
            }
        }
        // A real signal has real ends of its spectrum.
        let last = sum.len() - 1;
        sum[0].im = 0.0;
        sum[last].im = 0.0;
        let mut output = vec![0.0; self.length];
        if self.inverse.process(&mut sum, &mut output).is_err() {
            output.fill(0.0);
        }
        let scale = 1.0 / self.length as f32;
        output.truncate(frames);
        output.resize(frames, 0.0);
        output.iter_mut().for_each(|x| *x *= scale);
        output
    }
}

/// Arrivals by octave band, for one channel.
pub(crate) struct Taps {
    bands: [Vec<f32>; 8],
}

impl Taps {
    /// Room for arrivals up to `frames`.
    pub fn new(frames: usize) -> Self {
        Self { bands: std::array::from_fn(|_| vec![0.0; frames]) }
    }

    /// Adds an arrival.
    pub fn add(&mut self, arrival: &Arrival, amplitudes: &[f32; 8], gain: f32) {
        if gain == 0.0 {
            return;
        }
        for (band, amplitude) in self.bands.iter_mut().zip(amplitudes) {
            let a = amplitude * gain;
            let into = band.get_mut(arrival.first..).unwrap_or_default();
            for (x, tap) in into.iter_mut().zip(&arrival.taps[arrival.skip..]) {
                *x += a * tap;
            }
        }
    }
}

/// A moment between samples: a windowed sinc.
pub(crate) struct Arrival {
    first: usize,
    skip: usize,
    taps: [f32; TAPS],
}

impl Arrival {
    /// At `frames` from time zero, 0 or later. What would ring before time zero is left out.
    pub fn at(frames: f64) -> Self {
        let frames = frames.max(0.0);
        let whole = math::floor(frames);
        let fraction = frames - whole;
        let before = TAPS / 2 - 1;
        let mut taps = [0.0; TAPS];
        if fraction < 1e-6 {
            taps[before] = 1.0;
        } else {
            // sin(pi (n - fraction)) alternates; the window's cosine is turned on step by step.
            let sine = math::sin(PI * fraction) / PI;
            let step = PI / (TAPS as f64 / 2.0 + 0.5);
            let start = -(before as f64) - fraction;
            let (mut c, mut s) = (math::cos(step * start), math::sin(step * start));
            let (cd, sd) = (math::cos(step), math::sin(step));
            for (n, tap) in taps.iter_mut().enumerate() {
                let x = start + n as f64;
                let sign = if (n + before).is_multiple_of(2) { -1.0 } else { 1.0 };
                *tap = (sign * sine / x * (0.5 + 0.5 * c)) as f32;
                (c, s) = (c * cd - s * sd, s * cd + c * sd);
            }
        }
        let first = whole as usize;
        Self { first: first.saturating_sub(before), skip: before.saturating_sub(first), taps }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    #[test]
    fn equal_bands_are_a_plain_delay() {
        let (rate, frames) = (48_000.0, 4000);
        let mut taps = Taps::new(frames);
        taps.add(&Arrival::at(1000.3), &[0.5; 8], 1.0);
        let response = Shaper::new(frames, rate).shape(&taps, frames);
        // Its gain and delay, by the Fourier sum at single frequencies.
        for hertz in [40.0, 100.0, 177.0, 1000.0, 6000.0, 15_000.0] {
            let w = TAU * hertz / rate;
            let (mut re, mut im) = (0.0, 0.0);
            for (i, x) in response.iter().enumerate() {
                re += f64::from(*x) * math::cos(w * (i as f64 - 1000.3));
                im -= f64::from(*x) * math::sin(w * (i as f64 - 1000.3));
            }
            assert!((re - 0.5).abs() < 0.002 && im.abs() < 0.002, "{hertz}: {re} {im}");
        }
    }

    #[test]
    fn a_band_alone_is_an_octave() {
        let (rate, frames) = (48_000.0, 8000);
        let mut taps = Taps::new(frames);
        let mut one = [0.0; 8];
        one[4] = 1.0;
        taps.add(&Arrival::at(4000.0), &one, 1.0);
        let response = Shaper::new(frames, rate).shape(&taps, frames);
        let gain = |hertz: f64| {
            let w = TAU * hertz / rate;
            let sum = |f: fn(f64) -> f64| -> f64 {
                response.iter().enumerate().map(|(i, x)| f64::from(*x) * f(w * i as f64)).sum()
            };
            let (re, im) = (sum(math::cos), sum(math::sin));
            math::sqrt(re * re + im * im)
        };
        for (hertz, wanted) in [(1000.0, 1.0), (707.1, 0.5), (1414.2, 0.5), (500.0, 0.0), (2000.0, 0.0)] {
            assert!((gain(hertz) - wanted).abs() < 0.02, "{hertz}: {}", gain(hertz));
        }
    }
}
