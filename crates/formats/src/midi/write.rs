//! To be written.
use super::MidiFile;

/// The bytes of a MIDI file.
pub fn write(_file: &MidiFile) -> Vec<u8> {
    Vec::new()
}
