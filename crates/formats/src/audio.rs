//! Sound files in: WAV, AIFF, FLAC and Ogg Vorbis, block by block, whatever their length.

use crate::wav::Wav;
use std::io::{ErrorKind, Read, Seek, SeekFrom};
use std::panic::AssertUnwindSafe;
use symphonia::core::codecs::CodecParameters;
use symphonia::core::codecs::audio::{AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader, TrackType};
use symphonia::core::io::{MediaSource, MediaSourceStream};
use symphonia::core::meta::MetadataOptions;

/// Why a sound file could not be read.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum AudioError {
    /// Not a sound file of any kind that is read.
    #[error("this is not a sound file that can be read: {found}. Export it as WAV, AIFF, FLAC or Ogg Vorbis")]
    Unknown {
        /// What it begins with.
        found: String,
    },
    /// A kind of compression that is not read.
    #[error(
        "its sound is stored in a way that is not read ({found}). Export it as WAV with 16, 24 or 32 bits"
    )]
    Codec {
        /// What is said about it.
        found: String,
    },
    /// Damaged or cut off.
    #[error("it is damaged {seconds:.3} s from its start: {message}. Export it again")]
    Damaged {
        /// How much was read before.
        seconds: f64,
        /// What is wrong.
        message: String,
    },
    /// More channels than are read, or none.
    #[error("it has {found} channels; 1 to {limit} are read. Export it as mono or stereo")]
    Channels {
        /// How many.
        found: usize,
        /// The most.
        limit: usize,
    },
    /// Longer than what is read as a whole.
    #[error("it is longer than {limit} s, the most that is read here. Export the part that is needed")]
    TooLong {
        /// Seconds.
        limit: f64,
    },
    /// The source cannot be read.
    #[error("it cannot be read: {0}. Check the disk it is on")]
    Source(String),
}

/// Most channels that are read.
pub const CHANNELS: usize = 16;

/// What a sound file holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shape {
    /// Samples a second.
    pub sample_rate: u32,
    /// Channels, 1 to [`CHANNELS`].
    pub channels: usize,
    /// Samples in each channel, as far as the file says so before it is read.
    pub frames: Option<u64>,
}

/// A sound file that is being read.
pub struct Reader {
    format: Box<dyn FormatReader>,
    decoder: Box<dyn AudioDecoder>,
    track: u32,
    shape: Shape,
    read: u64,
    ended: bool,
    block: Vec<Vec<f32>>,
}

impl Reader {
    /// Looks at the head of a sound file; the kind is told by its bytes. The bytes may be a [`std::io::Cursor`] or a file.
    pub fn open(source: impl Read + Seek + Send + Sync + 'static) -> Result<Self, AudioError> {
        let mut source = source;
        let io = |e: std::io::Error| AudioError::Source(e.to_string());
        let mut head = [0; 12];
        let found = begins(&mut source, &mut head).map_err(io)?;
        let length = source.seek(SeekFrom::End(0)).map_err(io)?;
        source.seek(SeekFrom::Start(0)).map_err(io)?;
        let head = &head[..found];
        // The probe would look for a beginning anywhere in the first megabyte; a text about a WAV file is none.
        if ![&b"RIFF"[..], b"FORM", b"fLaC", b"OggS"].iter().any(|kind| head.starts_with(kind)) {
            return Err(AudioError::Unknown { found: describe(head) });
        }
        let stream = MediaSourceStream::new(Box::new(Source { inner: source, length }), Default::default());
        let probe = symphonia::default::get_probe();
        let format = contained(|| {
            probe.probe(&Hint::new(), stream, FormatOptions::default(), MetadataOptions::default())
        })
        .map_err(|e| match e {
            Error::Unsupported(what) => AudioError::Codec { found: what.to_string() },
            e => damaged(0.0, &e),
        })?;
        let track = format
            .default_track(TrackType::Audio)
            .ok_or_else(|| AudioError::Codec { found: "no sound that is known".to_string() })?;
        let Some(CodecParameters::Audio(parameters)) = &track.codec_params else {
            return Err(AudioError::Codec { found: "its kind is not given".to_string() });
        };
        let channels = parameters.channels.as_ref().map_or(0, |c| c.count());
        if !(1..=CHANNELS).contains(&channels) {
            return Err(AudioError::Channels { found: channels, limit: CHANNELS });
        }
        let sample_rate = parameters.sample_rate.unwrap_or(0);
        if !(1000..=1_000_000).contains(&sample_rate) {
            let message = format!("a sample rate of {sample_rate} Hz");
            return Err(AudioError::Damaged { seconds: 0.0, message });
        }
        let codecs = symphonia::default::get_codecs();
        let decoder = contained(|| codecs.make_audio_decoder(parameters, &AudioDecoderOptions::default()))
            .map_err(|e| AudioError::Codec { found: e.to_string() })?;
        let shape = Shape { sample_rate, channels, frames: track.num_frames };
        let track = track.id;
        Ok(Self { format, decoder, track, shape, read: 0, ended: false, block: Vec::new() })
    }

    /// What it holds.
    pub fn shape(&self) -> Shape {
        self.shape
    }

    /// Frames that were given so far.
    pub fn position(&self) -> u64 {
        self.read
    }

    /// The next samples, all channels of one length, at least one frame; none at the end. Full scale is -1 and 1; floats may
    /// pass it, and what is no number is silence. After an error there is nothing more.
    pub fn next_block(&mut self) -> Result<Option<&[Vec<f32>]>, AudioError> {
        while !self.ended {
            let seconds = self.read as f64 / f64::from(self.shape.sample_rate);
            let packet = match contained(|| self.format.next_packet()) {
                Ok(Some(packet)) => packet,
                // A second piece of music behind the first (Ogg) is another recording.
                Ok(None) | Err(Error::ResetRequired) => {
                    self.ended = true;
                    return self.complete().map(|()| None);
                }
                Err(e) => {
                    self.ended = true;
                    // A file of unknown length that ends where it ends is whole.
                    let whole = self.shape.frames.is_none_or(|frames| self.read >= frames);
                    let end = matches!(&e, Error::IoError(e) if e.kind() == ErrorKind::UnexpectedEof);
                    return if whole && end { Ok(None) } else { Err(damaged(seconds, &e)) };
                }
            };
            if packet.track_id != self.track {
                continue;
            }
            match contained(|| self.decoder.decode(&packet)) {
                Ok(decoded) => {
                    let same = decoded.num_planes() == self.shape.channels
                        && decoded.spec().rate() == self.shape.sample_rate;
                    if !same {
                        self.ended = true;
                        let message = "its channels or sample rate change on the way".to_string();
                        return Err(AudioError::Damaged { seconds, message });
                    }
                    decoded.copy_to_vecs_planar(&mut self.block);
                }
                Err(e) => {
                    self.ended = true;
                    return Err(damaged(seconds, &e));
                }
            }
            let frames = self.block.iter().map(Vec::len).min().unwrap_or(0);
            if frames == 0 {
                continue;
            }
            for sample in self.block.iter_mut().flatten().filter(|s| !s.is_finite()) {
                *sample = 0.0;
            }
            self.read += frames as u64;
            return Ok(Some(&self.block));
        }
        Ok(None)
    }

    fn complete(&self) -> Result<(), AudioError> {
        match self.shape.frames {
            Some(frames) if self.read < frames => Err(AudioError::Damaged {
                seconds: self.read as f64 / f64::from(self.shape.sample_rate),
                message: format!("it ends there and should have {} more samples", frames - self.read),
            }),
            _ => Ok(()),
        }
    }
}

impl std::fmt::Debug for Reader {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Reader {{ shape: {:?}, read: {} }}", self.shape, self.read)
    }
}

/// A whole sound file, of at most `limit` seconds: for short things such as the response of a room.
pub fn read(source: impl Read + Seek + Send + Sync + 'static, limit: f64) -> Result<Wav, AudioError> {
    let mut reader = Reader::open(source)?;
    let shape = reader.shape();
    let most = limit * f64::from(shape.sample_rate);
    let mut channels = vec![Vec::new(); shape.channels];
    while let Some(block) = reader.next_block()? {
        for (channel, new) in channels.iter_mut().zip(block) {
            channel.extend_from_slice(new);
        }
        if reader.position() as f64 > most {
            return Err(AudioError::TooLong { limit });
        }
    }
    Ok(Wav { sample_rate: shape.sample_rate, channels })
}

/// A source of known length.
struct Source<R> {
    inner: R,
    length: u64,
}

impl<R: Read> Read for Source<R> {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        self.inner.read(into)
    }
}

impl<R: Seek> Seek for Source<R> {
    fn seek(&mut self, to: SeekFrom) -> std::io::Result<u64> {
        self.inner.seek(to)
    }
}

impl<R: Read + Seek + Send + Sync> MediaSource for Source<R> {
    fn is_seekable(&self) -> bool {
        true
    }

    fn byte_len(&self) -> Option<u64> {
        Some(self.length)
    }
}

fn begins(source: &mut (impl Read + Seek), head: &mut [u8]) -> std::io::Result<usize> {
    source.seek(SeekFrom::Start(0))?;
    let mut found = 0;
    while found < head.len() {
        match source.read(&mut head[found..]) {
            Ok(0) => break,
            Ok(n) => found += n,
            Err(e) if e.kind() == ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
    Ok(found)
}

fn describe(head: &[u8]) -> String {
    if head.is_empty() {
        return "it is empty".to_string();
    }
    if head.starts_with(b"ID3") || head.starts_with(&[0xff, 0xfb]) || head.starts_with(&[0xff, 0xf3]) {
        return "it is an MP3 file".to_string();
    }
    if head.starts_with(b"MThd") {
        return "it is a MIDI file".to_string();
    }
    if head.starts_with(b"RF64") {
        return "it is a WAV file of the kind for more than 4 GB".to_string();
    }
    format!(
        "it begins with \"{}\"",
        head.iter().take(4).flat_map(|b| b.escape_ascii()).map(char::from).collect::<String>()
    )
}

/// The decoders are not ours, and on some damaged files they panic on a sum that overflows: that is an error of the file.
fn contained<T>(work: impl FnOnce() -> Result<T, Error>) -> Result<T, Error> {
    std::panic::catch_unwind(AssertUnwindSafe(work))
        .unwrap_or(Err(Error::DecodeError("its numbers make no sense")))
}

fn damaged(seconds: f64, error: &Error) -> AudioError {
    match error {
        Error::IoError(e) if e.kind() == ErrorKind::UnexpectedEof => {
            AudioError::Damaged { seconds, message: "it ends too early".to_string() }
        }
        Error::IoError(e) => AudioError::Source(e.to_string()),
        e => AudioError::Damaged { seconds, message: e.to_string() },
    }
}
