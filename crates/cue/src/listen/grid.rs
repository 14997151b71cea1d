//! The grid on which sound is rendered ahead: frames from the start of the lead-in on, in stretches of equal length.

use crate::Performed;
use crate::render::stem::block_at;
use ripieno_units::Seconds;

/// Blocks of the convolution in a stretch. Two are 0.7 s: short enough to be there soon, long enough to be worth a file.
const BLOCKS: usize = 2;

/// Where frames lie in time. Frame 0 is the first of the lead-in, as in the rendered files.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grid {
    /// Samples a second.
    pub rate: u32,
    /// Number of frame 0, counted from bar 1.
    pub start: i64,
    /// Seconds from frame 0 to bar 1.
    pub lead_in: f64,
    /// Frames that are convolved at once.
    pub block: usize,
    /// Frames of a stretch.
    pub stretch: usize,
    /// Frames of the whole, with what rings on after its end.
    pub frames: u64,
}

impl Grid {
    /// Of a performance, with `tail` seconds after its end.
    pub fn new(performed: &Performed, rate: u32, tail: Seconds) -> Self {
        let timeline = &performed.performance.timeline;
        let lead_in = performed.patches.lead_in.0;
        let seconds = lead_in + timeline.seconds(timeline.end()).0 + tail.0;
        let block = block_at(rate);
        Self {
            rate,
            start: (-lead_in * f64::from(rate) + 0.5).floor() as i64,
            lead_in,
            block,
            stretch: BLOCKS * block,
            frames: (seconds.max(0.0) * f64::from(rate)).ceil() as u64,
        }
    }

    /// How many stretches there are.
    pub fn count(&self) -> usize {
        (self.frames as usize).div_ceil(self.stretch)
    }

    /// Seconds from bar 1 of a frame.
    pub fn seconds(&self, frame: i64) -> Seconds {
        Seconds((self.start + frame) as f64 / f64::from(self.rate))
    }

    /// The frame at so many seconds from bar 1.
    pub fn frame(&self, seconds: Seconds) -> i64 {
        (seconds.0 * f64::from(self.rate) + 0.5).floor() as i64 - self.start
    }

    /// The stretch that holds a frame; the nearest one for frames outside.
    pub fn stretch_of(&self, frame: i64) -> usize {
        let last = self.count().saturating_sub(1);
        ((frame.max(0) as usize) / self.stretch).min(last)
    }

    /// Blocks that hold so many frames, in frames.
    pub fn whole_blocks(&self, frames: usize) -> usize {
        frames.div_ceil(self.block) * self.block
    }
}
