//! Many spectra of one length, and correlation over many lags.

use ripieno_transform::{Complex, ComplexToReal, Planner32, RealToComplex};
use ripieno_units::math;
use std::f64::consts::TAU;
use std::sync::Arc;

/// Short spectra of one window length.
pub struct Frames {
    plan: Arc<dyn RealToComplex<f32>>,
    window: Vec<f32>,
    time: Vec<f32>,
    bins: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
}

impl Frames {
    /// With a Hann window of `length` samples, at least 4.
    pub fn new(length: usize) -> Self {
        let length = length.max(4);
        let plan = Planner32::new().forward(length);
        let shape = |i: usize| 0.5 - 0.5 * math::cos(TAU * i as f64 / length as f64);
        Self {
            window: (0..length).map(|i| (shape(i) * 4.0 / length as f64) as f32).collect(),
            time: plan.make_input_vec(),
            bins: plan.make_output_vec(),
            scratch: plan.make_scratch_vec(),
            plan,
        }
    }

    /// Powers of the spectrum around the sample `centre`, which may lie outside: there is silence. A sine of amplitude 1 between
    /// two bins reads 0.7 to 1 at the nearest.
    pub fn powers(&mut self, samples: &[f32], centre: i64, into: &mut Vec<f32>) {
        let from = centre - (self.window.len() / 2) as i64;
        let skip = (-from).clamp(0, self.window.len() as i64) as usize;
        let source = &samples[(from.max(0) as usize).min(samples.len())..];
        self.time.fill(0.0);
        for ((y, x), w) in self.time[skip..].iter_mut().zip(source).zip(&self.window[skip..]) {
            *y = x * w;
        }
        let done = self.plan.process_with_scratch(&mut self.time, &mut self.bins, &mut self.scratch);
        debug_assert!(done.is_ok());
        into.clear();
        into.extend(self.bins.iter().map(Complex::norm_sqr));
    }
}

/// Sum of the cross-correlations of several pairs.
pub struct Correlation {
    forward: Arc<dyn RealToComplex<f32>>,
    inverse: Arc<dyn ComplexToReal<f32>>,
    sum: Vec<Complex<f32>>,
    lags: usize,
}

impl Correlation {
    /// For pairs of at most `length` values and lags of `-lags..=lags`.
    pub fn new(length: usize, lags: usize) -> Self {
        let size = (length + lags).max(2).next_power_of_two();
        let mut planner = Planner32::new();
        let forward = planner.forward(size);
        let sum = forward.make_output_vec();
        Self { forward, inverse: planner.inverse(size), sum, lags }
    }

    /// Adds a pair; what is beyond the length is left out.
    pub fn add(&mut self, late: &[f32], early: &[f32]) {
        let transform = |values: &[f32]| {
            let mut time = self.forward.make_input_vec();
            let most = time.len() - self.lags.min(time.len());
            for (y, x) in time.iter_mut().take(most).zip(values) {
                *y = *x;
            }
            let mut bins = self.forward.make_output_vec();
            let done = self.forward.process(&mut time, &mut bins);
            debug_assert!(done.is_ok());
            bins
        };
        let (a, b) = (transform(late), transform(early));
        for ((sum, a), b) in self.sum.iter_mut().zip(a).zip(b) {
            *sum += a * b.conj();
        }
    }

    /// The sum over time of `late` at `t + lag` times `early` at `t`, for each lag from the most negative on.
    pub fn lags(mut self) -> Vec<f32> {
        let mut time = self.inverse.make_output_vec();
        let last = self.sum.len() - 1;
        self.sum[0].im = 0.0;
        self.sum[last].im = 0.0;
        let done = self.inverse.process(&mut self.sum, &mut time);
        debug_assert!(done.is_ok());
        let (size, lags) = (time.len(), self.lags.min(time.len() / 2));
        (0..=2 * lags).map(|i| time[(size + i - lags) % size] / size as f32).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Noise;

    #[test]
    fn a_sine_stands_at_its_bin_and_nothing_outside_the_sound() {
        let sine: Vec<f32> = (0..4096).map(|i| math::sin(TAU * f64::from(i) / 32.0) as f32).collect();
        let (mut frames, mut powers) = (Frames::new(1024), Vec::new());
        frames.powers(&sine, 2000, &mut powers);
        assert!((powers[32] - 1.0).abs() < 1e-3, "{}", powers[32]);
        for centre in [-600, 5000] {
            frames.powers(&sine, centre, &mut powers);
            assert!(powers.iter().all(|p| *p == 0.0));
        }
    }

    #[test]
    fn lags_are_those_of_the_sum() {
        let mut noise = Noise::seeded(4);
        let mut row = |n: usize| (0..n).map(|_| noise.sample()).collect::<Vec<f32>>();
        let pairs = [(row(50), row(40)), (row(45), row(50))];
        let mut correlation = Correlation::new(50, 12);
        for (late, early) in &pairs {
            correlation.add(late, early);
        }
        for (i, found) in correlation.lags().iter().enumerate() {
            let lag = i as i64 - 12;
            let mut wanted = 0.0;
            for (late, early) in &pairs {
                for (t, x) in early.iter().enumerate() {
                    let at = t as i64 + lag;
                    wanted +=
                        usize::try_from(at).ok().and_then(|at| late.get(at)).copied().unwrap_or(0.0) * x;
                }
            }
            assert!((found - wanted).abs() < 1e-4, "{lag}: {found} {wanted}");
        }
    }
}
