//! What each track does, and who has the tune.

mod evidence;
mod lines;
mod prints;
mod themes;

use crate::survey::Survey;
use ripieno_music::{Doubling, PassageFound, Score, TuneSpan};

/// Who has the tune, from place to place.
pub fn tune(_score: &Score, _doublings: &[Doubling]) -> Vec<TuneSpan> {
    Vec::new()
}

/// What speaks for each track, for the program that weighs it.
pub fn dump(score: &Score, path: Option<&[usize]>) -> (Vec<f64>, Vec<usize>, Vec<f64>) {
    let survey = Survey::of(score);
    let mut layout = evidence::Layout::of(score, &survey);
    if let Some(path) = path {
        let unit_of = layout.units_of_tones();
        let memory = layout.themes.memory(&layout.lines, |track, tone| {
            unit_of[track].get(tone).is_some_and(|u| layout.same_line(layout.units.bar[*u], path[*u], track))
        });
        layout.remember(&memory);
    }
    let mut rows = Vec::new();
    for u in 0..layout.units.count() {
        for t in 0..layout.tracks {
            rows.extend(layout.features(u, t));
            rows.extend(layout.traits(t));
        }
    }
    (layout.units.edges.clone(), layout.units.bar.clone(), rows)
}

/// Fills the roles of every passage.
pub fn name_roles(
    _score: &Score,
    _doublings: &[Doubling],
    _tune: &[TuneSpan],
    _passages: &mut [PassageFound],
) {
}
