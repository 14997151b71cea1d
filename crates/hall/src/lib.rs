//! Halls as responses: what a dry sound becomes at the microphones of a hall.
//!
//! Takes a hall in metres and seconds (built in, of one's own, or an impulse response) and the place of a source; gives stereo
//! impulse responses and what the hall measures. It must not know music, plans or files, and it filters nothing: everything from
//! a dry source to the stereo bus is linear, so a chair's whole way is one response, which the caller applies.
//!
//! All responses have one time zero: that of a source whose sound reaches the main microphones as soon as the conductor's own
//! voice would. Nothing is earlier; the front desks are a few milliseconds late. Levels are those of a source whose dry signal
//! has amplitude 1 at one metre.
//!
//! * [`halls`], [`by_id`], [`Hall`]: rooms as data, and [`Hall::lasting`] to make one longer or shorter.
//! * [`prepare`]: a hall to a [`Room`], whose [`Room::direct`], [`Room::reflections`] and [`Room::tail`] are responses.
//! * [`from_impulse`]: a room from a recorded impulse response.
//! * [`Balance`], [`Source`], [`Directivity`]: how it is heard, where it is, how it radiates.
//! * [`measure`]: reverberation time, clarity, definition and centre time by octave (ISO 3382-1).
//! * [`sabine`], [`eyring`], [`air_absorption`], [`barron`]: the formulas behind.

mod acoustics;
mod bands;
mod directivity;
mod hall;
mod images;
mod impulse;
mod load;
pub mod measure;
mod microphones;
mod room;
mod tail;
mod windows;

pub use acoustics::{Barron, air_absorption, air_energy, barron, eyring, sabine};
pub use bands::{OCTAVES, Octaves};
pub use directivity::Directivity;
pub use hall::{Hall, Side, Surface, by_id, halls};
pub use impulse::{ImpulseError, from_impulse};
pub use measure::Measures;
pub use microphones::{Array, Balance, MIDDLE, Microphone, OFF, arrays};
pub use room::{Room, Source, prepare};
