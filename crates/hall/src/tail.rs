//! The tail: noise that dies away, each frequency in its own time.
//!
//! In a box the images of a source lie evenly, 4 pi c^3 t^2 / V of them a second at the time t, each c t away: what they bring
//! is 4 pi c / V a second, times e^(-13.8 t / T). That is Barron's theory: its factor 31200 T / V is this from t on, with
//! e^(-0.04 r / T) for t = r / c. So one tail, fixed in time from the moment at which the source sounds, serves all seats.

use crate::acoustics::DECAY;
use crate::bands::{self, Octaves};
use crate::windows::Windows;
use ripieno_signal::{SPEED_OF_SOUND, Stereo};
use ripieno_units::{Chance, math};
use std::f64::consts::PI;

/// Below this nothing is heard of a hall.
const LOWEST: f64 = 18.0;

/// Two channels of white noise, as long as the tail.
pub(crate) struct Seeds {
    white: [Vec<f32>; 2],
}

impl Seeds {
    /// By the id of the hall.
    pub fn new(id: &str, frames: usize) -> Self {
        let white = ["one", "two"].map(|which| {
            let mut chance = Chance::named(0, &["hall", id, which]);
            (0..frames).map(|_| chance.normal(1.0) as f32).collect()
        });
        Self { white }
    }
}

/// Energy a second that one microphone gets from the tail at the moment the source sounds, re a source of 1 at one metre.
pub(crate) fn density(volume: f64) -> f64 {
    4.0 * PI * SPEED_OF_SOUND / volume
}

/// Seconds after which the slowest octave has fallen by 90 dB.
pub(crate) fn length(times: &Octaves) -> f64 {
    1.5 * times.iter().fold(0.0_f64, |a, b| a.max(*b))
}

/// The tail from the moment at which the source sounds, without its beginning taken off: of variance 1 there. `times` are the
/// reverberation times of left and right; `coherence` is that of left and right by frequency.
pub(crate) fn make(
    seeds: &Seeds,
    times: &[Octaves; 2],
    coherence: impl Fn(f64) -> f64,
    sample_rate: f64,
) -> Stereo {
    let windows = Windows::new(sample_rate);
    let hertz = windows.hertz();
    let rates = times
        .map(|t| hertz.iter().map(|f| (0.5 * DECAY / bands::between(&t, *f)) as f32).collect::<Vec<f32>>());
    // Left and right are the sum and the difference of two noises: what they share is their coherence.
    let shares: Vec<(f32, f32)> = hertz
        .iter()
        .map(|f| {
            let c = coherence(*f);
            let audible = if *f < LOWEST { 0.0 } else { 1.0 };
            ((audible * math::sqrt((1.0 + c) / 2.0)) as f32, (audible * math::sqrt((1.0 - c) / 2.0)) as f32)
        })
        .collect();
    let mut gains = [vec![1.0_f32; hertz.len()], vec![1.0_f32; hertz.len()]];
    let mut before = 0.0;
    let mut steps: Option<(f64, [Vec<f32>; 2])> = None;
    let [left, right] = windows.change([&seeds.white[0], &seeds.white[1]], |at, spectra| {
        let passed = at - before;
        before = at;
        if passed > 0.0 {
            // All steps are alike: the exponentials are worked out once.
            let (_, step) = steps.get_or_insert_with(|| {
                let step =
                    |r: &Vec<f32>| r.iter().map(|r| math::exp(-f64::from(*r) * passed) as f32).collect();
                (passed, [step(&rates[0]), step(&rates[1])])
            });
            for (gains, step) in gains.iter_mut().zip(step) {
                for (g, s) in gains.iter_mut().zip(step.iter()) {
                    *g = if *g < 1e-12 { 0.0 } else { *g * s };
                }
            }
        }
        let [a, b] = spectra;
        for (k, (sum, difference)) in shares.iter().enumerate() {
            let (one, two) = (a[k] * *sum, b[k] * *difference);
            a[k] = (one + two) * gains[0][k];
            b[k] = (one - two) * gains[1][k];
        }
    });
    Stereo { left, right }
}
