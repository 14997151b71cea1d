//! Who plays with whom.
//!
//! # What counts
//! Two tracks, one interval of 0, 12, 24 or 36 semitones either way. A note of the one (the chair) is *shared* if the other
//! (the leader) begins the same pitch at that interval at the same time; chords count note by note, so that the leader may
//! be one voice of several. Notes of one pitch and onset within a track count once; notes without pitch do not count.
//!
//! A *stretch* of bars is a doubling if
//! * it has at least 4 shared notes of at least 3 pitches, and they are at least 0.9 of the chair's notes in it;
//! * no bar in it parts the two: a bar where the chair has fewer shared notes than others, where it is silent while the
//!   leader sounds (a note of the chair that is held into the bar is no silence), or a second bar of silence of both;
//! * its first and its last bar belong to it: two thirds of the chair's notes there are shared, or the half that lies
//!   towards the stretch is, with two notes at least (it starts or stops inside that bar).
//!
//! Of all such stretches the one with the most shared notes is taken first, then what is left on either side of it. The
//! stretch runs from the bar of the first shared onset to the bar of the last; a bar that both fill to its end with a
//! shared note held from before belongs to it too.
//!
//! A simplified chair (sustained, without ornaments, in a slower rhythm) has fewer notes than its leader: only the chair's
//! own notes are counted. So thirds, sixths and a mere common rhythm are no doublings: their pitches differ.

mod kind;
mod leaders;
mod lines;
mod stretch;

use crate::survey::Survey;
use lines::Lines;
use ripieno_music::{Doubling, Score};
use stretch::Stretch;

/// The doublings of a score, in order of bar, then track.
///
/// Of two that have the same notes the one with more of them leads, else the one that is sung, else the one that sustains,
/// else the one that stands higher in the score; of several that move together all name the same leader, and that is a line before it is a chord.
pub fn find(score: &Score) -> Vec<Doubling> {
    find_in(score, &Survey::of(score))
}

pub(crate) fn find_in(score: &Score, survey: &Survey) -> Vec<Doubling> {
    if score.timeline.bars.is_empty() {
        return Vec::new();
    }
    let lines = Lines::new(score, survey);
    let mut found = leaders::gather(&lines, stretch::all(&lines));
    found.sort_by_key(|s| (s.from, s.chair, s.to, s.of, s.semitones));
    found.iter().map(|s| told(score, &lines, s)).collect()
}

fn told(score: &Score, lines: &Lines, stretch: &Stretch) -> Doubling {
    let (exact, simplified) = kind::of(score, lines, stretch);
    Doubling {
        track: stretch.chair,
        of: stretch.of,
        semitones: stretch.semitones,
        from_bar: lines.numbers[stretch.from],
        to_bar: lines.numbers[stretch.to],
        share: stretch.share(),
        exact,
        simplified,
        coincides: stretch.coincides(lines),
    }
}

#[cfg(test)]
mod tests;
