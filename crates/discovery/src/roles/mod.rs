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
use evidence::Layout;
use ripieno_music::{Doubling, PassageFound, Score, TuneSpan};

/// Who has the tune, from place to place: in order, without overlaps, one at any time that has music.
pub fn tune(score: &Score, doublings: &[Doubling]) -> Vec<TuneSpan> {
    tune_in(score, doublings, &Survey::of(score))
}

/// As [`tune`]. Who doubles whom is worked out beat by beat here, since a doubling may be shorter than those that are listed.
pub(crate) fn tune_in(score: &Score, _doublings: &[Doubling], survey: &Survey) -> Vec<TuneSpan> {
    if survey.bars == 0 || survey.cells.is_empty() {
        return Vec::new();
    }
    let layout = Layout::of(score, survey);
    let way = tune::way(&layout);
    let music: Vec<bool> =
        (0..survey.bars).map(|bar| survey.cells.iter().any(|track| track[bar].plays())).collect();
    let edges = layout.units.exact.clone();
    tune::spans(&layout, &way, &edges, &music)
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
    name_roles_in(score, doublings, tune, passages, &Survey::of(score));
}

/// As [`name_roles`].
pub(crate) fn name_roles_in(
    score: &Score,
    doublings: &[Doubling],
    tune: &[TuneSpan],
    passages: &mut [PassageFound],
    survey: &Survey,
) {
    let lines = lines::lines(score);
    let units = lines::Units::of(&score.timeline);
    let prints = prints::Prints::of(&lines, &units);
    let reader = name::Reader { score, survey, lines: &lines, prints: &prints, doublings, tune };
    let first = score.timeline.bars.first().map_or(0, |b| b.number);
    for passage in passages {
        let index = |number: i32| usize::try_from(number.saturating_sub(first)).unwrap_or(0);
        let (from, to) = (index(passage.from_bar), (index(passage.to_bar) + 1).min(survey.bars));
        passage.roles = reader.roles(from.min(to), to);
        chords::number(score, &mut passage.roles, &lines, from.min(to), to);
    }
}
