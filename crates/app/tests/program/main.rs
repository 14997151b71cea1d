//! The program as its user meets it, and the rules of the house. One test binary for all.

// A test that cannot go on fails.
#![allow(clippy::unwrap_used)]

mod adopted;
mod checks;
mod cli;
mod guide;
mod json;
mod kinds;
mod older;
mod printed;
mod tidy;
