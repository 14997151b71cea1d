//! Reads a score as an orchestrator does: where its passages are, what each track does in them, who doubles whom.
//!
//! Takes a [`ripieno_music::Score`], gives a [`ripieno_music::Reading`]. It must not know plans, patches, sound or files.
//!
//! * [`doublings`]: who plays with whom, in unison or octaves.
//! * [`passages`]: where the music changes, and the names of its stretches.
//! * [`played`]: the written places of a source that was played, its switches and tracks of one chair.
//! * [`roles`]: tune, counter-melody, bass, held chord, figure, punctuation; and who has the tune.

pub mod doublings;
pub mod passages;
pub mod played;
pub mod roles;

use ripieno_music::{Reading, Score};

/// Everything that is found in a score.
pub fn read(score: &Score) -> Reading {
    let doublings = doublings::find(score);
    let tune = roles::tune(score, &doublings);
    let mut passages = passages::find(score);
    roles::name_roles(score, &doublings, &tune, &mut passages);
    Reading { passages, doublings, tune }
}
