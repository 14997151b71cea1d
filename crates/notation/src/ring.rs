//! `l.v. sempre`: where note after note rings on, a word says it once and the ties that lead nowhere are left out.

use crate::directions::{Said, Spot};
use crate::piece::Player;
use ripieno_music::{Mark, Note};
use ripieno_units::Beats;

/// From so many attacks on a word is read more easily than signs (common practice, no source).
const WORTH_A_WORD: usize = 4;

/// The stretches of a player's music in which everything rings.
#[derive(Default)]
pub(crate) struct Ringing(Vec<(Beats, Beats)>);

impl Ringing {
    /// Finds them: attacks one after the other of which every note has the sign.
    pub fn of(player: &Player<'_>) -> Self {
        let mut attacks: Vec<(Beats, bool)> =
            player.part.content.notes.iter().map(|n| (n.at, n.marks.has(Mark::LetRing))).collect();
        attacks.sort();
        let all: Vec<(Beats, bool)> = attacks
            .chunk_by(|a, b| a.0 == b.0)
            .map(|chord| (chord[0].0, chord.iter().all(|n| n.1)))
            .collect();
        let runs = all.chunk_by(|a, b| a.1 == b.1).filter(|run| run[0].1 && run.len() >= WORTH_A_WORD);
        Self(runs.map(|run| (run[0].0, run[run.len() - 1].0)).collect())
    }

    /// Whether a word says it of this note.
    pub fn says(&self, note: &Note) -> bool {
        let run = self.0.partition_point(|(from, _)| *from <= note.at).checked_sub(1).map(|i| self.0[i]);
        run.is_some_and(|(_, last)| note.at <= last)
    }

    /// The words: one where such a stretch begins, one at the first attack after it.
    pub fn words(&self, player: &Player<'_>, spots: &mut Vec<Spot>) {
        let mut add = |at: Beats, text: &str| {
            spots.push(Spot { at, staff: 1, said: Said::Words(text.into()), ends: false, common: false });
        };
        for (from, last) in &self.0 {
            add(*from, "l.v. sempre");
            if let Some(next) = player.part.content.notes.iter().map(|n| n.at).filter(|at| at > last).min() {
                add(next, "non l.v.");
            }
        }
    }
}
