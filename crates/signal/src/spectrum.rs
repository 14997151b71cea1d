//! Spectra by the fast Fourier transform.

use ripieno_transform::{Complex, Planner64};
use ripieno_units::math;
use std::f64::consts::TAU;

/// Amplitudes of `samples` under a Hann window, one for each frequency `i * sample_rate / samples.len()`: a sine of
/// amplitude 1 between two bins reads 0.85 to 1. Empty for fewer than 4 samples.
pub fn spectrum(samples: &[f32]) -> Vec<f64> {
    let n = samples.len();
    if n < 4 {
        return Vec::new();
    }
    let mut input: Vec<f64> = samples
        .iter()
        .enumerate()
        .map(|(i, x)| f64::from(*x) * (0.5 - 0.5 * math::cos(TAU * i as f64 / n as f64)))
        .collect();
    let plan = Planner64::new().forward(n);
    let mut output = plan.make_output_vec();
    if plan.process(&mut input, &mut output).is_err() {
        return Vec::new();
    }
    output.iter().map(|c| 4.0 / n as f64 * math::sqrt(c.norm_sqr())).collect()
}

/// One period of `length` samples (a power of two) as the sum of partials 1, 2, … of these amplitudes and phases (radians,
/// sine). Partials beyond `length / 2 - 1` are left out.
pub fn periodic(length: usize, partials: &[(f64, f64)]) -> Vec<f32> {
    let plan = Planner64::new().inverse(length);
    let mut bins = plan.make_input_vec();
    let count = bins.len().saturating_sub(2);
    for (bin, (amplitude, phase)) in bins.iter_mut().skip(1).zip(partials.iter().take(count)) {
        // a sin(wt + p) = Im(a e^i(wt+p)): the bin of a cosine, turned back by a quarter.
        *bin = Complex::new(math::sin(*phase), -math::cos(*phase)) * (0.5 * amplitude);
    }
    let mut output = plan.make_output_vec();
    if plan.process(&mut bins, &mut output).is_err() {
        return vec![0.0; length];
    }
    output.iter().map(|x| *x as f32).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_period_is_the_sine_it_should_be() {
        let period = periodic(64, &[(0.0, 0.0), (0.5, 0.3)]);
        for (i, x) in period.iter().enumerate() {
            let wanted = 0.5 * math::sin(TAU * 2.0 * i as f64 / 64.0 + 0.3);
            assert!((f64::from(*x) - wanted).abs() < 1e-6);
        }
    }

    #[test]
    fn a_sine_of_amplitude_one_reads_one() {
        let sine: Vec<f32> = (0..4800).map(|i| math::sin(TAU * 0.02 * f64::from(i)) as f32).collect();
        assert!((spectrum(&sine)[96] - 1.0).abs() < 1e-4);
    }
}
