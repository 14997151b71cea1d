//! The tracks of a score as tables of onsets, for quick comparison.

use crate::survey::Survey;
use ripieno_instruments::Family;
use ripieno_music::{Note, Score};
use ripieno_units::Beats;

/// One pitch that begins at one time in one track.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tone {
    /// Which of the times at which anything begins.
    pub(super) onset: usize,
    /// Index of its bar.
    pub(super) bar: usize,
    /// In cents: MIDI key times 100.
    pub(super) pitch: i32,
    /// Of equal notes the longest.
    pub(super) end: Beats,
}

/// One track.
#[derive(Clone, Debug, Default)]
pub(super) struct Line {
    /// In order of onset, then pitch; none twice.
    pub(super) tones: Vec<Tone>,
    /// For each bar: index of its first tone; one more entry at the end.
    pub(super) first: Vec<usize>,
    /// For each bar: at how many times anything begins before it; one more entry at the end.
    pub(super) struck: Vec<usize>,
    /// The same, of those times at which other pitches begin than the time before.
    pub(super) turns: Vec<usize>,
    /// For each bar: does any pitch sound in it?
    pub(super) sounds: Vec<bool>,
    /// Of two with the same notes the lower one leads: words, then a sound that is sustained, then one that dies away.
    pub(super) rank: u8,
}

impl Line {
    /// How many tones begin in a bar.
    pub(super) fn count(&self, bar: usize) -> usize {
        self.first[bar + 1] - self.first[bar]
    }

    /// At how many times anything begins in bars `from..=to`, and at how many of them other pitches than before.
    pub(super) fn times(&self, from: usize, to: usize) -> (usize, usize) {
        (self.struck[to + 1] - self.struck[from], self.turns[to + 1] - self.turns[from])
    }

    /// How many tones begin at one time in bars `from..=to`, on the mean.
    pub(super) fn thickness(&self, from: usize, to: usize) -> f64 {
        self.within(from, to).len() as f64 / self.times(from, to).0.max(1) as f64
    }

    /// The tones that begin in bars `from..=to`.
    pub(super) fn within(&self, from: usize, to: usize) -> &[Tone] {
        &self.tones[self.first[from]..self.first[to + 1]]
    }
}

/// All tracks on one grid of onsets.
pub(super) struct Lines {
    /// One for each track.
    pub(super) lines: Vec<Line>,
    /// For each onset where its tones begin in [`Lines::heard`]; one more entry at the end.
    pub(super) heard_from: Vec<usize>,
    /// Track and index of its tone, in order of onset, then track.
    pub(super) heard: Vec<(usize, usize)>,
    /// Numbers of the bars.
    pub(super) numbers: Vec<i32>,
    /// Where each bar ends.
    pub(super) bar_ends: Vec<Beats>,
}

impl Lines {
    pub(super) fn new(score: &Score, survey: &Survey) -> Self {
        let bars = &score.timeline.bars;
        let pitched = |n: &&Note| n.pitch().is_some();
        let mut onsets: Vec<Beats> =
            score.tracks.iter().flat_map(|t| t.content.notes.iter().filter(pitched).map(|n| n.at)).collect();
        onsets.sort_unstable();
        onsets.dedup();
        let mut bar_of = Vec::with_capacity(onsets.len());
        let mut bar = 0;
        for at in &onsets {
            while bar + 1 < bars.len() && bars[bar + 1].at <= *at {
                bar += 1;
            }
            bar_of.push(bar);
        }
        let mut lines: Vec<Line> =
            score.tracks.iter().map(|track| line(&track.content.notes, &onsets, &bar_of, score)).collect();
        for (track, line) in lines.iter_mut().enumerate() {
            use Family::{Keyboard, Percussion, Plucked};
            line.rank = match survey.family(track) {
                _ if score.tracks[track].is_sung() => 0,
                Some(Percussion | Keyboard | Plucked) => 2,
                _ => 1,
            };
        }
        let mut heard_from = vec![0; onsets.len() + 1];
        for tone in lines.iter().flat_map(|l| &l.tones) {
            heard_from[tone.onset + 1] += 1;
        }
        for i in 0..onsets.len() {
            heard_from[i + 1] += heard_from[i];
        }
        let mut next = heard_from.clone();
        let mut heard = vec![(0, 0); heard_from[onsets.len()]];
        for (track, line) in lines.iter().enumerate() {
            for (index, tone) in line.tones.iter().enumerate() {
                heard[next[tone.onset]] = (track, index);
                next[tone.onset] += 1;
            }
        }
        Self {
            lines,
            heard_from,
            heard,
            numbers: bars.iter().map(|b| b.number).collect(),
            bar_ends: bars.iter().map(|b| b.at + b.length).collect(),
        }
    }
}

fn line(notes: &[Note], onsets: &[Beats], bar_of: &[usize], score: &Score) -> Line {
    let bars = &score.timeline.bars;
    let mut tones: Vec<Tone> = Vec::with_capacity(notes.len());
    let mut onset = 0;
    for note in notes {
        let Some(pitch) = note.pitch() else { continue };
        // Notes stand in order of onset, so this seldom searches far.
        if onsets.get(onset) != Some(&note.at) {
            onset = onsets.partition_point(|at| *at < note.at);
        }
        let pitch = i32::from(pitch.key) * 100 + i32::from(pitch.cents);
        tones.push(Tone { onset, bar: bar_of[onset], pitch, end: note.end() });
    }
    tones.sort_by_key(|t| (t.onset, t.pitch));
    tones.dedup_by(|later, kept| {
        let same = (later.onset, later.pitch) == (kept.onset, kept.pitch);
        if same {
            kept.end = kept.end.max(later.end);
        }
        same
    });
    let mut first = vec![0; bars.len() + 1];
    let mut sounds = vec![false; bars.len()];
    for tone in &tones {
        first[tone.bar + 1] += 1;
        sounds[tone.bar] = true;
        for (bar, sounding) in bars.iter().zip(&mut sounds).skip(tone.bar + 1) {
            if bar.at >= tone.end {
                break;
            }
            *sounding = true;
        }
    }
    let (mut struck, mut turns) = (vec![0; bars.len() + 1], vec![0; bars.len() + 1]);
    let mut last: &[Tone] = &[];
    for at_once in tones.chunk_by(|a, b| a.onset == b.onset) {
        let again = at_once.len() == last.len() && at_once.iter().zip(last).all(|(a, b)| a.pitch == b.pitch);
        struck[at_once[0].bar + 1] += 1;
        turns[at_once[0].bar + 1] += usize::from(!again);
        last = at_once;
    }
    for i in 0..bars.len() {
        first[i + 1] += first[i];
        struck[i + 1] += struck[i];
        turns[i + 1] += turns[i];
    }
    Line { tones, first, struck, turns, sounds, rank: 0 }
}
