//! The mix: seats, stems, their sum, loudness.
//!
//! Takes dry signals, what a hall adds to them, and seats in metres; gives stems, and the mix at its loudness. It must not know
//! instruments, halls or plans.
//!
//! * [`place`]: a dry chair and its share of the hall to a stereo stem. Linear.
//! * [`sum`]: stems to the mix before the master, in the order given: the same bits whatever the threads.
//! * [`master`]: to the loudness that is asked, below the true peak that is asked.

mod limiter;
mod loudness;
mod place;

pub use loudness::{
    Loudness, MasterOptions, Mastered, Maxima, MixError, MixReport, loudness, master, maxima,
};
pub use place::{PlaceOptions, place, sum};
