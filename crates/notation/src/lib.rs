//! Score and parts on paper: MusicXML 4.0 from what each chair plays in score time.
//!
//! Takes the time axis, parts, names and facts of instruments, gives text. It must not know plans, files, patches or seconds as
//! performed: whoever knows those hands their words over as a [`Word`] at a place. The same input gives the same bytes.
//!
//! * [`Piece`] is what is printed, [`Player`] one chair in it; [`score`] writes them all, [`part`] one for its player.
//! * `voices` lays a chair's notes out on staves and voices, `rhythm` turns a bar of a voice into note values, `spell` names the
//!   notes, `clefs` chooses clefs, `write` and `measure` put it all down.
//!
//! The W3C Community Group's MusicXML 4.0 (2021) is the source of what each element means.

mod beams;
mod clefs;
mod directions;
mod header;
mod measure;
mod notes;
mod percussion;
mod piece;
mod rhythm;
mod ring;
mod signs;
mod spell;
mod voices;
mod words;
mod write;
mod xml;

pub use piece::{Mark, Piece, Pitched, Player, Word};
pub use write::{part, score};
