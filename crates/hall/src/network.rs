//! The tail: a network of delay lines that feed each other without loss but for what the air and the walls take.

use ripieno_signal::Stereo;
use ripieno_units::math;
use std::f64::consts::TAU;

/// Delay lines.
const LINES: usize = 16;

/// Frames worked at a time. Shorter than any delay at 8 kHz and above, so that a block reads only what is written.
const BLOCK: usize = 64;

/// Shortest delay in seconds: when the tail begins.
pub const FIRST: f64 = 0.029;

/// Longest delay in seconds. All together are 0.9 s, more than 0.15 T for halls up to 6 s (Jot and Chaigne 1991, from memory).
const LAST: f64 = 0.089;

/// Delays in seconds of the all-passes that thicken the echoes before they enter.
const DIFFUSERS: [f64; 3] = [0.0043, 0.0071, 0.0113];

/// Coefficient of the all-passes.
const DIFFUSION: f32 = 0.6;

/// What is below this is silence: -200 dB.
const SILENCE: f32 = 1e-10;

/// Feedback delay network with a Householder matrix and a first-order loss in each line (J.-M. Jot and A. Chaigne, Digital
/// delay networks for designing artificial reverberators, 1991).
#[derive(Clone, Debug)]
pub struct Network {
    delays: [usize; LINES],
    /// Gain of a pass at low and middle frequencies.
    gains: [f32; LINES],
    /// Pole of the loss at high frequencies.
    poles: [f32; LINES],
    diffusers: [usize; 3],
}

fn is_prime(n: usize) -> bool {
    n > 1 && (2..).take_while(|d| d * d <= n).all(|d| !n.is_multiple_of(d))
}

impl Network {
    /// `reverberation` in seconds at low and middle frequencies, `treble` its share at 4 kHz.
    pub fn new(reverberation: f64, treble: f64, sample_rate: f64) -> Self {
        let high = 4000.0_f64.min(0.4 * sample_rate);
        let c = math::cos(TAU * high / sample_rate);
        let mut delays = [0; LINES];
        let (mut gains, mut poles) = ([0.0; LINES], [0.0; LINES]);
        let mut last = 0;
        for i in 0..LINES {
            let seconds = FIRST * math::pow(LAST / FIRST, i as f64 / (LINES - 1) as f64);
            let mut frames = ((seconds * sample_rate) as usize).max(last + 1).max(BLOCK);
            // Prime lengths share no echo.
            while !is_prime(frames) {
                frames += 1;
            }
            last = frames;
            delays[i] = frames;
            let passes = frames as f64 / sample_rate;
            gains[i] = math::pow(10.0, -3.0 * passes / reverberation) as f32;
            // |H|^2 of (1 - p) / (1 - p/z) at 4 kHz is to be r.
            let r = math::pow(10.0, -6.0 * passes / reverberation * (1.0 / treble - 1.0));
            if r < 1.0 {
                let (a, b) = (1.0 - r, 1.0 - r * c);
                poles[i] = ((b - math::sqrt((b * b - a * a).max(0.0))) / a) as f32;
            }
        }
        let diffusers = DIFFUSERS.map(|d| ((d * sample_rate) as usize).max(BLOCK));
        Self { delays, gains, poles, diffusers }
    }

    /// The tail of a signal times `gain`, as long as the signal.
    pub fn run(&self, dry: &[f32], gain: f32) -> Stereo {
        let mut out = Stereo::silence(dry.len());
        let mut lines: Vec<Ring> = self.delays.iter().map(|d| Ring::new(*d)).collect();
        let mut diffusers: Vec<Ring> = self.diffusers.iter().map(|d| Ring::new(*d)).collect();
        let mut loss = [0.0_f32; LINES];
        // Frames since anything was heard: after the longest delay, the network rests until there is input again.
        let rest = self.delays.iter().chain(&self.diffusers).sum::<usize>();
        let mut quiet = rest;
        let poles = self.poles;
        let keep: [f32; LINES] = std::array::from_fn(|i| self.gains[i] * (1.0 - self.poles[i]));
        let mut block = [[0.0_f32; LINES]; BLOCK];
        let mut held = [0.0_f32; BLOCK];
        for (start, input) in dry.chunks(BLOCK).enumerate().map(|(i, b)| (i * BLOCK, b)) {
            let silent = input.iter().all(|x| *x == 0.0);
            if silent && quiet >= rest {
                continue;
            }
            if !silent {
                if quiet >= rest {
                    lines.iter_mut().chain(&mut diffusers).for_each(Ring::clear);
                    loss = [0.0; LINES];
                }
                quiet = 0;
            }
            let frames = input.len();
            let mut x = [0.0_f32; BLOCK];
            x[..frames].copy_from_slice(input);
            for ring in &mut diffusers {
                ring.read(&mut held[..frames]);
                for (x, held) in x.iter_mut().zip(&mut held) {
                    let y = *held - DIFFUSION * *x;
                    *held = *x + DIFFUSION * y;
                    *x = y;
                }
                ring.write(&held[..frames]);
            }
            // Frame by frame with the lines side by side, so that their losses are worked out together.
            for (i, ring) in lines.iter().enumerate() {
                ring.read(&mut held[..frames]);
                for (frame, x) in block.iter_mut().zip(&held) {
                    frame[i] = *x;
                }
            }
            let (left, right) = (&mut out.left[start..start + frames], &mut out.right[start..start + frames]);
            for (((frame, x), left), right) in block.iter_mut().zip(&x).zip(left).zip(right) {
                for i in 0..LINES {
                    loss[i] = frame[i] * keep[i] + loss[i] * poles[i];
                }
                let mut pairs = [0.0_f32; 4];
                for i in 0..4 {
                    pairs[i] = (loss[i] + loss[i + 4]) + (loss[i + 8] + loss[i + 12]);
                }
                // Rows of a Hadamard matrix, so that left and right share no line with one sign throughout.
                *left = gain * ((pairs[0] + pairs[1]) - (pairs[2] + pairs[3]));
                *right = gain * ((pairs[0] - pairs[1]) + (pairs[3] - pairs[2]));
                let sum = (pairs[0] + pairs[1]) + (pairs[2] + pairs[3]);
                let back = x - sum * (2.0 / LINES as f32);
                for i in 0..LINES {
                    frame[i] = loss[i] + back;
                }
            }
            for (i, ring) in lines.iter_mut().enumerate() {
                for (x, frame) in held.iter_mut().zip(&block) {
                    *x = frame[i];
                }
                ring.write(&held[..frames]);
            }
            if silent {
                let heard = block[..frames].iter().flatten().any(|x| x.abs() > SILENCE);
                quiet = if heard { 0 } else { quiet + frames };
            }
        }
        out
    }
}

/// A delay line.
#[derive(Clone, Debug)]
struct Ring {
    samples: Vec<f32>,
    at: usize,
}

impl Ring {
    fn new(frames: usize) -> Self {
        Self { samples: vec![0.0; frames.max(1)], at: 0 }
    }

    fn clear(&mut self) {
        self.samples.fill(0.0);
    }

    /// The oldest samples. No longer than the delay.
    fn read(&self, into: &mut [f32]) {
        let first = into.len().min(self.samples.len() - self.at);
        let (a, b) = into.split_at_mut(first);
        a.copy_from_slice(&self.samples[self.at..self.at + first]);
        b.copy_from_slice(&self.samples[..b.len()]);
    }

    /// In place of those just read.
    fn write(&mut self, from: &[f32]) {
        let first = from.len().min(self.samples.len() - self.at);
        let (a, b) = from.split_at(first);
        self.samples[self.at..self.at + first].copy_from_slice(a);
        self.samples[..b.len()].copy_from_slice(b);
        self.at = (self.at + from.len()) % self.samples.len();
    }
}
