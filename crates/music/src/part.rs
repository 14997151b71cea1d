//! What one chair plays, in score time.

use crate::Content;
use ripieno_units::Beats;

/// The part of one chair after casting.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Part {
    /// The chair's id.
    pub chair: String,
    /// Notes and marks in score time, at sounding pitch.
    pub content: Content,
    /// The cells that it was made from, in order.
    pub cells: Vec<Cell>,
}

/// One chair in one passage.
#[derive(Clone, Debug, PartialEq)]
pub struct Cell {
    /// Name of the passage.
    pub passage: String,
    /// Where the passage begins.
    pub from: Beats,
    /// Where it ends.
    pub to: Beats,
    /// The line that is played in the end, after every `col`; `None` where the chair is silent.
    pub line: Option<String>,
    /// The chair that it plays with, if the cell says `col`.
    pub with: Option<String>,
}
