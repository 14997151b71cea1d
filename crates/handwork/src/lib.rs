//! Pencil marks: what a composer changed by hand in the performed MIDI, found, kept, and made again.
//!
//! Takes what was last written ([`Written`]) and the events of a file that came back, gives the differences that mean something
//! as marks ([`Mark`]), each at its note or its stretch of score time; and puts marks onto tracks that were computed anew. It
//! must not know how a track was computed, what a patch card is, plans or the file system: whoever calls says which keys and
//! controllers are calls, and which articulation a note has.
//!
//! Times are ticks of 1/3840 quarter from bar 1, below zero in the lead-in. Time that is kept for later computations is kept as an
//! exact fraction of a quarter note from the start of the passage.

mod adopt;
mod apply;
mod assign;
mod axis;
mod control;
mod edited;
mod likeness;
mod mark;
mod pen;
mod pencil_file;
mod stored;
mod written;

pub use adopt::{Adopted, adopt};
pub use apply::{Fit, apply};
pub use assign::{NEVER, assign};
pub use axis::{Anchor, Axis, AxisBar};
pub use control::Control;
pub use likeness::{Likeness, likeness};
pub use mark::{Mark, Point, What};
pub use pencil_file::{parse, place_words, words, write};
pub use stored::{restore, store};
pub use written::{NoteName, Sounded, Who, Written, WrittenNote, WrittenTrack};

/// Ticks a quarter note, as performed files are written.
pub const TICKS: i64 = 3840;

/// Ticks as an exact part of a quarter note.
pub fn beats_of(tick: i64) -> ripieno_units::Beats {
    ripieno_units::Beats::new(tick, TICKS)
}

/// Score time in ticks, to the nearest.
pub fn ticks_of(at: ripieno_units::Beats) -> i64 {
    at.ticks(TICKS as u32)
}
