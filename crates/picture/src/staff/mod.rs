//! An opened cell: what one chair plays in one passage, in proportional notation on its own staff.
//!
//! Takes [`Opened`], gives SVG. Time runs to the right, evenly; a head stands where its note begins to sound, and a stroke goes
//! from it for as long as it sounds, as heavy as it is loud. No stems or beams: the length is the stroke. Words above and
//! below never cover each other.
//!
//! Clefs and signs are drawn here with a pen of their own ([`signs`]); no music font is needed, or copied.

mod accidentals;
mod around;
mod clef;
mod describe;
mod draw;
mod frame;
mod notes;
mod pen;
mod signs;
mod spoken;
#[cfg(test)]
mod tests;
mod words;

pub(crate) use accidentals::sign_of;
pub use accidentals::signed;
pub use clef::{Clef, ClefSign, ledgers, letters};
pub use describe::{Bar, Flag, Hairpin, Head, Note, Opened, Placed, Slur, Staff, Stroke, Words};
pub use draw::draw;
pub use frame::natural_scale;
pub(crate) use signs::{accidental, clef, head};
pub use spoken::{Spoken, in_words, pitch_name};
pub(crate) use words::width;
