//! What each track does, and who has the tune.
//!
//! * [`tune`]: who has the melody, from beat to beat.
//! * [`name_roles`]: tune, counter-melody, bass, held chord, figure, punctuation or silence, by track and passage.

mod chords;
mod evidence;
mod lines;
mod name;
mod prints;
mod sums;
mod themes;
mod trees;
mod tune;

use crate::survey::Survey;
pub(crate) use evidence::Layout;
use rayon::prelude::*;
use ripieno_music::{Doubling, PassageFound, Score, TuneSpan};

/// Who has the tune, from place to place: in order, without overlaps, one at any time that has music.
pub fn tune(score: &Score, _doublings: &[Doubling]) -> Vec<TuneSpan> {
    let survey = Survey::of(score);
    tune_in(lay_out(score, &survey).as_ref(), &survey)
}

/// A score laid out for the search for its tune; nothing of one without bars or tracks.
pub(crate) fn lay_out(score: &Score, survey: &Survey) -> Option<Layout> {
    (survey.bars > 0 && !survey.cells.is_empty()).then(|| Layout::of(score, survey))
}

/// As [`tune`]. Who doubles whom is worked out beat by beat here, since a doubling may be shorter than those that are listed.
pub(crate) fn tune_in(layout: Option<&Layout>, survey: &Survey) -> Vec<TuneSpan> {
    let Some(layout) = layout else { return Vec::new() };
    let way = tune::way(layout);
    let music: Vec<bool> =
        (0..survey.bars).map(|bar| survey.cells.iter().any(|track| track[bar].plays())).collect();
    let edges = layout.units.exact.clone();
    tune::spans(layout, &way, &edges, &music)
}

/// What speaks for each track in each unit of about a beat, for the program that weighs it (`tests/cross/tune.py --fit`).
#[derive(Clone, Debug)]
pub struct Weighing {
    /// Quarters at which units begin, and the end.
    pub edges: Vec<f64>,
    /// The bar of each unit, by index.
    pub bars: Vec<usize>,
    /// By unit, track and number.
    pub numbers: Vec<f64>,
}

/// See [`Weighing`].
pub fn weighing(score: &Score) -> Weighing {
    let survey = Survey::of(score);
    let layout = Layout::of(score, &survey);
    let mut numbers = Vec::new();
    for unit in 0..layout.units.count() {
        numbers.extend(layout.numbers(unit).into_iter().flatten());
    }
    Weighing { edges: layout.units.edges.clone(), bars: layout.units.bar.clone(), numbers }
}

/// Fills the roles of every passage: one for each track of the score, in its order.
pub fn name_roles(score: &Score, doublings: &[Doubling], tune: &[TuneSpan], passages: &mut [PassageFound]) {
    name_roles_in(score, doublings, tune, passages, (&Survey::of(score), None));
}

/// As [`name_roles`], with what was laid out of the score already.
pub(crate) fn name_roles_in(
    score: &Score,
    doublings: &[Doubling],
    tune: &[TuneSpan],
    passages: &mut [PassageFound],
    (survey, layout): (&Survey, Option<&Layout>),
) {
    let own;
    let (lines, prints) = match layout {
        Some(layout) => (&layout.lines, &layout.prints),
        None => {
            let lines = lines::lines(score);
            let prints = prints::Prints::of(&lines, &lines::Units::of(&score.timeline));
            own = (lines, prints);
            (&own.0, &own.1)
        }
    };
    let reader = name::Reader { score, survey, lines, prints, doublings, tune };
    let first = score.timeline.bars.first().map_or(0, |b| b.number);
    passages.par_iter_mut().for_each(|passage| {
        let index = |number: i32| usize::try_from(number.saturating_sub(first)).unwrap_or(0);
        let (from, to) = (index(passage.from_bar), (index(passage.to_bar) + 1).min(survey.bars));
        passage.roles = reader.roles(from.min(to), to);
        chords::number(score, &mut passage.roles, lines, from.min(to), to);
    });
}
