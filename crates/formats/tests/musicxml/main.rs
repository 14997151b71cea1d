//! One check an element of MusicXML 4.0 (W3C Music Notation Community Group, 2021: the meaning of each element is taken
//! from there). The scores are written here and are as small as they can be.

#![allow(clippy::unwrap_used)] // a test fails by it

mod notes;
mod piece;
mod signs;
mod small;
