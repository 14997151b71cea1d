//! What each track does, and who has the tune.

use ripieno_music::{Doubling, PassageFound, Score, TuneSpan};

/// Who has the tune, from place to place.
pub fn tune(_score: &Score, _doublings: &[Doubling]) -> Vec<TuneSpan> {
    Vec::new()
}

/// Fills the roles of every passage.
pub fn name_roles(
    _score: &Score,
    _doublings: &[Doubling],
    _tune: &[TuneSpan],
    _passages: &mut [PassageFound],
) {
}
