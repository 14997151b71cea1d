//! Where the music changes.
//!
//! Marks of the source make passages first: rehearsal marks, double bars, markers; then a new key, metre or tempo that
//! lasts, and the end of a general pause. Between them, a passage also begins where the sound changes for good:
//! who plays, how high, how densely, in which harmony. See [`novelty`] for how that is found, and [`names`] for what it is called.

mod likeness;
mod marks;
mod names;
mod novelty;
mod reasons;

use crate::survey::Survey;
use ripieno_music::{PassageFound, Score};

/// A barline at which a passage begins.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Seam {
    /// Index of the bar that begins there.
    pub bar: usize,
    /// The source has a mark there: a letter, a marker or a double bar.
    pub marked: bool,
    /// The source's own name for what begins.
    pub name: Option<String>,
    /// Why, in words; found reasons are added later.
    pub because: Vec<String>,
}

/// The passages of a score, without roles: in order, from the first bar to the last. A pick-up belongs to the first.
pub fn find(score: &Score) -> Vec<PassageFound> {
    find_in(score, &Survey::of(score))
}

pub(crate) fn find_in(score: &Score, survey: &Survey) -> Vec<PassageFound> {
    let bars = &score.timeline.bars;
    let (Some(first), Some(last)) = (bars.first(), bars.last()) else { return Vec::new() };
    let mut seams = marks::seams(score, survey);
    novelty::add(score, survey, &mut seams);
    reasons::add(score, survey, &mut seams);
    let names = names::names(score, survey, &seams);
    let ends = seams.iter().skip(1).map(|s| bars[s.bar - 1].number).chain([last.number]);
    let mut passages: Vec<PassageFound> = seams
        .iter()
        .zip(ends)
        .zip(names)
        .map(|((seam, to_bar), name)| PassageFound {
            name,
            from_bar: bars[seam.bar].number,
            to_bar,
            because: seam.because.clone(),
            roles: Vec::new(),
        })
        .collect();
    if let Some(passage) = passages.first_mut() {
        passage.from_bar = first.number;
    }
    passages
}
