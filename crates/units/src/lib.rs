//! Quantities, exact score time, deterministic mathematics and seeded chance.
//!
//! Takes nothing, gives the types that every other crate measures with. It must not know what music or a
//! signal is: that lets those two nouns stay strangers to each other.
//!
//! * [`Beats`]: score time, an exact fraction of a quarter note. No tuplet is rounded.
//! * [`Seconds`], [`Decibels`]: performed time and level.
//! * [`math`]: the float functions whose bits are the same on every machine; [`quick`]: a few of them for sums of many.
//! * [`Chance`]: random numbers drawn by name, so that adding a chair changes no other chair.

mod beats;
mod chance;
pub mod math;
mod quantity;
pub mod quick;

pub use beats::Beats;
pub use chance::Chance;
pub use quantity::{Decibels, Seconds};
