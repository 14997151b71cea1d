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
mod survey;

use ripieno_music::{Reading, Score};

/// Everything that is found in a score.
pub fn read(score: &Score) -> Reading {
    let survey = survey::Survey::of(score);
    let by_bar = || rayon::join(|| roles::lay_out(score, &survey), || passages::find_in(score, &survey));
    let (doublings, (layout, mut passages)) = rayon::join(|| doublings::find_in(score, &survey), by_bar);
    let tune = roles::tune_in(layout.as_ref(), &survey);
    roles::name_roles_in(score, &doublings, &tune, &mut passages, (&survey, layout.as_ref()));
    Reading { passages, doublings, tune }
}
