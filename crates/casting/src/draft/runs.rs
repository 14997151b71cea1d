//! Where one track has exactly the notes of another, and where a cell may change its source without harm.

use super::state::{Own, States};
use ripieno_music::{Note, Score, Timeline};
use ripieno_plan::{Kept, PlaceWord};
use ripieno_units::Beats;
use std::collections::BTreeSet;

/// A stretch of time in which every chord of two tracks is the same.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Run {
    /// The last onset before it at which they differ.
    pub(super) after: Option<Beats>,
    /// Its first and last onset.
    pub(super) first: Beats,
    pub(super) last: Beats,
    /// The first onset after it at which they differ.
    pub(super) before: Option<Beats>,
}

/// What is compared: one track with another at a distance.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Pair {
    /// Index of the track that follows.
    pub(super) track: usize,
    /// Index of the track that leads.
    pub(super) of: usize,
    /// From the leader to the follower.
    pub(super) semitones: i16,
}

/// The runs in which one track is the other, moved. `states` also compares what stands around the notes, `blocked` has
/// onsets that are to count as different. Text is compared only if the chair sings: a `col` gives it to nobody else.
pub(super) fn runs(
    score: &Score,
    pair: Pair,
    sings: bool,
    (states, own): (&States, Own),
    blocked: Option<&BTreeSet<Beats>>,
) -> Vec<Run> {
    let (mine, theirs) = (&score.tracks[pair.track].content.notes, &score.tracks[pair.of].content.notes);
    let mut runs: Vec<Run> = Vec::new();
    let (mut i, mut j) = (0, 0);
    let mut parted: Option<Beats> = None;
    let mut open: Option<Run> = None;
    while i < mine.len() || j < theirs.len() {
        let at = match (mine.get(i), theirs.get(j)) {
            (Some(a), Some(b)) => a.at.min(b.at),
            (Some(one), None) | (None, Some(one)) => one.at,
            (None, None) => break,
        };
        let chord = |notes: &[Note], from: usize| notes[from..].iter().take_while(|n| n.at == at).count();
        let (count, their_count) = (chord(mine, i), chord(theirs, j));
        let rhythm = own.kept == Some(Kept::Rhythm);
        if rhythm && count == 0 {
            j += their_count;
            continue;
        }
        let alike = (rhythm || count == their_count)
            && blocked.is_none_or(|b| !b.contains(&at))
            && if rhythm {
                among(&mine[i..i + count], &theirs[j..j + their_count], pair.semitones)
            } else {
                same(
                    &mine[i..i + count],
                    &theirs[j..j + their_count],
                    pair.semitones,
                    sings,
                    own.kept.is_some(),
                )
            }
            && states.alike(pair, i, j, own);
        if alike {
            let run = open.get_or_insert(Run { after: parted, first: at, last: at, before: None });
            run.last = at;
        } else {
            runs.extend(open.take().map(|run| Run { before: Some(at), ..run }));
            parted = Some(at);
        }
        i += count;
        j += their_count;
    }
    runs.extend(open);
    runs
}

/// Are these pitches all among theirs?
fn among(mine: &[Note], theirs: &[Note], semitones: i16) -> bool {
    let has = |a: &Note, b: &Note| match (a.pitch(), b.pitch()) {
        (Some(a), Some(b)) => a == b.up(semitones),
        _ => a.kind == b.kind,
    };
    mine.iter().all(|a| theirs.iter().any(|b| has(a, b)))
}

fn same(mine: &[Note], theirs: &[Note], semitones: i16, sings: bool, own_signs: bool) -> bool {
    let order = |n: &&Note| n.pitch();
    let mut mine: Vec<&Note> = mine.iter().collect();
    let mut theirs: Vec<&Note> = theirs.iter().collect();
    mine.sort_by_key(order);
    theirs.sort_by_key(order);
    mine.iter().zip(theirs).all(|(a, b)| {
        // The cheap test first: most chords of two tracks differ.
        let moved_pitch = b.pitch().map(|p| p.up(semitones));
        if (a.length, a.pitch()) != (b.length, moved_pitch) {
            return false;
        }
        if own_signs {
            return a.pitch().is_some() || a.kind == b.kind;
        }
        let mut moved = b.clone().moved(semitones);
        if !sings {
            moved.syllable = None;
        }
        a.plays_as(&moved)
    })
}

/// The places at which a track may change its source: no note is held over them, and no slur.
pub(super) struct Seams<'s> {
    notes: &'s [Note],
    /// For each note, the latest end of it and of all before it.
    reached: Vec<Beats>,
}

impl<'s> Seams<'s> {
    pub(super) fn new(notes: &'s [Note]) -> Self {
        let mut latest: Option<Beats> = None;
        let reached = notes
            .iter()
            .map(|n| {
                let end = latest.map_or(n.end(), |l| l.max(n.end()));
                latest = Some(end);
                end
            })
            .collect();
        Self { notes, reached }
    }

    /// `own_signs`: the chair's own slurs go on over it.
    pub(super) fn is_seam(&self, at: Beats, own_signs: bool) -> bool {
        let next = self.notes.partition_point(|n| n.at < at);
        let begins = self.notes.get(next).map(|n| n.at);
        let slurred =
            !own_signs && self.notes[next..].iter().take_while(|n| Some(n.at) == begins).any(|n| n.slurred);
        !slurred && next.checked_sub(1).is_none_or(|last| self.reached[last] <= at)
    }

    /// The notes that begin in `from..to`.
    pub(super) fn notes(&self, from: Beats, to: Beats) -> std::ops::Range<usize> {
        let first = self.notes.partition_point(|n| n.at < from);
        let last = self.notes.partition_point(|n| n.at < to);
        first..last.max(first)
    }

    /// Parts runs of this track at one of its onsets, as [`runs`] does where that is blocked.
    pub(super) fn part(&self, runs: &mut Vec<Run>, at: Beats) {
        let place = runs.partition_point(|r| r.last < at);
        let Some(run) = runs.get(place).copied().filter(|r| r.first <= at) else { return };
        let (begins, next) =
            (self.notes.partition_point(|n| n.at < at), self.notes.partition_point(|n| n.at <= at));
        if begins == next {
            return;
        }
        let last = begins.checked_sub(1).map(|i| self.notes[i].at).filter(|last| *last >= run.first);
        let first = self.notes.get(next).map(|n| n.at).filter(|first| *first <= run.last);
        let early = last.map(|last| Run { last, before: Some(at), ..run });
        let late = first.map(|first| Run { first, after: Some(at), ..run });
        runs.splice(place..=place, early.into_iter().chain(late));
    }

    /// What is left of a run without the time `from..to`.
    pub(super) fn without(&self, run: Run, (from, to): (Beats, Beats)) -> impl Iterator<Item = Run> {
        let apart = run.last < from || to <= run.first;
        // Where nothing of the run lies within, its ends may still reach into that time.
        let last = if run.last < from { Some(run.last) } else { self.onsets(run.first, from).next_back() };
        let early =
            last.map(|last| Run { last, before: Some(run.before.map_or(from, |b| b.min(from))), ..run });
        let just_before = to - Beats::new(1, 1024);
        let first = if to <= run.first {
            Some(run.first)
        } else {
            self.onsets(to, run.last).next().or((to <= run.last).then_some(run.last))
        };
        let late = first.map(|first| Run {
            first,
            after: Some(run.after.map_or(just_before, |a| a.max(just_before))),
            ..run
        });
        let parts = match apart {
            true if run.last < from => [early, None],
            true => [None, late],
            false => [early, late],
        };
        parts.into_iter().flatten()
    }

    /// The onsets in `from..to`.
    pub(super) fn onsets(&self, from: Beats, to: Beats) -> impl DoubleEndedIterator<Item = Beats> + '_ {
        self.notes[self.notes(from, to)].chunk_by(|a, b| a.at == b.at).map(|c| c[0].at)
    }
}

/// A place as a cell says it, if it can be said in two decimals of a beat.
pub(super) fn place(timeline: &Timeline, at: Beats) -> Option<PlaceWord> {
    let bar = timeline.bar_at(at);
    if bar.number < 0 || at < bar.at || at >= bar.at + bar.length {
        return None;
    }
    if at == bar.at {
        return Some(PlaceWord { bar: bar.number, beat: None });
    }
    let beat = timeline.place(at).beat;
    let said = (beat * 100.0).round() / 100.0;
    (timeline.at(bar.number, said) == Some(at)).then_some(PlaceWord { bar: bar.number, beat: Some(said) })
}

/// Barlines in `after < at <= until`, in order.
pub(super) fn barlines(
    timeline: &Timeline,
    after: Beats,
    until: Beats,
) -> impl DoubleEndedIterator<Item = Beats> + '_ {
    let first = timeline.bars.partition_point(|b| b.at <= after);
    let last = timeline.bars.partition_point(|b| b.at <= until);
    timeline.bars[first..last.max(first)].iter().map(|b| b.at)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use ripieno_music::{Metre, Track};

    proptest! {
        /// Parted onset by onset, or sought anew with all of them blocked: the same runs.
        #[test]
        fn parted_as_if_sought_anew(
            keys in prop::collection::vec((0_i64..60, 60_i16..62, 0_i64..60, 60_i16..62), 1..60),
            blocked in prop::collection::vec(0_usize..60, 0..12),
            kept in 0_usize..3,
        ) {
            let track = |notes: Vec<(i64, i16)>| {
                let mut track = Track::default();
                track.content.notes =
                    notes.iter().map(|(at, key)| Note::plain(Beats::new(*at, 3), Beats::new(1, 3), *key)).collect();
                track.content.sort();
                track
            };
            let same = keys.iter().map(|k| (k.0, k.1)).collect();
            let other = keys.iter().map(|k| if k.2 % 3 > 0 { (k.0, k.1) } else { (k.2, k.3) }).collect();
            let score = Score {
                timeline: Timeline::regular(8, Metre { beats: 3, unit: 4 }, 90.0),
                tracks: vec![track(same), track(other)],
                title: None,
                composer: None,
                warnings: Vec::new(),
            };
            let own = Own { kept: [None, Some(Kept::Marks), Some(Kept::Rhythm)][kept], ..Own::default() };
            let states = States::of(&score);
            let pair = Pair { track: 0, of: 1, semitones: 0 };
            let seams = Seams::new(&score.tracks[0].content.notes);
            let mut parted = runs(&score, pair, false, (&states, own), None);
            let mut all = BTreeSet::new();
            for i in blocked {
                let at = score.tracks[0].content.notes[i % keys.len()].at;
                all.insert(at);
                seams.part(&mut parted, at);
            }
            prop_assert_eq!(parted, runs(&score, pair, false, (&states, own), Some(&all)));
        }
    }
}
