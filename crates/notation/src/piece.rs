//! What is printed.

use ripieno_instruments::Instrument;
use ripieno_music::{Part, Timeline};
use ripieno_units::Beats;

/// At which pitch a score is printed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Pitched {
    /// As it sounds; instruments that read whole octaves away keep their octave.
    #[default]
    Concert,
    /// As each player reads it.
    Transposed,
}

/// Words at a place, as plain text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Word {
    /// Where.
    pub at: Beats,
    /// What is printed.
    pub text: String,
}

/// A boxed mark that all see, with small words beside it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mark {
    /// Where.
    pub at: Beats,
    /// The letter in its box; none where only the words stand.
    pub letter: Option<String>,
    /// The words: a passage's name, the clock.
    pub words: Option<String>,
}

/// One chair that plays.
#[derive(Clone, Debug)]
pub struct Player<'a> {
    /// What it plays, in score time, at sounding pitch.
    pub part: &'a Part,
    /// What it plays it on.
    pub instrument: &'a Instrument,
    /// Its name as printed.
    pub name: String,
    /// Its short name.
    pub short: String,
    /// Words for this player alone: pedals, tunings.
    pub words: Vec<Word>,
}

/// A piece with everything that stands on its first page and above its staves.
#[derive(Clone, Debug)]
pub struct Piece<'a> {
    /// Title.
    pub title: String,
    /// Composer, where known.
    pub composer: Option<String>,
    /// Day, `2026-11-25`; the only date in the document.
    pub date: Option<String>,
    /// A line under the title: how long it is.
    pub about: String,
    /// The time axis.
    pub timeline: &'a Timeline,
    /// Rehearsal letters and what stands beside them, in order of place.
    pub marks: Vec<Mark>,
    /// Who plays, in score order.
    pub players: Vec<Player<'a>>,
    /// The score's pitch; parts are always transposed.
    pub pitched: Pitched,
}
