//! Stems that a render has left whole: read in the middle.

use super::store::Gains;
use ripieno_formats::WavSource;
use ripieno_formats::wav::SampleFormat;
use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

/// A stem on the disk.
#[derive(Clone, Debug, PartialEq)]
pub struct Whole {
    path: PathBuf,
    /// Byte of its first sample.
    data: u64,
    format: SampleFormat,
    /// Frames.
    frames: u64,
}

impl Whole {
    /// Opens a stem in stereo; none if it is not one.
    pub fn open(path: &Path) -> Option<Self> {
        let mut file = File::open(path).ok()?;
        let source = WavSource::begin(&mut file).ok()?;
        let (shape, format) = (source.shape(), source.format());
        drop(source);
        let data = file.stream_position().ok()?;
        (shape.channels == 2).then(|| Self { path: path.to_path_buf(), data, format, frames: shape.frames })
    }

    /// Adds frames from one on, times a gain for each; false if it is gone.
    pub fn add(&self, from: u64, gains: &Gains<'_>, sums: [&mut [f32]; 2]) -> bool {
        let size = usize::from(self.format.bytes());
        let wanted = (sums[0].len() as u64).min(self.frames.saturating_sub(from)) as usize;
        let mut bytes = vec![0; 2 * size * wanted];
        let read = || -> std::io::Result<Vec<u8>> {
            let mut file = File::open(&self.path)?;
            file.seek(SeekFrom::Start(self.data + from.min(self.frames) * 2 * size as u64))?;
            file.read_exact(&mut bytes)?;
            Ok(bytes)
        };
        let Ok(bytes) = read() else { return false };
        let value = |b: &[u8]| -> f32 {
            match self.format {
                SampleFormat::Int16 => f32::from(i16::from_le_bytes([b[0], b[1]])) / 32_768.0,
                SampleFormat::Int24 => (i32::from_le_bytes([0, b[0], b[1], b[2]]) >> 8) as f32 / 8_388_608.0,
                SampleFormat::Float32 => f32::from_le_bytes([b[0], b[1], b[2], b[3]]),
            }
        };
        let [left, right] = sums;
        let frames = bytes.chunks_exact(2 * size).zip(left.iter_mut().zip(right.iter_mut()));
        for (i, (b, (l, r))) in frames.enumerate() {
            let gain = gains.at(i);
            *l += gain * value(&b[..size]);
            *r += gain * value(&b[size..]);
        }
        true
    }
}
