//! WAV files out: plain RIFF/WAVE (IBM and Microsoft, Multimedia Programming Interface and Data Specifications 1.0, 1991;
//! float samples after Microsoft's revision of 1994; both from memory), with chunks of the caller's before the samples where they
//! are asked for (`bext` of EBU Tech 3285), and as RF64 where the file passes 4 GiB (EBU Tech 3306, from memory).

use ripieno_units::Chance;
use std::io::{self, Write};

/// Sound in memory.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Wav {
    /// Samples a second.
    pub sample_rate: u32,
    /// Samples by channel, full scale at -1 and 1. Shorter channels are filled with silence.
    pub channels: Vec<Vec<f32>>,
}

/// How a sample is stored, least significant byte first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SampleFormat {
    /// 16-bit integers. Rounding to so few steps would distort quiet sound, so noise of triangular density, two steps wide,
    /// is added before it, always the same for the same sound (S. P. Lipshitz, R. A. Wannamaker and J. Vanderkooy,
    /// Quantization and Dither: A Theoretical Survey, 1992, from memory). A sample of exactly zero stays zero.
    Int16,
    /// 24-bit integers, rounded to the nearest; the step is as fine as the 24 bits of a float's own fraction at full scale, so
    /// nothing is gained by noise.
    Int24,
    /// 32-bit floats, as they are; what is no number becomes silence.
    Float32,
}

impl SampleFormat {
    /// Bytes a sample.
    pub fn bytes(self) -> u16 {
        match self {
            Self::Int16 => 2,
            Self::Int24 => 3,
            Self::Float32 => 4,
        }
    }
}

/// What stands in the header of a file, before its samples are known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shape {
    /// Samples a second.
    pub sample_rate: u32,
    /// Channels, 1 or more.
    pub channels: u16,
    /// Samples in each channel.
    pub frames: u64,
}

/// The bytes of a WAV file. Integers clip at full scale. Empty if it has more channels than the format: [`write_to`] says so.
pub fn write(wav: &Wav, format: SampleFormat) -> Vec<u8> {
    let frames = wav.channels.iter().map(Vec::len).max().unwrap_or(0);
    let mut out = Vec::with_capacity(64 + frames * wav.channels.len() * usize::from(format.bytes()));
    match write_to(&mut out, wav, format) {
        Ok(()) => out,
        Err(_) => Vec::new(),
    }
}

/// Writes a WAV file piece by piece, so that its bytes are never in memory as a whole.
///
/// Errors: those of `out`; [`io::ErrorKind::InvalidInput`] where there are more than 65,535 channels.
pub fn write_to(out: &mut impl Write, wav: &Wav, format: SampleFormat) -> io::Result<()> {
    let channels =
        u16::try_from(wav.channels.len()).map_err(|_| invalid("a WAV file has at most 65,535 channels"))?;
    let frames = wav.channels.iter().map(Vec::len).max().unwrap_or(0);
    let shape = Shape { sample_rate: wav.sample_rate, channels, frames: frames as u64 };
    let mut stream = Stream::begin(out, shape, format)?;
    const BLOCK: usize = 4096;
    let mut from = 0;
    while from < frames {
        let to = (from + BLOCK).min(frames);
        let block: Vec<Vec<f32>> = wav
            .channels
            .iter()
            .map(|c| (from..to).map(|i| c.get(i).copied().unwrap_or(0.0)).collect())
            .collect();
        let views: Vec<&[f32]> = block.iter().map(Vec::as_slice).collect();
        stream.block(&views)?;
        from = to;
    }
    stream.end()
}

fn invalid(message: impl Into<String>) -> io::Error {
    io::Error::new(io::ErrorKind::InvalidInput, message.into())
}

/// A WAV file that is written while its sound is made. Its length is known before.
pub struct Stream<'a, W: Write> {
    out: &'a mut W,
    shape: Shape,
    format: SampleFormat,
    written: u64,
    /// Of each channel.
    noise: Vec<Chance>,
    bytes: Vec<u8>,
}

/// A chunk that stands before the samples: its four letters and what it holds.
pub type Chunk<'a> = ([u8; 4], &'a [u8]);

impl<'a, W: Write> Stream<'a, W> {
    /// Writes the header.
    ///
    /// Errors: those of `out`; [`io::ErrorKind::InvalidInput`] where no file could be so long.
    pub fn begin(out: &'a mut W, shape: Shape, format: SampleFormat) -> io::Result<Self> {
        Self::begin_with(out, shape, format, &[])
    }

    /// Writes the header, with chunks of the caller's before the samples.
    ///
    /// Errors: as for [`Stream::begin`].
    pub fn begin_with(
        out: &'a mut W,
        shape: Shape,
        format: SampleFormat,
        chunks: &[Chunk<'_>],
    ) -> io::Result<Self> {
        out.write_all(&header(shape, format, chunks)?)?;
        Ok(Self {
            out,
            shape,
            format,
            written: 0,
            noise: (0..shape.channels)
                .map(|i| Chance::named(0, &["wav", "dither", &i.to_string()]))
                .collect(),
            bytes: Vec::new(),
        })
    }

    /// Writes one block: for each channel equally many samples.
    ///
    /// Errors: those of `out`; [`io::ErrorKind::InvalidInput`] where channels or frames are not those of the header.
    pub fn block(&mut self, channels: &[&[f32]]) -> io::Result<()> {
        let frames = channels.first().map_or(0, |c| c.len());
        if channels.len() != usize::from(self.shape.channels) || channels.iter().any(|c| c.len() != frames) {
            return Err(invalid("a block of other channels than the header says"));
        }
        if self.written + frames as u64 > self.shape.frames {
            return Err(invalid("more samples than the header says"));
        }
        self.written += frames as u64;
        let size = usize::from(self.format.bytes());
        let frame = size * channels.len();
        // Silence, of which a tacet chair has much, is zeros in every format.
        self.bytes.clear();
        self.bytes.resize(frames * frame, 0);
        for (number, channel) in channels.iter().enumerate() {
            if channel.iter().all(|x| *x == 0.0) {
                continue;
            }
            let places = self.bytes.chunks_exact_mut(frame).map(|f| &mut f[number * size..][..size]);
            match self.format {
                SampleFormat::Int16 => {
                    let Some(noise) = self.noise.get_mut(number) else { continue };
                    places.zip(*channel).for_each(|(to, x)| to.copy_from_slice(&sixteen(*x, noise)))
                }
                SampleFormat::Int24 => {
                    places.zip(*channel).for_each(|(to, x)| to.copy_from_slice(&twenty_four(*x)[..3]))
                }
                SampleFormat::Float32 => {
                    places.zip(*channel).for_each(|(to, x)| to.copy_from_slice(&finite(*x).to_le_bytes()))
                }
            }
        }
        self.out.write_all(&self.bytes)
    }

    /// Ends the file.
    ///
    /// Errors: those of `out`; [`io::ErrorKind::InvalidInput`] where fewer samples came than the header says.
    pub fn end(self) -> io::Result<()> {
        if self.written != self.shape.frames {
            return Err(invalid("fewer samples than the header says"));
        }
        // A chunk of odd length is filled to an even one.
        if data_bytes(self.shape, self.format) % 2 == 1 {
            self.out.write_all(&[0])?;
        }
        self.out.flush()
    }
}

fn data_bytes(shape: Shape, format: SampleFormat) -> u64 {
    shape.frames.saturating_mul(u64::from(shape.channels) * u64::from(format.bytes()))
}

/// What stands in a field of 32 bits whose value is in the `ds64` chunk (EBU Tech 3306).
const ELSEWHERE: u32 = u32::MAX;

fn header(shape: Shape, format: SampleFormat, chunks: &[Chunk<'_>]) -> io::Result<Vec<u8>> {
    let float = format == SampleFormat::Float32;
    let data = data_bytes(shape, format);
    let even = |bytes: &[u8]| bytes.len() as u64 + bytes.len() as u64 % 2;
    let more: u64 = chunks.iter().map(|(_, bytes)| 8 + even(bytes)).sum();
    // WAVE, the format chunk, for floats an empty extension and a fact chunk, the caller's, the data chunk.
    let around: u64 = 4 + 24 + if float { 2 + 12 } else { 0 } + more + 8;
    let whole = data.checked_add(data % 2).and_then(|d| d.checked_add(around));
    let whole = whole.ok_or_else(|| invalid("no file is so long. Render fewer bars"))?;
    let frame = u32::from(shape.channels) * u32::from(format.bytes());
    let mut out = Vec::with_capacity(128 + more as usize);
    let long = whole > u64::from(u32::MAX);
    let short = |value: u64| if long { ELSEWHERE } else { u32::try_from(value).unwrap_or(ELSEWHERE) };
    out.extend_from_slice(if long { b"RF64" } else { b"RIFF" });
    out.extend_from_slice(&short(whole).to_le_bytes());
    out.extend_from_slice(b"WAVE");
    if long {
        out.extend_from_slice(b"ds64");
        out.extend_from_slice(&28u32.to_le_bytes());
        for value in [whole + 36, data, shape.frames] {
            out.extend_from_slice(&value.to_le_bytes());
        }
        // No table of other long chunks.
        out.extend_from_slice(&0u32.to_le_bytes());
    }
    out.extend_from_slice(b"fmt ");
    out.extend_from_slice(&if float { 18u32 } else { 16 }.to_le_bytes());
    out.extend_from_slice(&if float { 3u16 } else { 1 }.to_le_bytes());
    out.extend_from_slice(&shape.channels.to_le_bytes());
    out.extend_from_slice(&shape.sample_rate.to_le_bytes());
    out.extend_from_slice(&shape.sample_rate.saturating_mul(frame).to_le_bytes());
    out.extend_from_slice(&u16::try_from(frame).unwrap_or(u16::MAX).to_le_bytes());
    out.extend_from_slice(&(8 * format.bytes()).to_le_bytes());
    if float {
        out.extend_from_slice(&0u16.to_le_bytes());
        out.extend_from_slice(b"fact");
        out.extend_from_slice(&4u32.to_le_bytes());
        out.extend_from_slice(&short(shape.frames).to_le_bytes());
    }
    for (name, bytes) in chunks {
        out.extend_from_slice(name);
        out.extend_from_slice(&u32::try_from(bytes.len()).unwrap_or(ELSEWHERE).to_le_bytes());
        out.extend_from_slice(bytes);
        out.resize(out.len() + bytes.len() % 2, 0);
    }
    out.extend_from_slice(b"data");
    out.extend_from_slice(&short(data).to_le_bytes());
    Ok(out)
}

fn finite(value: f32) -> f32 {
    if value.is_finite() { value } else { 0.0 }
}

// Full scale is 2^(bits-1) steps, so that -1 is the lowest step and 1 clips to the highest.

fn sixteen(value: f32, noise: &mut Chance) -> [u8; 2] {
    let value = finite(value);
    let dither = if value == 0.0 { 0.0 } else { noise.unit() - noise.unit() };
    let steps = (f64::from(value) * 32_768.0 + dither).round().clamp(-32_768.0, 32_767.0);
    (steps as i16).to_le_bytes()
}

fn twenty_four(value: f32) -> [u8; 4] {
    // Away from zero by half a step and cut: what a rounding function does, without the call.
    let steps = f64::from(finite(value)) * 8_388_608.0;
    let steps = (steps + 0.5_f64.copysign(steps)).clamp(-8_388_608.0, 8_388_607.0);
    (steps as i32).to_le_bytes()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn le(bytes: &[u8], at: usize, length: usize) -> u32 {
        bytes[at..at + length].iter().rev().fold(0, |v, b| v << 8 | u32::from(*b))
    }

    /// The canonical header of 44 bytes, field by field (IBM and Microsoft 1991, chapter 3, from memory).
    #[test]
    fn header_of_integers() {
        let wav = Wav { sample_rate: 48_000, channels: vec![vec![0.0; 3]; 2] };
        let bytes = write(&wav, SampleFormat::Int24);
        assert_eq!(bytes.len(), 44 + 18);
        assert_eq!((&bytes[..4], &bytes[8..16]), (&b"RIFF"[..], &b"WAVEfmt "[..]));
        assert_eq!(le(&bytes, 4, 4) as usize, bytes.len() - 8);
        let fields =
            [(16, 4, 16), (20, 2, 1), (22, 2, 2), (24, 4, 48_000), (28, 4, 288_000), (32, 2, 6), (34, 2, 24)];
        for (at, length, value) in fields {
            assert_eq!(le(&bytes, at, length), value, "at byte {at}");
        }
        assert_eq!(&bytes[36..40], b"data");
        assert_eq!(le(&bytes, 40, 4), 18);
    }

    #[test]
    fn header_of_floats_and_odd_data() {
        let wav = Wav { sample_rate: 44_100, channels: vec![vec![0.5]] };
        let bytes = write(&wav, SampleFormat::Float32);
        assert_eq!((le(&bytes, 16, 4), le(&bytes, 20, 2), le(&bytes, 34, 2)), (18, 3, 32));
        assert_eq!((&bytes[38..42], le(&bytes, 46, 4), &bytes[50..54]), (&b"fact"[..], 1, &b"data"[..]));
        assert_eq!(&bytes[58..], 0.5f32.to_le_bytes());
        let odd = write(&wav, SampleFormat::Int24);
        assert_eq!((odd.len(), le(&odd, 40, 4), le(&odd, 4, 4)), (48, 3, 40));
    }

    #[test]
    fn values_round_and_clip() {
        let step = 1.0 / 8_388_608.0;
        let values = vec![0.0, 1.0, -1.0, 2.0, -7.0, f32::NAN, step, 0.4 * step, -0.6 * step, 0.5];
        let wav = Wav { sample_rate: 48_000, channels: vec![values] };
        let bytes = write(&wav, SampleFormat::Int24);
        let read = |i: usize| (le(&bytes, 44 + 3 * i, 3) << 8) as i32 >> 8;
        let found: Vec<i32> = (0..10).map(read).collect();
        assert_eq!(found, [0, 8_388_607, -8_388_608, 8_388_607, -8_388_608, 0, 1, 0, -1, 4_194_304]);
    }

    /// Triangular noise of two steps' width makes the mean error vanish and its power 1/4 of a squared step, whatever the
    /// signal (Lipshitz, Wannamaker, Vanderkooy 1992): without it a constant of 0.3 steps would come out as silence.
    #[test]
    fn sixteen_bits_are_dithered() {
        let wav = Wav { sample_rate: 48_000, channels: vec![vec![0.3 / 32_768.0; 40_000]] };
        let bytes = write(&wav, SampleFormat::Int16);
        assert_eq!(bytes, write(&wav, SampleFormat::Int16));
        let errors = bytes[44..].chunks(2).map(|b| f64::from(i16::from_le_bytes([b[0], b[1]])) - 0.3);
        let (mean, power) = errors.fold((0.0, 0.0), |(m, p), e| (m + e / 40_000.0, p + e * e / 40_000.0));
        assert!(mean.abs() < 0.02, "{mean}");
        assert!((power - 0.25).abs() < 0.02, "{power}");
    }

    #[test]
    fn in_pieces_as_at_once() {
        let wav = Wav { sample_rate: 48_000, channels: vec![vec![0.1; 700], vec![-0.2; 700]] };
        for format in [SampleFormat::Int16, SampleFormat::Int24, SampleFormat::Float32] {
            let mut out = Vec::new();
            let shape = Shape { sample_rate: 48_000, channels: 2, frames: 700 };
            let mut stream = Stream::begin(&mut out, shape, format).unwrap();
            for range in [0..1, 1..500, 500..700] {
                stream.block(&[&wav.channels[0][range.clone()], &wav.channels[1][range]]).unwrap();
            }
            stream.end().unwrap();
            assert_eq!(out, write(&wav, format));
        }
    }

    #[test]
    fn what_does_not_fit_is_refused() {
        let mut out = Vec::new();
        let shape = Shape { sample_rate: 48_000, channels: 2, frames: u64::MAX };
        assert!(Stream::begin(&mut out, shape, SampleFormat::Int24).is_err());
        let shape = Shape { frames: 2, ..shape };
        let mut stream = Stream::begin(&mut out, shape, SampleFormat::Int24).unwrap();
        assert!(stream.block(&[&[0.0]]).is_err());
        assert!(stream.block(&[&[0.0; 3], &[0.0; 3]]).is_err());
        assert!(stream.end().is_err());
    }

    /// Past 4 GiB the lengths stand in `ds64`, the first chunk, and the short fields are full (EBU Tech 3306, section 3).
    #[test]
    fn long_files_are_rf64() {
        let shape = Shape { sample_rate: 48_000, channels: 2, frames: 1 << 30 };
        let bytes = header(shape, SampleFormat::Int24, &[]).unwrap();
        assert_eq!((&bytes[..4], &bytes[8..16]), (&b"RF64"[..], &b"WAVEds64"[..]));
        assert_eq!((le(&bytes, 4, 4), le(&bytes, 16, 4)), (u32::MAX, 28));
        let eight = |at: usize| u64::from_le_bytes(bytes[at..at + 8].try_into().unwrap());
        let data = 6 * (1u64 << 30);
        assert_eq!([eight(20), eight(28), eight(36)], [bytes.len() as u64 - 8 + data, data, 1 << 30]);
        assert_eq!((&bytes[48..52], le(&bytes, bytes.len() - 4, 4)), (&b"fmt "[..], u32::MAX));
    }

    #[test]
    fn chunks_stand_before_the_samples_and_are_even() {
        let mut out = Vec::new();
        let shape = Shape { sample_rate: 48_000, channels: 1, frames: 1 };
        let mut stream =
            Stream::begin_with(&mut out, shape, SampleFormat::Int16, &[(*b"bext", &[7; 5])]).unwrap();
        stream.block(&[&[0.0]]).unwrap();
        stream.end().unwrap();
        assert_eq!((&out[36..40], le(&out, 40, 4)), (&b"bext"[..], 5));
        assert_eq!((&out[44..50], &out[50..54]), (&[7, 7, 7, 7, 7, 0][..], &b"data"[..]));
        assert_eq!((out.len(), le(&out, 4, 4)), (60, 52));
    }
}
