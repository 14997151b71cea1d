//! Changes the spectrum of a long signal as time goes on: overlapping windows, each through a filter of its own.

use ripieno_transform::{Complex, Planner32};
use ripieno_units::math;
use std::f64::consts::TAU;

/// Seconds between windows, about.
const HOP: f64 = 0.008;

/// Windows and the transforms that filter them.
pub(crate) struct Windows {
    hop: usize,
    length: usize,
    sample_rate: f64,
}

impl Windows {
    pub fn new(sample_rate: f64) -> Self {
        let hop = ((HOP * sample_rate) as usize).next_power_of_two();
        // Room before and after a window for what its filter rings: 40 ms and more.
        Self { hop, length: 12 * hop, sample_rate }
    }

    /// Frequencies of the bins in hertz.
    pub fn hertz(&self) -> Vec<f64> {
        (0..=self.length / 2).map(|k| k as f64 * self.sample_rate / self.length as f64).collect()
    }

    /// Takes channels of one length window by window; `change` gets the middle of the window in seconds and the spectra.
    pub fn change(
        &self,
        channels: [&[f32]; 2],
        mut change: impl FnMut(f64, &mut [Vec<Complex<f32>>; 2]),
    ) -> [Vec<f32>; 2] {
        let frames = channels[0].len();
        let mut planner = Planner32::new();
        let (forward, inverse) = (planner.forward(self.length), planner.inverse(self.length));
        let mut spectra = [forward.make_output_vec(), forward.make_output_vec()];
        let mut scratch = forward.make_scratch_vec();
        let mut back = inverse.make_scratch_vec();
        let mut buffer = vec![0.0_f32; self.length];
        let mut out = [vec![0.0_f32; frames], vec![0.0_f32; frames]];
        let window: Vec<f32> = (0..2 * self.hop)
            .map(|i| {
                let w = 0.5 - 0.5 * math::cos(TAU * (i as f64 + 0.5) / (2 * self.hop) as f64);
                (w / self.length as f64) as f32
            })
            .collect();
        let lead = (self.length - 2 * self.hop) / 2;
        for number in 0..=frames.div_ceil(self.hop) {
            // From one hop before its middle to one hop after; the first has its middle at zero.
            let middle = number * self.hop;
            for (channel, spectrum) in channels.iter().zip(&mut spectra) {
                buffer.fill(0.0);
                for (i, w) in window.iter().enumerate() {
                    let at = (middle + i).checked_sub(self.hop).and_then(|at| channel.get(at));
                    buffer[lead + i] = at.copied().unwrap_or(0.0) * w;
                }
                if forward.process_with_scratch(&mut buffer, spectrum, &mut scratch).is_err() {
                    spectrum.fill(Complex::new(0.0, 0.0));
                }
            }
            change(middle as f64 / self.sample_rate, &mut spectra);
            for (out, spectrum) in out.iter_mut().zip(&mut spectra) {
                let last = spectrum.len() - 1;
                spectrum[0].im = 0.0;
                spectrum[last].im = 0.0;
                if inverse.process_with_scratch(spectrum, &mut buffer, &mut back).is_err() {
                    continue;
                }
                let start = middle as isize - (self.hop + lead) as isize;
                let skip = start.min(0).unsigned_abs();
                let into = out.get_mut(start.max(0) as usize..).unwrap_or_default();
                for (x, y) in into.iter_mut().zip(&buffer[skip.min(self.length)..]) {
                    *x += y;
                }
            }
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn windows_that_change_nothing_give_the_signal_back() {
        let signal: Vec<f32> = (0..5000).map(|i| math::sin(f64::from(i * i) * 1e-5) as f32).collect();
        let [out, silent] = Windows::new(48_000.0).change([&signal, &vec![0.0; 5000]], |_, _| {});
        assert!(signal.iter().zip(&out).all(|(a, b)| (a - b).abs() < 1e-5));
        assert!(silent.iter().all(|x| *x == 0.0));
    }
}
