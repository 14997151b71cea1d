//! WAV files back in, block by block: those that [`crate::wav`] writes. Sound of other makers is read elsewhere, by a library
//! that knows their ways.

use crate::wav::{SampleFormat, Shape};
use std::io::{self, Read};

/// A WAV file that is read from its start.
pub struct Source<R: Read> {
    input: R,
    shape: Shape,
    format: SampleFormat,
    left: u64,
    bytes: Vec<u8>,
}

fn damaged() -> io::Error {
    io::Error::new(io::ErrorKind::InvalidData, "this is no WAV file of ours, or it is cut off")
}

fn word(bytes: &[u8], at: usize) -> u32 {
    bytes.get(at..at + 4).map_or(0, |b| u32::from_le_bytes([b[0], b[1], b[2], b[3]]))
}

fn half(bytes: &[u8], at: usize) -> u16 {
    bytes.get(at..at + 2).map_or(0, |b| u16::from_le_bytes([b[0], b[1]]))
}

/// The longest chunk before the samples that is read.
const MOST_BYTES: u32 = 1 << 20;

impl<R: Read> Source<R> {
    /// Reads the header.
    ///
    /// Errors: those of `input`; [`io::ErrorKind::InvalidData`] where it is no WAV file of 16- or 24-bit integers or 32-bit floats.
    pub fn begin(mut input: R) -> io::Result<Self> {
        let mut head = [0; 12];
        input.read_exact(&mut head)?;
        let long = &head[..4] == b"RF64";
        if !(long || &head[..4] == b"RIFF") || &head[8..] != b"WAVE" {
            return Err(damaged());
        }
        // Of an RF64 file (EBU Tech 3306): the bytes of its samples.
        let mut bytes = None;
        let mut found: Option<(Shape, SampleFormat)> = None;
        loop {
            let mut head = [0; 8];
            input.read_exact(&mut head)?;
            let length = word(&head, 4);
            if &head[..4] == b"data" {
                let (mut shape, format) = found.ok_or_else(damaged)?;
                let frame = u64::from(shape.channels) * u64::from(format.bytes());
                let length = bytes.filter(|_| long && length == u32::MAX).unwrap_or(u64::from(length));
                shape.frames = length / frame;
                return Ok(Self { input, shape, format, left: shape.frames, bytes: Vec::new() });
            }
            if length > MOST_BYTES {
                return Err(damaged());
            }
            let mut chunk = vec![0; (length + length % 2) as usize];
            input.read_exact(&mut chunk)?;
            if &head[..4] == b"ds64" && long && chunk.len() >= 16 {
                bytes = Some(u64::from(word(&chunk, 8)) | u64::from(word(&chunk, 12)) << 32);
            }
            if &head[..4] == b"fmt " {
                let format = match (half(&chunk, 0), half(&chunk, 14)) {
                    (1, 16) => SampleFormat::Int16,
                    (1, 24) => SampleFormat::Int24,
                    (3, 32) => SampleFormat::Float32,
                    _ => return Err(damaged()),
                };
                let channels = half(&chunk, 2);
                if channels == 0 {
                    return Err(damaged());
                }
                found = Some((Shape { sample_rate: word(&chunk, 4), channels, frames: 0 }, format));
            }
        }
    }

    /// Rate, channels, frames.
    pub fn shape(&self) -> Shape {
        self.shape
    }

    /// How its samples are stored.
    pub fn format(&self) -> SampleFormat {
        self.format
    }

    /// Passes over so many frames, or to the end.
    ///
    /// Errors: those of the input.
    pub fn skip(&mut self, frames: u64) -> io::Result<()>
    where
        R: io::Seek,
    {
        let frames = frames.min(self.left);
        let bytes = frames * u64::from(self.shape.channels) * u64::from(self.format.bytes());
        self.input.seek_relative(i64::try_from(bytes).map_err(|_| damaged())?)?;
        self.left -= frames;
        Ok(())
    }

    /// Reads up to so many frames into `channels`, which are filled anew; gives how many there were, 0 at the end.
    ///
    /// Errors: those of the input, and its end before all samples came that its header promises.
    pub fn block(&mut self, frames: usize, channels: &mut Vec<Vec<f32>>) -> io::Result<usize> {
        let frames = (frames as u64).min(self.left) as usize;
        let (count, size) = (usize::from(self.shape.channels), usize::from(self.format.bytes()));
        self.bytes.resize(frames * count * size, 0);
        self.input.read_exact(&mut self.bytes)?;
        self.left -= frames as u64;
        channels.resize_with(count, Vec::new);
        for (number, channel) in channels.iter_mut().enumerate() {
            channel.clear();
            let samples = self.bytes.chunks_exact(count * size).map(|f| &f[number * size..]);
            match self.format {
                SampleFormat::Int16 => {
                    channel.extend(samples.map(|b| f32::from(i16::from_le_bytes([b[0], b[1]])) / 32_768.0))
                }
                SampleFormat::Int24 => channel.extend(samples.map(|b| {
                    // In the upper bytes, so that the sign is where it belongs.
                    (i32::from_le_bytes([0, b[0], b[1], b[2]]) >> 8) as f32 / 8_388_608.0
                })),
                SampleFormat::Float32 => {
                    channel.extend(samples.map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]])))
                }
            }
        }
        Ok(frames)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wav::{Wav, write};

    #[test]
    fn what_was_written_comes_back() {
        let left: Vec<f32> = (0..1000).map(|i| (i as f32 / 500.0 - 1.0) * 0.9).collect();
        let right: Vec<f32> = left.iter().map(|x| -0.5 * x).collect();
        let wav = Wav { sample_rate: 44_100, channels: vec![left, right] };
        for (format, within) in [
            (SampleFormat::Int16, 4.0 / 32_768.0),
            (SampleFormat::Int24, 1.0 / 8_388_608.0),
            (SampleFormat::Float32, 0.0),
        ] {
            let bytes = write(&wav, format);
            let mut source = Source::begin(&bytes[..]).unwrap();
            assert_eq!((source.shape().frames, source.shape().sample_rate), (1000, 44_100));
            let mut block = Vec::new();
            let mut at = 0;
            loop {
                let frames = source.block(333, &mut block).unwrap();
                if frames == 0 {
                    break;
                }
                for (found, wanted) in block.iter().zip(&wav.channels) {
                    for (a, b) in found.iter().zip(&wanted[at..]) {
                        assert!((a - b).abs() <= within, "{format:?}: {a} {b}");
                    }
                }
                at += frames;
            }
            assert_eq!(at, 1000);
        }
    }

    #[test]
    fn what_is_damaged_is_an_error() {
        let wav = Wav { sample_rate: 48_000, channels: vec![vec![0.25; 100]] };
        let bytes = write(&wav, SampleFormat::Int24);
        for length in 0..bytes.len() {
            let all = Source::begin(&bytes[..length]).and_then(|mut s| s.block(100, &mut Vec::new()));
            assert!(all.is_err(), "{length}");
        }
        for i in 0..44 {
            let mut wrong = bytes.clone();
            wrong[i] ^= 0x55;
            // Any answer but a panic will do.
            let _ = Source::begin(&wrong[..]).and_then(|mut s| s.block(100, &mut Vec::new()));
        }
    }
}
