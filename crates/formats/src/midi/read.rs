//! To be written.
use crate::FormatError;
use ripieno_music::Score;

/// Reads a MIDI file.
pub fn read(_bytes: &[u8]) -> Result<Score, FormatError> {
    Err(FormatError::Unknown { found: String::new() })
}
