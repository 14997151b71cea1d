//! The mix: equalisers, loudness, and the copy to listen to.
//!
//! Takes responses and stereo sound, block by block; gives what they measure, and a gain for every moment of the copy that is
//! listened to. It must not know instruments, halls, plans or files. All before the listening copy is linear.
//!
//! * [`equalise`]: bands on a response.
//! * [`Survey`]: loudness and peaks of sound that streams by; memory for a peak a millisecond, no more.
//! * [`listening`]: to the loudness that is asked, below the true peak that is asked.

mod equalise;
mod limiter;
mod listening;
mod survey;

pub use equalise::{Band, BandKind, equalise};
pub use limiter::{AHEAD, gains};
pub use listening::{Listening, ListeningOptions, ListeningReport, Replay, Take, listening};
pub use survey::{Loudness, MixError, Peaks, Survey, Surveyed};
