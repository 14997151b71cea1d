//! The nouns: what written music, a part and a performance are.
//!
//! Takes [`ripieno_units`], gives plain data with public fields. It must not know files, plans, patches or sound:
//! readers fill these types, stages turn one into the next, writers read them.
//!
//! * [`Score`]: the music as it came, unfolded, in score time: [`Track`]s over one [`Timeline`].
//! * [`Part`]: what one chair plays after casting, in score time.
//! * [`Performance`]: how it is played, in seconds: [`Gesture`]s and curves. It knows no patch.
//! * [`Reading`]: what was found in a score by reading it: passages, lines, doublings.
//! * [`Finding`]: one result of a check, with its place and its remedy.

mod direction;
mod finding;
mod note;
mod part;
mod performance;
mod pitch;
mod reading;
mod score;
pub mod spell;
mod timeline;
pub mod words;

pub use direction::{Direction, DirectionKind, Dynamic, Playing};
pub use finding::{Change, Edit, Finding, Severity};
pub use note::{
    Arpeggio, Glide, Grace, Mark, Marks, Note, NoteKind, Ornament, OrnamentKind, Played, Syllable,
    SyllablePlace, Tremolo,
};
pub use part::{Cell, Part};
pub use performance::{
    ChairPerformance, Colour, Curve, Gesture, Performance, Realisation, Stroke, Sung, named,
};
pub use pitch::{Pitch, Spelling, Transposition, key_name, parse_key};
pub use reading::{ChordVoice, Doubling, PassageFound, Reading, Role, RoleFound, TuneSpan, names_a_line};
pub use score::{Content, Control, ControlKind, SUNG, Score, Track, Warning};
pub use timeline::{Bar, Clock, Key, Metre, Place, Tempo, TimeMark, TimeMarkKind, Timeline};
