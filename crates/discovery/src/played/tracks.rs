//! Tracks that one chair plays: `VN1 leg`, `VN1 spicc`, `VN1 trem`.

use ripieno_instruments::{Query, recognise};
use ripieno_music::{Score, Track};

/// Tracks that are one chair by their names, each with what its name says of its playing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MergeFound {
    /// Stem of the chair's id, such as `violins-1`.
    pub chair: String,
    /// Indices in [`Score::tracks`], with the articulations and colours that their names say, in the words of patch cards.
    pub tracks: Vec<(usize, Vec<String>)>,
}

/// What is known of a track by its name.
pub(crate) fn known(track: &Track) -> Option<ripieno_instruments::Guess> {
    recognise(&Query {
        name: &track.name,
        abbreviation: track.abbreviation.as_deref(),
        sound: track.instrument.as_deref(),
        program: track.program,
        percussion: track.percussion,
        transposition: None,
        sung: track.is_sung(),
        compass: track.compass(),
    })
}

/// Tracks of one chair: their names mean the same players, and all of them but one at the most say how they play.
pub fn merges(score: &Score) -> Vec<MergeFound> {
    let mut found: Vec<MergeFound> = Vec::new();
    for (i, track) in score.tracks.iter().enumerate() {
        if track.content.notes.is_empty() || track.name.trim().is_empty() {
            continue;
        }
        let Some(guess) = known(track) else { continue };
        let one = (i, guess.articulations.clone());
        match found.iter_mut().find(|f| f.chair == guess.chair) {
            Some(group) => group.tracks.push(one),
            None => found.push(MergeFound { chair: guess.chair, tracks: vec![one] }),
        }
    }
    found.retain(|f| f.tracks.len() > 1 && f.tracks.iter().filter(|t| t.1.is_empty()).count() <= 1);
    found
}
