//! Hands: stops, sticks, keyboards, lacking notes. Searches against exhaustive ones, rules on small parts, real scores.
#![allow(clippy::disallowed_methods, clippy::unwrap_used)] // checks may use the machine's own floats, and fail

mod common;
mod keyboards;
mod lacking;
mod mallets;
mod scores;
mod stops;
