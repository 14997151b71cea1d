//! MusicXML up to 4.0, partwise and timewise, plain and compressed, into a [`Score`].
//!
//! Bytes are unpacked and decoded ([`unpack`]); the text is parsed ([`parts`]) and each bar of each part is read once, as printed
//! ([`walk`] and its helpers, into [`sheet`]); repeats and jumps give the order in which bars are played ([`order`]); the bars are laid out in that order,
//! and what reaches over bars (ties, slurs, hairpins, pedals) is joined there ([`lay`], [`span`], [`axis`]). Joining after
//! unfolding lets a tie lead from a first ending back to the start, as players read it.
//!
//! The W3C Community Group's MusicXML 4.0 (2021) is the source of what each element means.

mod attributes;
mod axis;
mod barline;
mod chord;
mod count;
mod direction;
mod endings;
mod header;
mod hidden;
mod lay;
mod lyric;
mod movements;
mod neighbour;
mod notation;
mod note;
mod order;
mod parts;
mod settle;
mod sheet;
mod span;
mod unpack;
mod walk;
mod warn;
mod words;
mod xml;

use crate::FormatError;
use ripieno_music::Score;

/// What to do with repeats, endings, da capo and dal segno.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Repeats {
    /// Every bar as often as it is played.
    Unfolded,
    /// Every bar once, as printed: for comparing readings.
    AsPrinted,
}

/// Reads MusicXML, plain or compressed, with repeats unfolded.
///
/// Errors: no MusicXML at all, damaged, or more than is read (unpacked size, unfolded bars).
pub fn read(bytes: &[u8]) -> Result<Score, FormatError> {
    read_with(bytes, Repeats::Unfolded)
}

/// Reads MusicXML, plain or compressed. Errors as [`read`].
pub fn read_with(bytes: &[u8], repeats: Repeats) -> Result<Score, FormatError> {
    let mut doubts = warn::Doubts::default();
    let text = unpack::text(bytes, &mut doubts)?;
    let sheet = parts::sheet(&text, &mut doubts)?;
    let played = match repeats {
        Repeats::Unfolded => order::unfold(&sheet, &mut doubts)?,
        Repeats::AsPrinted => (0..sheet.bars.len()).map(|bar| order::Played { bar, pass: 1 }).collect(),
    };
    lay::score(sheet, &played, doubts)
}
