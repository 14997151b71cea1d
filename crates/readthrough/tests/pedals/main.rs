//! Harp pedals and timpani: the searches against exhaustive ones, worked cases, and parts of real scores.

// A test that cannot go on fails; it may use the machine's own floats.
#![allow(clippy::unwrap_used, clippy::disallowed_methods)]

mod exhaustive;
mod harp;
mod parts;
mod round;
mod timpani;

/// How many random cases: `RIPIENO_CASES`, else 300.
fn cases() -> u64 {
    std::env::var("RIPIENO_CASES").ok().and_then(|c| c.parse().ok()).unwrap_or(300)
}
