//! Casting by hand-worked examples.

#[path = "../common/mod.rs"]
mod common;
mod small;
mod sources;
mod words;
