//! Who plays with whom.

use ripieno_music::{Doubling, Score};

/// The doublings of a score, in order of bar, then track.
pub fn find(_score: &Score) -> Vec<Doubling> {
    Vec::new()
}
