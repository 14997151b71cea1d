//! Filters, made from hertz and seconds.

use ripieno_units::math;
use std::f64::consts::{PI, TAU};

/// Second-order section, transposed direct form II. Designs after R. Bristow-Johnson, Cookbook formulae for audio equalizer
/// biquad filter coefficients (W3C note 2021, from memory). Frequencies are held below 0.49 of the sample rate.
#[derive(Clone, Copy, Debug)]
pub struct Biquad {
    b: [f32; 3],
    a: [f32; 2],
    state: [f32; 2],
}

impl Biquad {
    fn made(b: [f64; 3], a: [f64; 3]) -> Self {
        let n = |x: f64| (x / a[0]) as f32;
        Self { b: b.map(n), a: [n(a[1]), n(a[2])], state: [0.0; 2] }
    }

    fn angle(hertz: f64, q: f64, sample_rate: f64) -> (f64, f64) {
        let w = TAU * hertz.clamp(1.0, 0.49 * sample_rate) / sample_rate;
        (math::cos(w), math::sin(w) / (2.0 * q.max(0.05)))
    }

    /// Low pass; `q` 0.7071 is maximally flat.
    pub fn low_pass(hertz: f64, q: f64, sample_rate: f64) -> Self {
        let (c, alpha) = Self::angle(hertz, q, sample_rate);
        Self::made([(1.0 - c) / 2.0, 1.0 - c, (1.0 - c) / 2.0], [1.0 + alpha, -2.0 * c, 1.0 - alpha])
    }

    /// High pass; `q` 0.7071 is maximally flat.
    pub fn high_pass(hertz: f64, q: f64, sample_rate: f64) -> Self {
        let (c, alpha) = Self::angle(hertz, q, sample_rate);
        Self::made([(1.0 + c) / 2.0, -1.0 - c, (1.0 + c) / 2.0], [1.0 + alpha, -2.0 * c, 1.0 - alpha])
    }

    /// Band pass with gain 1 at its centre.
    pub fn band_pass(hertz: f64, q: f64, sample_rate: f64) -> Self {
        let (c, alpha) = Self::angle(hertz, q, sample_rate);
        Self::made([alpha, 0.0, -alpha], [1.0 + alpha, -2.0 * c, 1.0 - alpha])
    }

    /// The next sample.
    #[inline]
    pub fn sample(&mut self, x: f32) -> f32 {
        let y = self.b[0] * x + self.state[0];
        self.state[0] = self.b[1] * x - self.a[0] * y + self.state[1];
        self.state[1] = self.b[2] * x - self.a[1] * y;
        y
    }

    /// Gain as amplitude at a frequency.
    pub fn gain(&self, hertz: f64, sample_rate: f64) -> f64 {
        let w = TAU * hertz / sample_rate;
        let (cos, sin) = (math::cos(w), math::sin(w));
        let at = |c: [f64; 3]| {
            let re = c[0] + c[1] * cos + c[2] * (2.0 * cos * cos - 1.0);
            let im = c[1] * sin + c[2] * 2.0 * sin * cos;
            math::sqrt(re * re + im * im)
        };
        at(self.b.map(f64::from)) / at([1.0, f64::from(self.a[0]), f64::from(self.a[1])])
    }
}

/// First-order low pass, also used to smooth a control: y += k (x - y).
#[derive(Clone, Copy, Debug)]
pub struct OnePole {
    k: f32,
    /// What it holds.
    pub value: f32,
}

impl OnePole {
    /// By time constant: it has moved 63 % of the way after `seconds`. `rate` is how often it is run.
    pub fn smoothing(seconds: f64, rate: f64) -> Self {
        let k = if seconds > 0.0 { 1.0 - math::exp(-1.0 / (seconds * rate)) } else { 1.0 };
        Self { k: k as f32, value: 0.0 }
    }

    /// By corner frequency, -3 dB well below the sample rate.
    pub fn low_pass(hertz: f64, sample_rate: f64) -> Self {
        Self { k: (1.0 - math::exp(-2.0 * PI * hertz / sample_rate)) as f32, value: 0.0 }
    }

    /// The next value.
    #[inline]
    pub fn sample(&mut self, x: f32) -> f32 {
        self.value += self.k * (x - self.value);
        self.value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn corner_frequencies_are_three_decibels_down_at_every_rate() {
        for rate in [44_100.0, 48_000.0, 96_000.0] {
            let low = Biquad::low_pass(1000.0, std::f64::consts::FRAC_1_SQRT_2, rate);
            let high = Biquad::high_pass(1000.0, std::f64::consts::FRAC_1_SQRT_2, rate);
            assert!((low.gain(1000.0, rate) - std::f64::consts::FRAC_1_SQRT_2).abs() < 1e-3);
            assert!((high.gain(1000.0, rate) - std::f64::consts::FRAC_1_SQRT_2).abs() < 1e-3);
            assert!((Biquad::band_pass(2500.0, 3.0, rate).gain(2500.0, rate) - 1.0).abs() < 1e-4);
        }
    }

    /// Worked example: a time constant of 5 ms at 48 kHz is e^(-1/240) = 0.99584.
    #[test]
    fn smoothing_is_in_seconds() {
        let pole = OnePole::smoothing(0.005, 48_000.0);
        assert!((1.0 - f64::from(pole.k) - 0.99584).abs() < 1e-5);
    }
}
