//! The shorthand of a cell: who plays what, at which octave, how.

use crate::Span;
use ripieno_music::{Dynamic, OrnamentKind, Playing};

/// One cell, read.
#[derive(Clone, Debug, PartialEq)]
pub struct CellWords {
    /// One entry for each division of the chair (`div.: melody / melody 8vb`); one entry when it is not divided that
    /// way. Each holds its sources in turn (`melody; from 12.3 counter`).
    pub divisions: Vec<Vec<Turn>>,
    /// Marks, in the order written.
    pub marks: Vec<CellMark>,
}

/// One source for a stretch of the passage.
#[derive(Clone, Debug, PartialEq)]
pub struct Turn {
    /// What is played.
    pub source: Source,
    /// Semitones that what is sounded is moved by: a multiple of 12.
    pub octave: i16,
    /// From here; from the passage's start (with its pick-up) if not said.
    pub from: Option<PlaceWord>,
    /// To here, inclusive of the beat named; to the passage's end if not said.
    pub to: Option<PlaceWord>,
    /// Where it stands in the cell's text.
    pub span: Span,
}

/// What a chair plays.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Source {
    /// A line of the music, or one voice of it.
    Line {
        /// Its name in `[lines]`.
        name: String,
        /// Which voice.
        voice: LineVoice,
    },
    /// With another chair.
    Col {
        /// That chair.
        chair: String,
    },
    /// What the source gives this chair: the line that bears the chair's name.
    AsWritten,
    /// Nothing.
    Tacet,
}

/// A voice of a line of chords.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LineVoice {
    /// All voices.
    All,
    /// The highest.
    Top,
    /// From the top: 2 is the second highest.
    Nth(u8),
    /// The lowest.
    Bottom,
}

/// A place in the music, `8.4`: bar 8, beat 4; `8`: bar 8, its first beat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlaceWord {
    /// Bar number.
    pub bar: i32,
    /// Beat, from 1.0, if one is named.
    pub beat: Option<f64>,
}

/// A mark in a cell.
#[derive(Clone, Debug, PartialEq)]
pub enum CellMark {
    /// The trade's words.
    Playing(Playing),
    /// Dynamics over the passage.
    Dynamics(Vec<DynamicStep>),
    /// An ornament on every note long enough for it.
    Ornament(OrnamentKind),
    /// With another chair, but some of it as the music has it for this one.
    AsWritten(Kept),
    /// Text for voices: syllables in order, or one vowel for all.
    Words(String),
    /// Breaths, each before a place: a comma in the part.
    Breath(Vec<PlaceWord>),
    /// An articulation by the name that patch cards give it, outside the trade's words.
    Articulation(String),
}

/// What a chair that goes with another keeps of its own line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kept {
    /// `marks as written`: slurs, signs, ornaments, dynamics and words.
    Marks,
    /// `rhythm as written`: also when and how long it plays; only the pitches are the other chair's.
    Rhythm,
}

/// One step of a dynamic line: `p < f (bar 5) > p`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DynamicStep {
    /// How it is reached from the step before: `Some(true)` by `<`, `Some(false)` by `>`, `None`: at once.
    pub hairpin: Option<bool>,
    /// The mark.
    pub dynamic: Dynamic,
    /// Where; the first step stands at the passage's start, the last at its end, others evenly between, if not said.
    pub at: Option<PlaceWord>,
}
