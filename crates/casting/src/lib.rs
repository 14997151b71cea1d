//! Who plays what: turns the music and the casting plan into one part for every chair that plays.
//!
//! Takes a [`ripieno_music::Score`], a [`ripieno_plan::Plan`] and a [`ripieno_plan::Template`]; gives
//! [`ripieno_music::Part`]s in template order, in score time, at sounding pitch, with findings. [`draft()`] goes the
//! other way: from music alone it writes a first plan in which every chair plays as written. It must not know seconds,
//! patches, sound or files.
//!
//! # The rules of casting
//! * A note belongs to the passage in which it begins. The first passage also holds what stands before it when it
//!   begins with the first bar, and the last what stands after it when it ends with the last.
//! * **Pick-ups.** `from` may name a place before the passage: what the chair played from there on gives way. Without
//!   it, a phrase that is slurred over the passage's first barline and began less than a bar before travels with its
//!   line: a chair that enters with the line and is silent in those beats begins with it, and a chair that had the line
//!   until that barline, and not after it, leaves it off.
//! * **Held notes.** A note held over the end of a passage keeps its length where the chair is silent next or goes on
//!   with the same line at the same octave. If it begins something else before the note ends, the note is cut where
//!   that begins: at the barline, or at the pick-up.
//! * **Marks.** Each cell stands for itself. At its start the chair takes over what is in force in its source (dynamic,
//!   hairpin, `pizz.`, `con sord.`, controllers), and what the cell before had set is taken back (`arco`, `senza sord.`,
//!   `ord.`, `tutti`, `mf`). The cell's own marks win over the source's of the same kind; its dynamics replace all of
//!   the source's.
//! * **col** follows the other chair's cell: its lines, octaves, strokes, ornaments and dynamics. It does not take over
//!   who plays (`solo`, `a 2`, `div.`), nor mutes and breaths, and words only from voice to voice. With `marks as written`
//!   it takes over which notes are played and how long; slurs, signs, ornaments, dynamics and words are those of the
//!   chair's own line, where that has a note at the same time.
//! * **Chords.** A line with `voices = n` is shared out to n voices, the highest note to the first and the lowest to the
//!   last, with the least movement between and without crossing; see [`share`].

mod around;
mod axis;
mod breath;
mod cast;
mod casting;
mod cell;
mod draft;
mod dynamics;
mod lines;
mod marks;
mod realise;
pub mod share;
mod signs;
mod table;
mod text;

pub use cast::cast;
pub use casting::RULES;
pub use draft::{ChairFound, Draft, DraftOptions, chairs_of, draft, draft_for};
