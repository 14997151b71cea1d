//! From one sample rate to another, by transforms.

use rubato::audioadapter_buffers::direct::SequentialSliceOfVecs;
use rubato::{Fft, FixedSync, Indexing, Resampler as _, WindowFunction};

/// Shortest transform, in frames of the lower rate: the filter passes all but the last 1 % below half of it.
const SHORTEST: usize = 2048;

/// Why there is no resampler.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ResampleError {
    /// A sample rate outside 1 kHz to 1 MHz.
    Rate(u32),
    /// No channels.
    NoChannels,
}

impl std::fmt::Display for ResampleError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Rate(rate) => {
                write!(f, "a sample rate of {rate} Hz cannot be converted. Use one from 1000 to 1000000 Hz")
            }
            Self::NoChannels => write!(f, "no channels to convert. Give one or more"),
        }
    }
}

impl std::error::Error for ResampleError {}

/// Sound of any number of channels, piece by piece, at another sample rate. Nothing is moved: the frame at `t` seconds comes out
/// at `t` seconds, and `n` frames become `n * to / from`, rounded. Aliases and images lie below -100 dB.
pub struct Resampler {
    from: u64,
    to: u64,
    /// None where both rates are one.
    fft: Option<Fft<f32>>,
    waiting: Vec<Vec<f32>>,
    made: Vec<Vec<f32>>,
    /// Frames that came and that were given.
    taken: u64,
    given: u64,
    /// Frames of the filter's delay that are still to be dropped.
    delay: usize,
}

impl Resampler {
    /// From and to samples a second.
    pub fn new(from: u32, to: u32, channels: usize) -> Result<Self, ResampleError> {
        for rate in [from, to] {
            if !(1000..=1_000_000).contains(&rate) {
                return Err(ResampleError::Rate(rate));
            }
        }
        if channels == 0 {
            return Err(ResampleError::NoChannels);
        }
        let (from, to) = (from as usize, to as usize);
        let fft = if from == to { None } else { Some(filter(from, to, channels)?) };
        let delay = fft.as_ref().map_or(0, |f| f.output_delay());
        let made = vec![vec![0.0; fft.as_ref().map_or(0, |f| f.output_frames_next())]; channels];
        let waiting = vec![Vec::new(); channels];
        Ok(Self { from: from as u64, to: to as u64, fft, waiting, made, taken: 0, given: 0, delay })
    }

    /// How many frames `frames` of them become.
    pub fn length(&self, frames: u64) -> u64 {
        ((u128::from(frames) * u128::from(self.to) + u128::from(self.from) / 2) / u128::from(self.from))
            as u64
    }

    /// Takes some frames, channel by channel, and appends those that are ready to `out`, which grows to as many channels. Missing
    /// channels are silent; shorter ones are filled with silence.
    pub fn push(&mut self, input: &[impl AsRef<[f32]>], out: &mut Vec<Vec<f32>>) {
        let frames = input.iter().map(|c| c.as_ref().len()).max().unwrap_or(0);
        let held = self.waiting.first().map_or(0, Vec::len);
        for (i, waiting) in self.waiting.iter_mut().enumerate() {
            waiting.extend_from_slice(input.get(i).map_or(&[], |c| c.as_ref()));
            waiting.resize(held + frames, 0.0);
        }
        self.taken += frames as u64;
        out.resize(out.len().max(self.waiting.len()), Vec::new());
        let Some(chunk) = self.fft.as_ref().map(|f| f.input_frames_next()) else {
            for (to, waiting) in out.iter_mut().zip(&mut self.waiting) {
                to.append(waiting);
            }
            return;
        };
        let whole = (held + frames) / chunk;
        for i in 0..whole {
            self.step(i * chunk, chunk, out);
        }
        for waiting in &mut self.waiting {
            waiting.drain(..whole * chunk);
        }
    }

    /// The rest, after the last frame; then it is as new.
    pub fn finish(&mut self, out: &mut Vec<Vec<f32>>) {
        out.resize(out.len().max(self.waiting.len()), Vec::new());
        if self.fft.is_some() {
            let wanted = self.length(self.taken);
            let rest = self.waiting.first().map_or(0, Vec::len);
            let mut left = rest;
            while self.given < wanted {
                self.step(rest - left, left, out);
                left = 0;
            }
            // The last step may have given more than there is.
            let spare = (self.given - wanted) as usize;
            for channel in out.iter_mut().take(self.waiting.len()) {
                channel.truncate(channel.len().saturating_sub(spare));
            }
        }
        for waiting in &mut self.waiting {
            waiting.clear();
        }
        if let Some(fft) = &mut self.fft {
            fft.reset();
            self.delay = fft.output_delay();
        }
        (self.taken, self.given) = (0, 0);
    }

    /// One transform of `frames` frames from `at` on, filled with silence.
    fn step(&mut self, at: usize, frames: usize, out: &mut [Vec<f32>]) {
        let Some(fft) = &mut self.fft else { return };
        let (channels, room) = (self.waiting.len(), self.made.first().map_or(0, Vec::len));
        let held = self.waiting.first().map_or(0, Vec::len);
        let mut indexing = Indexing::new().input_offset(at);
        if frames < fft.input_frames_next() {
            indexing = indexing.partial_len(frames);
        }
        let input = SequentialSliceOfVecs::new(&self.waiting, channels, held);
        let output = SequentialSliceOfVecs::new_mut(&mut self.made, channels, room);
        let made = match (input, output) {
            (Ok(input), Ok(mut output)) => fft.process_into_buffer(&input, &mut output, Some(&indexing)),
            // The buffers are made for these numbers of channels and frames.
            _ => return,
        };
        debug_assert!(made.is_ok());
        let drop = self.delay.min(room);
        self.delay -= drop;
        self.given += (room - drop) as u64;
        for (to, made) in out.iter_mut().zip(&self.made) {
            to.extend_from_slice(&made[drop..]);
        }
    }
}

impl std::fmt::Debug for Resampler {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Resampler {{ from: {}, to: {}, channels: {} }}", self.from, self.to, self.waiting.len())
    }
}

/// Both sides of the transform hold an even number of frames, so that the filter's delay is a whole number of frames on both.
fn filter(from: usize, to: usize, channels: usize) -> Result<Fft<f32>, ResampleError> {
    let common = greatest_common_divisor(from, to);
    let least = (from / common).min(to / common);
    let pieces = SHORTEST.div_ceil(least).next_multiple_of(2);
    let chunk = pieces * (from / common);
    let window = WindowFunction::BlackmanHarris2;
    // Fails for no rate and no frames alone.
    Fft::new_custom(from, to, chunk, 1, channels, window, FixedSync::Both)
        .map_err(|_| ResampleError::Rate(from as u32))
}

fn greatest_common_divisor(a: usize, b: usize) -> usize {
    if b == 0 { a } else { greatest_common_divisor(b, a % b) }
}

/// A whole sound at another sample rate.
pub fn resample(channels: &[Vec<f32>], from: u32, to: u32) -> Result<Vec<Vec<f32>>, ResampleError> {
    let mut resampler = Resampler::new(from, to, channels.len())?;
    let mut out = Vec::new();
    resampler.push(channels, &mut out);
    resampler.finish(&mut out);
    Ok(out)
}
