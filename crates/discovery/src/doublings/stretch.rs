//! The stretches of bars in which one track has the notes of another.

use super::lines::{Line, Lines};

/// Shared notes of a doubling, at least (contract: "at least 4 shared notes of at least 3 pitches, share at least 0.9").
const LEAST_NOTES: usize = 4;
/// Pitches among them, at least: a pedal point matches everything.
const LEAST_PITCHES: usize = 3;
/// So many shared notes outweigh one that is not: a share of 0.9.
const SHARED_FOR_ONE: usize = 9;
/// Octaves either way that are still a doubling (piccolo to double bass).
const MOST_OCTAVES: i32 = 3;
/// Bars of silence of both that do not part them: a general pause.
const BARS_OF_SILENCE: usize = 1;
/// Longest row of bars that is searched whole; more is searched in pieces, unless all of it is one stretch.
const LONGEST_SEARCH: usize = 512;
/// Notes in a row that an edge bar needs where less than two thirds of it are shared: one may be chance.
const LEAST_AT_EDGE: usize = 2;

/// So many notes of the one to each of the other, on the mean, make the other a voice of its chords.
const CHORD: f64 = 2.5;

/// More new pitches of the one than this to each note of the other make the other a part of its harmony: a bass under a broken
/// chord.
const FIGURE: usize = 4;

/// One track has the notes of another in some bars.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Stretch {
    /// Index of the track that has notes of the other.
    pub(super) chair: usize,
    /// Index of the other.
    pub(super) of: usize,
    /// Sounding, from the other to the chair.
    pub(super) semitones: i16,
    /// Indices of the first and the last bar.
    pub(super) from: usize,
    pub(super) to: usize,
    /// How many of the chair's notes are shared, and how many it has.
    pub(super) shared: usize,
    pub(super) notes: usize,
}

impl Stretch {
    pub(super) fn share(&self) -> f64 {
        self.shared as f64 / self.notes.max(1) as f64
    }

    /// Is the chair one voice of the chords that the other has in these bars, or has it a note here and there of a quicker figure?
    /// Repeated notes are no figure.
    pub(super) fn coincides(&self, lines: &Lines) -> bool {
        let (chair, of) = (&lines.lines[self.chair], &lines.lines[self.of]);
        let (from, to) = (self.from, self.to);
        of.thickness(from, to) >= CHORD * chair.thickness(from, to)
            || of.times(from, to).1 > FIGURE * chair.times(from, to).0
    }
}

/// Two tracks at one interval: indices of the tones that meet, in order of time.
pub(super) struct Meeting<'l> {
    lines: &'l Lines,
    /// The one whose notes are counted, and the other.
    chair: usize,
    of: usize,
    semitones: i16,
    /// Tone of the chair, tone of the other.
    pairs: Vec<(usize, usize)>,
}

impl<'l> Meeting<'l> {
    /// The same seen from the other side.
    fn turned(&self) -> Self {
        Self {
            lines: self.lines,
            chair: self.of,
            of: self.chair,
            semitones: -self.semitones,
            pairs: self.pairs.iter().map(|(a, b)| (*b, *a)).collect(),
        }
    }

    /// The meeting of two tracks at an interval.
    pub(super) fn between(lines: &'l Lines, chair: usize, of: usize, semitones: i16) -> Self {
        let (mine, theirs) = (&lines.lines[chair].tones, &lines.lines[of].tones);
        let shift = i32::from(semitones) * 100;
        let mut pairs = Vec::new();
        let mut j = 0;
        for (i, tone) in mine.iter().enumerate() {
            let wanted = (tone.onset, tone.pitch - shift);
            while theirs.get(j).is_some_and(|t| (t.onset, t.pitch) < wanted) {
                j += 1;
            }
            if theirs.get(j).is_some_and(|t| (t.onset, t.pitch) == wanted) {
                pairs.push((i, j));
            }
        }
        Self { lines, chair, of, semitones, pairs }
    }

    fn line(&self) -> &'l Line {
        &self.lines.lines[self.chair]
    }

    fn other(&self) -> &'l Line {
        &self.lines.lines[self.of]
    }

    fn bar(&self, pair: usize) -> usize {
        self.line().tones[self.pairs[pair].0].bar
    }

    /// The pairs in bars `from..=to`.
    fn within(&self, from: usize, to: usize) -> &[(usize, usize)] {
        let tones = &self.line().tones;
        let first = self.pairs.partition_point(|p| tones[p.0].bar < from);
        let last = self.pairs.partition_point(|p| tones[p.0].bar <= to);
        &self.pairs[first..last.max(first)]
    }

    /// Are there notes and pitches enough, and is the share?
    fn stands(&self, pairs: &[(usize, usize)], notes: usize) -> bool {
        if pairs.len() < LEAST_NOTES || pairs.len() < SHARED_FOR_ONE * (notes - pairs.len().min(notes)) {
            return false;
        }
        self.enough_pitches(pairs)
    }

    fn enough_pitches(&self, pairs: &[(usize, usize)]) -> bool {
        let mut seen = [0; LEAST_PITCHES];
        let mut count = 0;
        for (tone, _) in pairs {
            let pitch = self.line().tones[*tone].pitch;
            if !seen[..count].contains(&pitch) {
                seen[count] = pitch;
                count += 1;
                if count == LEAST_PITCHES {
                    return true;
                }
            }
        }
        false
    }

    /// The stretch over these bars, without those at its ends in which nothing is shared; `None` if it is no doubling.
    pub(super) fn over(&self, from: usize, to: usize) -> Option<Stretch> {
        let pairs = self.within(from, to);
        let (from, to) = (
            self.line().tones[pairs.first()?.0].bar,
            self.held_on(self.line().tones[pairs.last()?.0].bar, to),
        );
        let notes = self.line().within(from, to).len();
        self.stands(pairs, notes).then_some(Stretch {
            chair: self.chair,
            of: self.of,
            semitones: self.semitones,
            from,
            to,
            shared: pairs.len(),
            notes,
        })
    }

    /// The last bar, up to `most`, that both fill with a shared note held from the bar `last`.
    fn held_on(&self, last: usize, most: usize) -> usize {
        let mut bar = last;
        while bar < most && self.filled(last, bar + 1) {
            bar += 1;
        }
        bar
    }

    /// Nothing begins in the bar, and a note that both share sounds to its end.
    fn filled(&self, last: usize, bar: usize) -> bool {
        let (line, other) = (self.line(), self.other());
        let Some(end) = self.lines.bar_ends.get(bar) else { return false };
        line.count(bar) == 0
            && other.count(bar) == 0
            && self
                .within(last, last)
                .iter()
                .any(|(a, b)| line.tones[*a].end.min(other.tones[*b].end) >= *end)
    }

    /// All stretches, from the chair's side.
    fn stretches(&self, found: &mut Vec<Stretch>) {
        let mut bars: Vec<Shares> = Vec::new();
        let mut pair = 0;
        while pair < self.pairs.len() {
            let bar = self.bar(pair);
            let mut next = pair;
            while next < self.pairs.len() && self.bar(next) == bar {
                next += 1;
            }
            let notes = self.line().count(bar);
            let this =
                Shares { bar, first: pair, shared: next - pair, others: notes - (next - pair).min(notes) };
            if bars.last().is_some_and(|before| self.parted(before.bar, bar)) {
                self.search(&bars, found);
                bars.clear();
            }
            if this.others > this.shared {
                self.search(&bars, found);
                bars.clear();
            } else {
                bars.push(this);
            }
            pair = next;
        }
        self.search(&bars, found);
    }

    /// Does anything between two bars part the tracks?
    fn parted(&self, before: usize, after: usize) -> bool {
        let (line, other) = (self.line(), self.other());
        let mut silent = 0;
        for bar in before + 1..after {
            if line.count(bar) > 0 {
                return true;
            }
            if line.sounds[bar] {
                silent = 0;
            } else if other.sounds[bar] {
                return true;
            } else {
                silent += 1;
                if silent > BARS_OF_SILENCE {
                    return true;
                }
            }
        }
        false
    }

    /// The stretches in a row of bars that nothing parts.
    fn search(&self, bars: &[Shares], found: &mut Vec<Stretch>) {
        let mut rows = vec![bars];
        while let Some(row) = rows.pop() {
            if row.iter().map(|b| b.shared).sum::<usize>() < LEAST_NOTES {
                continue;
            }
            let (shared, others) = total(row);
            let whole = shared >= SHARED_FOR_ONE * others
                && self.opens(&row[0])
                && self.closes(&row[row.len() - 1])
                && self.enough_pitches(self.of_row(row));
            if !whole && row.len() > LONGEST_SEARCH {
                rows.extend(row.chunks(LONGEST_SEARCH).rev());
                continue;
            }
            let best = if whole { Some((0, row.len() - 1)) } else { self.best(row) };
            let Some((first, last)) = best else { continue };
            let part = &row[first..=last];
            let (shared, others) = total(part);
            let to = part[part.len() - 1].bar;
            found.push(Stretch {
                chair: self.chair,
                of: self.of,
                semitones: self.semitones,
                from: part[0].bar,
                to: self.held_on(to, self.lines.numbers.len() - 1),
                shared,
                notes: shared + others,
            });
            rows.push(&row[..first]);
            rows.push(&row[last + 1..]);
        }
    }

    fn of_row(&self, row: &[Shares]) -> &[(usize, usize)] {
        let last = &row[row.len() - 1];
        &self.pairs[row[0].first..last.first + last.shared]
    }

    /// The part of a row that is a doubling and has the most shared notes; of equal ones the shortest, then the first.
    fn best(&self, row: &[Shares]) -> Option<(usize, usize)> {
        let mut best: Option<(usize, usize)> = None;
        let mut most = LEAST_NOTES - 1;
        for first in 0..row.len() {
            if !self.opens(&row[first]) {
                continue;
            }
            let (mut shared, mut others) = (0, 0);
            for (last, bar) in row.iter().enumerate().skip(first) {
                shared += bar.shared;
                others += bar.others;
                let better =
                    shared > most || shared == most && best.is_some_and(|(f, l)| last - first < l - f);
                if better
                    && shared >= SHARED_FOR_ONE * others
                    && self.closes(bar)
                    && self.enough_pitches(self.of_row(&row[first..=last]))
                {
                    (best, most) = (Some((first, last)), shared);
                }
            }
        }
        best
    }

    /// May a stretch begin with this bar?
    fn opens(&self, bar: &Shares) -> bool {
        self.mostly(bar) || {
            let end = self.line().first[bar.bar + 1];
            let in_row = (0..bar.shared).rev().zip((0..end).rev());
            let run = in_row.take_while(|(i, tone)| self.pairs[bar.first + i].0 == *tone).count();
            enough_at_edge(run, bar)
        }
    }

    /// May a stretch end with this bar?
    fn closes(&self, bar: &Shares) -> bool {
        self.mostly(bar) || {
            let start = self.line().first[bar.bar];
            let run = (0..bar.shared).take_while(|i| self.pairs[bar.first + i].0 == start + i).count();
            enough_at_edge(run, bar)
        }
    }

    fn mostly(&self, bar: &Shares) -> bool {
        bar.shared >= 2 * bar.others
    }
}

fn enough_at_edge(run: usize, bar: &Shares) -> bool {
    run >= LEAST_AT_EDGE && 2 * run >= bar.shared + bar.others
}

fn total(row: &[Shares]) -> (usize, usize) {
    row.iter().fold((0, 0), |(s, o), bar| (s + bar.shared, o + bar.others))
}

/// What one bar has of both kinds of note.
#[derive(Clone, Copy, Debug)]
struct Shares {
    bar: usize,
    /// Index of its first pair.
    first: usize,
    shared: usize,
    others: usize,
}

/// Every stretch of every two tracks: for any two, those that cover bars of their own, the richest first.
pub(super) fn all(lines: &Lines) -> Vec<Stretch> {
    let tracks = lines.lines.len();
    let kinds = 2 * MOST_OCTAVES as usize + 1;
    let mut all = Vec::new();
    let mut meeting: Vec<Vec<(usize, usize)>> = vec![Vec::new(); tracks * kinds];
    for (one, line) in lines.lines.iter().enumerate() {
        meeting.iter_mut().for_each(Vec::clear);
        for (index, tone) in line.tones.iter().enumerate() {
            let here = &lines.heard[lines.heard_from[tone.onset]..lines.heard_from[tone.onset + 1]];
            let later = here.partition_point(|(track, _)| *track <= one);
            for (track, theirs) in &here[later..] {
                let apart = tone.pitch - lines.lines[*track].tones[*theirs].pitch;
                let octaves = apart / 1200;
                if apart % 1200 == 0 && octaves.abs() <= MOST_OCTAVES {
                    meeting[track * kinds + (octaves + MOST_OCTAVES) as usize].push((index, *theirs));
                }
            }
        }
        for other in one + 1..tracks {
            let mut found = Vec::new();
            for kind in 0..kinds {
                let pairs = &mut meeting[other * kinds + kind];
                if pairs.len() < LEAST_NOTES {
                    continue;
                }
                let semitones = (kind as i16 - MOST_OCTAVES as i16) * 12;
                let pairs = std::mem::take(pairs);
                let meeting = Meeting { lines, chair: one, of: other, semitones, pairs };
                if meeting.enough_pitches(&meeting.pairs) {
                    meeting.stretches(&mut found);
                    meeting.turned().stretches(&mut found);
                }
            }
            all.extend(of_two(lines, found));
        }
    }
    all
}

/// The stretches of two tracks without overlap: the one with the most notes first, then the larger share, the smaller
/// interval, the leader that is sung, then sustained, and the one that stands higher.
fn of_two(lines: &Lines, mut found: Vec<Stretch>) -> Vec<Stretch> {
    found.sort_by(|a, b| {
        let distance = |s: &Stretch| (s.semitones.abs(), lines.lines[s.of].rank, s.of, s.semitones, s.from);
        (b.shared.cmp(&a.shared)).then(b.share().total_cmp(&a.share())).then(distance(a).cmp(&distance(b)))
    });
    let mut kept: Vec<Stretch> = Vec::new();
    for stretch in found {
        let taken: Vec<(usize, usize)> = kept.iter().map(|k| (k.from, k.to)).collect();
        kept.extend(without(lines, stretch, &taken));
    }
    kept
}

/// What is left of a stretch without the bars `taken`: each piece that is a doubling by itself; one that is not goes on
/// into the bars taken until it is.
pub(super) fn without(lines: &Lines, stretch: Stretch, taken: &[(usize, usize)]) -> Vec<Stretch> {
    let free = |bar: usize| !taken.iter().any(|(from, to)| (*from..=*to).contains(&bar));
    if (stretch.from..=stretch.to).all(free) {
        return vec![stretch];
    }
    let mut pieces = Vec::new();
    let mut meeting: Option<Meeting> = None;
    let mut bar = stretch.from;
    while bar <= stretch.to {
        if !free(bar) {
            bar += 1;
            continue;
        }
        let first = bar;
        while bar <= stretch.to && free(bar) {
            bar += 1;
        }
        let meeting = meeting
            .get_or_insert_with(|| Meeting::between(lines, stretch.chair, stretch.of, stretch.semitones));
        let (mut from, mut to) = (first, bar - 1);
        if meeting.within(from, to).is_empty() {
            continue;
        }
        loop {
            if let Some(piece) = meeting.over(from, to) {
                pieces.push(piece);
                break;
            }
            if (from, to) == (stretch.from, stretch.to) {
                break;
            }
            (from, to) = (from.saturating_sub(1).max(stretch.from), (to + 1).min(stretch.to));
        }
    }
    pieces
}
