//! Where the sound of a chair comes from: the house orchestra, a font, a print.

use crate::CueError;
use ripieno_formats::audio::Reader;
use ripieno_signal::Resampler;
use ripieno_sound::Voice;
use std::collections::VecDeque;
use std::path::{Path, PathBuf};

/// A sound that streams.
pub enum Sound<'a> {
    /// Gestures that are played.
    Voice(Box<dyn Voice + 'a>),
    /// A recording.
    Print(Box<Print>),
}

impl Sound<'_> {
    /// The next frames of every desk.
    ///
    /// Errors: a recording that breaks off.
    pub fn next(&mut self, frames: usize, desks: &mut Vec<Vec<f32>>) -> Result<(), CueError> {
        match self {
            Self::Voice(voice) => {
                voice.next(frames, desks);
                Ok(())
            }
            Self::Print(print) => print.next(frames, desks),
        }
    }
}

/// A recording that is played at the render's sample rate: one channel, or two.
pub struct Print {
    path: PathBuf,
    reader: Reader,
    resampler: Option<Resampler>,
    /// What the resampler has just made.
    made: Vec<Vec<f32>>,
    ready: Vec<VecDeque<f32>>,
    ended: bool,
    /// Silence that is still to come before it.
    silence: usize,
    /// Frames that are still to be passed over.
    skip: usize,
}

impl Print {
    /// Opens a recording of one or two channels, or of more, of which the first two are taken. It is moved by `shift` seconds:
    /// later if positive, and from its inside on if negative.
    pub fn open(path: &Path, rate: u32, shift: f64) -> Result<Self, String> {
        let file = std::fs::File::open(path).map_err(|e| match e.kind() {
            std::io::ErrorKind::NotFound => "there is no such file".to_string(),
            _ => e.to_string(),
        })?;
        let reader = Reader::open(file).map_err(|e| e.to_string())?;
        let shape = reader.shape();
        let channels = shape.channels.min(2);
        let resampler = match shape.sample_rate == rate {
            true => None,
            false => Some(Resampler::new(shape.sample_rate, rate, channels).map_err(|e| e.to_string())?),
        };
        let frames = (shift.abs() * f64::from(rate) + 0.5) as usize;
        let (silence, skip) = if shift >= 0.0 { (frames, 0) } else { (0, frames) };
        let ready = vec![VecDeque::new(); channels];
        let made = vec![Vec::new(); channels];
        Ok(Self { path: path.to_path_buf(), reader, resampler, made, ready, ended: false, silence, skip })
    }

    /// Channels: 1 or 2.
    pub fn channels(&self) -> usize {
        self.ready.len()
    }

    fn next(&mut self, frames: usize, desks: &mut Vec<Vec<f32>>) -> Result<(), CueError> {
        let before = self.silence.min(frames);
        self.silence -= before;
        let wanted = frames - before;
        while !self.ended && self.ready[0].len() < wanted + self.skip {
            self.read()?;
        }
        let passed = self.skip.min(self.ready[0].len());
        self.skip -= passed;
        desks.resize_with(self.ready.len(), Vec::new);
        for (desk, ready) in desks.iter_mut().zip(&mut self.ready) {
            ready.drain(..passed);
            desk.clear();
            desk.resize(before, 0.0);
            let there = wanted.min(ready.len());
            desk.extend(ready.drain(..there));
            desk.resize(frames, 0.0);
        }
        Ok(())
    }

    fn read(&mut self) -> Result<(), CueError> {
        let wrong = |message: String| CueError::Place { path: self.path.clone(), message };
        let count = self.ready.len();
        let block = self.reader.next_block().map_err(|e| wrong(e.to_string()))?;
        self.ended = block.is_none();
        match (&mut self.resampler, block) {
            (None, Some(block)) => {
                for (ready, channel) in self.ready.iter_mut().zip(block) {
                    ready.extend(channel);
                }
            }
            (None, None) => {}
            (Some(resampler), block) => {
                match block {
                    Some(block) => resampler.push(&block[..count], &mut self.made),
                    None => resampler.finish(&mut self.made),
                }
                for (ready, channel) in self.ready.iter_mut().zip(&mut self.made) {
                    ready.extend(channel.drain(..));
                }
            }
        }
        Ok(())
    }
}
