//! Bytes to nouns and back: Standard MIDI Files, MusicXML, WAV; other sound files in.
//!
//! Takes the bytes of a file, gives a [`ripieno_music::Score`] with every doubtful place as a warning; takes MIDI tracks or
//! samples, gives bytes. It must not know plans or the file system. A stranger's file can neither panic it nor make it
//! allocate what the file merely claims.

pub mod audio;
mod bound;
pub mod flac;
mod kind;
pub mod midi;
pub mod musicxml;
pub mod wav;
mod wav_source;

pub use kind::kind;
pub use wav_source::Source as WavSource;

mod error;

pub use error::FormatError;

use ripieno_music::Score;

/// Reads a music file of any kind that is known, told apart by its first bytes and not by its name.
pub fn read_score(bytes: &[u8]) -> Result<Score, FormatError> {
    if midi::is_midi(bytes) { midi::read(bytes) } else { musicxml::read(bytes) }
}
