//! Standard MIDI Files (The MIDI Association, Standard MIDI Files 1.0, 1988/1996): formats 0, 1 and 2 in, format 1 out.
//!
//! The bytes are read and written here rather than by a library, because a reader of strangers' files has to say at which
//! byte a file breaks, and has to count what it passed over. The tests hold both against independent readers.
//!
//! What a file leaves open is settled by these rules, each with a warning, so that no note is lost:
//!
//! * A key struck again while it sounds on its channel: the earlier note ends there. Its own note-off, if it still comes (at
//!   that same tick, or ahead of another note-off), is passed over, so that the later note keeps its length.
//! * A key struck twice at one tick: two notes; each note-off ends one, and where only one comes it ends both.
//! * A note without note-off: held until "all notes off" on its channel, else to the end of its track; at least one tick.
//! * A note without length: one tick. Its note-off may stand ahead of its note-on, at the same tick.
//! * Any other note-off without a note: passed over.
//! * Of several tempi, metres or keys at one tick: that of the earliest track, and in it the last.
//! * Texts are UTF-8 if all texts of the file are, else Latin-1.
//! * A metre that changes inside a bar makes that bar short.
//! * Format 2: the sequences follow one another, each from the barline after the one before, each with its own tempo and metre.
//! * Ticks of a frame (SMPTE division): they are seconds, and the score gets a clock of exactly two quarters a second.
//! * A damaged track ends where it is damaged; what comes after it is read if it can be found.

mod bytes;
mod conduct;
mod events;
mod file;
mod heads;
mod lyrics;
mod notes;
mod percussion;
mod read;
mod write;

pub(crate) use bytes::is_midi;
pub use events::{MidiEvents, Tick, read_events};
pub use file::{MidiEvent, MidiFile, MidiTrack};
pub use heads::{TrackHead, heads};
pub use percussion::stroke as percussion_stroke;
pub use read::read;
pub use write::write;
