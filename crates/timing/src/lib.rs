//! Music to picture: time codes, and tempi that bring places of the music onto hits of the picture.
//!
//! Takes a time axis and hits in seconds, gives tempo steps with what each hit misses, and a time axis with those tempi. It must
//! not know plans, files or sound.
//!
//! * [`FrameRate`], [`Timecode`]: exact frames.
//! * [`Problem`]: [`Problem::constant`], [`Problem::stepped`], [`Problem::ramped`] propose [`Step`]s.
//! * [`conduct`]: steps to tempi in whole microseconds a quarter, as MIDI files count, with what is rounded carried on.
//! * [`rebar`]: barlines moved, no note changed.

mod bars;
mod conduct;
mod constant;
mod fit;
pub mod ramp;
mod rate;

pub use bars::{moved_barline, rebar};
pub use conduct::{Pace, Step, conduct};
pub use fit::{Fit, Hit, Kind, LAMBDA, Place, Problem, Wanted, places};
pub use rate::{FrameRate, Timecode};
