//! Facts about instruments, and which instrument a name means.
//!
//! Takes names as scores and track lists print them; gives the table of instruments (`data/*.toml`, with the source of
//! every group of values) and guesses. It must not know scores, plans or files: whoever reads those asks here.
//!
//! * [`table`], [`by_id`], [`ids`]: the facts, in score order.
//! * [`seat`], [`directivity`]: where a chair sits by scheme, how an instrument radiates.
//! * [`harp`], [`timpani`]: pedals, hands and drums, for those who solve them.
//! * [`recognise`]: one name to an instrument, its chair and its players; a doubt always says why.
//! * [`recognise_all`]: the names of a whole score, where each helps to understand the others.

mod analysis;
mod choose;
mod ensemble;
mod facts;
mod gear;
mod guess;
mod hints;
mod load;
mod matching;
mod numbers;
mod stage;
mod words;

pub use ensemble::recognise_all;
pub use facts::{
    Attack, Bow, Breath, Citation, Clef, DecayPoint, Family, Instrument, Level, Names, Polyphony, Range,
    Repetition, Seat, VoiceType,
};
pub use gear::{DrumFacts, HarpFacts, TimpaniFacts, harp, timpani};
pub use guess::{Certainty, Guess, Query, recognise};
pub use load::{by_id, ids, table};
pub use stage::{Radiation, StageSeat, directivity, seat, seatings};
