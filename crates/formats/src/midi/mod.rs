//! Standard MIDI Files.

mod file;
mod read;
mod write;

pub use file::{MidiEvent, MidiFile, MidiTrack};
pub use read::read;
pub use write::write;
