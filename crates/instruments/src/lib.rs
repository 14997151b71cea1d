//! Facts about instruments, and which instrument a name means.
//!
//! Takes names as scores and track lists print them; gives the table of instruments (`data/*.toml`, with the source of
//! every group of values) and guesses. It must not know scores, plans or files: whoever reads those asks here.
//!
//! * [`table`], [`by_id`], [`ids`]: the facts, in score order.
//! * [`seat`], [`directivity`]: where a chair sits by scheme, how an instrument radiates.
//! * [`harp`], [`timpani`]: pedals, hands and drums, for those who solve them.
//! * [`strings_of`], [`sticks_of`], [`keyboard_of`]: what hands reach; [`whistle_of`], [`natural_of`], [`bars_of`]: which notes
//!   there are.
//! * [`players`]: what players can and cannot do: extremes, leaps, trills, voices, how long things take.
//! * [`recognise`]: one name to an instrument, its chair and its players; a doubt always says why.
//! * [`recognise_all`]: the names of a whole score, where each helps to understand the others.

mod analysis;
mod choose;
mod ensemble;
mod facts;
mod gear;
mod guess;
mod hands;
mod hints;
mod load;
mod matching;
mod notes;
mod numbers;
pub mod players;
mod stage;
mod words;

pub use ensemble::recognise_all;
pub use facts::{
    Attack, Bow, Breath, Citation, Clef, DecayPoint, Family, Instrument, Level, Names, Polyphony, Range,
    Repetition, Seat, VoiceType,
};
pub use gear::{DrumFacts, HarpFacts, TimpaniFacts, harp, timpani};
pub use guess::{Certainty, Guess, Query, recognise};
pub use hands::{Keyboard, Sticks, Strings, Strokes, keyboard_of, naturals, sticks_of, strings_of, strokes};
pub use load::{by_id, ids, table};
pub use matching::prepare;
pub use notes::{BarSet, Having, NaturalBrass, Whistle, bars_of, harmonic, natural_of, whistle_of};
pub use stage::{Radiation, StageSeat, Together, directivity, seat, seatings, together};
