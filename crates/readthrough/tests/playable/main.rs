//! Every rule of what can be played, with a score that triggers it and a near miss that does not.
#![allow(clippy::unwrap_used, clippy::disallowed_methods)]

mod bench;
mod breath;
mod judged;
mod notes;
mod properties;
mod scores;
mod time;
mod voices;
