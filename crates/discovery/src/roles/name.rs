//! The role of a track in a passage.
//!
//! In order: silence; the tune and its doublings; single strokes between rests; a pattern of pitches or of rhythm that goes
//! on; the lowest line; long notes; else a second melody where it moves freely, or a note of the chord.

use super::lines::Tone;
use super::prints::Prints;
use crate::survey::Survey;
use ripieno_instruments::Family;
use ripieno_music::{Doubling, Role, RoleFound, Score, TuneSpan};

/// A track that sounds in less of a passage than this is silent in it but for a note.
const SILENT: f64 = 0.02;
/// A track has the tune, or doubles it, in this part of the bars in which it plays.
const TUNE: f64 = 0.55;
/// Punctuation sounds in less than this part of the time of the passage ...
const SPARSE: f64 = 0.35;
/// ... in strokes of so many notes at most between rests.
const STROKE: f64 = 2.0;
/// The lowest line lies lowest in this part of the time in which it sounds.
const LOWEST: f64 = 0.6;
/// Bars that repeat the shape or the rhythm of the bar before, in parts of the bars played: from here on a pattern goes on.
const PATTERN: f64 = 0.5;
/// A line whose onsets others of the accompaniment share from here on moves with the chord.
const TOGETHER: f64 = 0.7;
/// A doubling of the tune has so many notes of so many pitch classes with it, and this part of its own notes.
const SHARED: (u32, u32, f64) = (4, 3, 0.8);
/// The lowest line is the lowest in this part of the bars of the passage at least.
const OFTEN: f64 = 0.4;
/// A held chord has at most so many notes a bar.
const SLOW: f64 = 2.5;

pub(super) struct Reader<'a> {
    pub score: &'a Score,
    pub survey: &'a Survey,
    pub lines: &'a [Vec<Tone>],
    pub prints: &'a Prints,
    pub doublings: &'a [Doubling],
    pub tune: &'a [TuneSpan],
}

/// What a track does over a passage, in numbers.
#[derive(Clone, Copy, Debug, Default)]
struct Look {
    /// Part of the bars' time in which it sounds.
    sounds: f64,
    bars: f64,
    notes: f64,
    /// Notes that begin after a rest.
    entries: f64,
    /// Strokes: mean length in parts of a bar.
    length: f64,
    steps: f64,
    moves: f64,
    /// Distinct keys.
    keys: f64,
    /// Mean pitch.
    centre: f64,
    /// Bars (that have notes) with the rhythm of the bar before.
    same_rhythm: f64,
    /// Bars with the contour and rhythm of the bar before.
    same_shape: f64,
    /// Largest run of keys: how often a tone comes back two tones later (an Alberti bass, a shake).
    returns: f64,
    repeats: f64,
    /// Relation of the longest to the shortest common length: variety of rhythm.
    rhythms: f64,
}

impl Reader<'_> {
    pub fn roles(&self, from: usize, to: usize) -> Vec<RoleFound> {
        let tracks = self.score.tracks.len();
        let looks: Vec<Look> = (0..tracks).map(|t| self.look(t, from, to)).collect();
        let lowest = self.lowest(from, to);
        let leader = self.leader(from, to);
        let melody = self.melody(from, to);
        let silent = |t: usize| looks[t].sounds < SILENT && looks[t].notes < 1.0;
        let tune: Vec<bool> =
            (0..tracks).map(|t| !silent(t) && (leader == Some(t) || melody[t] >= TUNE)).collect();
        (0..tracks)
            .map(|t| {
                let role = if silent(t) {
                    Role::Silence
                } else if tune[t] {
                    Role::Tune
                } else {
                    self.accompanies(t, &looks[t], lowest[t], self.homorhythm(t, &tune, from, to))
                };
                RoleFound { role, chord: None }
            })
            .collect()
    }

    /// Part of a track's onsets at which some other accompanying track begins a note, too.
    fn homorhythm(&self, track: usize, tune: &[bool], from: usize, to: usize) -> f64 {
        let (mut most, mut all) = (0, 0);
        for bar in from..to {
            let count = self.prints.count(track, bar);
            let others = (0..tune.len())
                .filter(|o| *o != track && !tune[*o] && !self.prints.same(track, *o, bar))
                .map(|o| self.prints.together(track, o, bar));
            (most, all) = (most + others.max().unwrap_or(0), all + count);
        }
        if all > 0 { f64::from(most) / f64::from(all) } else { 0.0 }
    }

    fn accompanies(&self, track: usize, look: &Look, lowest: f64, together: f64) -> Role {
        let unpitched = self.lines[track].is_empty();
        let drum = self.survey.family(track) == Some(Family::Percussion);
        let per_bar = look.notes / look.bars.max(1.0);
        let per_entry = look.notes / look.entries.max(1.0);
        let patterned = look.same_rhythm >= PATTERN || look.same_shape >= PATTERN;
        if unpitched || (drum && look.keys <= 3.0) {
            return if patterned && per_bar >= 2.0 {
                Role::Figure
            } else if !unpitched && look.length >= 0.75 && look.sounds >= 0.7 {
                Role::Held
            } else {
                Role::Punctuation
            };
        }
        let wandering = look.keys >= 4.0;
        let arpeggio = look.moves > 0.0
            && (look.returns >= 0.35 || look.steps < 0.35)
            && per_bar >= 4.0
            && look.rhythms <= 1.6
            && look.keys >= 3.0;
        // The lowest line is the bass however it moves, but for a broken chord that has its own top.
        if lowest >= LOWEST && !drum && !arpeggio {
            return Role::Bass;
        }
        // Chords off the beat come often and alike: a figure. Single chords come now and then.
        if look.sounds < SPARSE && per_entry <= STROKE && per_bar <= 3.0 && (!patterned || per_bar <= 1.5) {
            return Role::Punctuation;
        }
        let pulse = look.repeats >= 0.6 && per_bar >= 3.0;
        if arpeggio || pulse {
            return Role::Figure;
        }
        // Slow and free, by step, with lengths of its own: a melody. Slow and even, or with the others: a chord.
        let free = wandering && together < TOGETHER && !drum;
        if per_bar <= SLOW && look.length >= 0.25 {
            let sings = free && look.rhythms >= 1.7 && look.steps + 0.1 >= 0.5 && per_bar >= 1.25;
            return if sings { Role::Counter } else { Role::Held };
        }
        let strokes = per_entry <= 1.2 && look.length <= 0.2;
        if patterned && per_bar >= 2.0 && (look.same_shape >= PATTERN || !wandering || strokes) {
            return Role::Figure;
        }
        if look.sounds < SPARSE && per_entry <= 2.0 * STROKE {
            return Role::Punctuation;
        }
        if free && (look.steps >= 0.35 || look.rhythms >= 2.0) {
            return Role::Counter;
        }
        if look.length >= 0.15 || together >= TOGETHER { Role::Held } else { Role::Figure }
    }

    fn look(&self, track: usize, from: usize, to: usize) -> Look {
        let bars = &self.score.timeline.bars;
        let mut look = Look::default();
        let cells = &self.survey.cells[track][from..to];
        look.sounds = cells.iter().map(|c| c.sounds).sum::<f64>() / cells.len().max(1) as f64;
        let (mut rhythm, mut shape, mut pairs) = (0.0, 0.0, 0.0);
        for bar in from..to {
            if self.survey.cells[track][bar].onsets == 0 {
                continue;
            }
            look.bars += 1.0;
            if bar > from && self.survey.cells[track][bar - 1].onsets > 0 {
                pairs += 1.0;
                rhythm += f64::from(u8::from(self.prints.same_rhythm(track, bar - 1, bar)));
                shape += f64::from(u8::from(self.prints.same_shape(track, bar - 1, bar)));
            }
        }
        if pairs > 0.0 {
            (look.same_rhythm, look.same_shape) = (rhythm / pairs, shape / pairs);
        }
        look.notes = cells.iter().map(|c| f64::from(c.onsets)).sum();
        let (Some(begin), Some(end)) = (bars.get(from), to.checked_sub(1).and_then(|t| bars.get(t))) else {
            return look;
        };
        let length = end.length.quarters().max(1e-6);
        let (begin, end) = (begin.at.quarters(), (end.at + end.length).quarters());
        let tones = &self.lines[track];
        let first = tones.partition_point(|t| t.at < begin);
        let last = tones.partition_point(|t| t.at < end);
        let tones = &tones[first..last];
        let (mut mask, mut lengths) = (0u128, [0u32; 12]);
        for (i, tone) in tones.iter().enumerate() {
            look.length += (tone.end - tone.at) / length;
            look.centre += f64::from(tone.key);
            mask |= 1 << tone.key.clamp(0, 127);
            if i == 0 || tone.at - tones[i - 1].end > length / 16.0 {
                look.entries += 1.0;
            }
            if let Some(next) = tones.get(i + 1) {
                // Length classes by halves: how many of them are common.
                let class = ripieno_units::math::log2((next.at - tone.at).max(1e-3) / length) + 8.5;
                lengths[(class.max(0.0) as usize).min(11)] += 1;
                look.moves += 1.0;
                match (next.key - tone.key).abs() {
                    0 => look.repeats += 1.0,
                    1 | 2 => look.steps += 1.0,
                    _ => {}
                }
                if tones.get(i + 2).is_some_and(|t| t.key == tone.key) && next.key != tone.key {
                    look.returns += 1.0;
                }
            }
        }
        let count = tones.len().max(1) as f64;
        look.length /= count;
        look.centre /= count;
        look.keys = f64::from(mask.count_ones());
        let moves = look.moves.max(1.0);
        (look.steps, look.repeats, look.returns) =
            (look.steps / moves, look.repeats / moves, look.returns / moves);
        // The number of lengths that are about equally common (inverse of the sum of squared shares).
        let squares: f64 = lengths.iter().map(|n| (f64::from(*n) / moves) * (f64::from(*n) / moves)).sum();
        look.rhythms = if squares > 0.0 { 1.0 / squares } else { 1.0 };
        look
    }

    /// Part of the bars in which each track plays and is the lowest of all that sound (or doubles the lowest).
    fn lowest(&self, from: usize, to: usize) -> Vec<f64> {
        let tracks = self.survey.cells.len();
        let mut low = vec![(0.0, 0.0); tracks];
        for bar in from..to {
            let centre = |t: usize| self.survey.cells[t][bar].centre();
            let Some(bottom) = (0..tracks)
                .filter_map(|t| centre(t).map(|c| (c, t)))
                .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)))
            else {
                continue;
            };
            let others = (0..tracks).filter(|t| centre(*t).is_some()).count();
            for (t, sums) in low.iter_mut().enumerate() {
                let Some(own) = centre(t) else { continue };
                sums.0 += 1.0;
                // An octave above and note for note with it: cellos over basses.
                let (few, more) = {
                    let (a, b) = (self.prints.count(t, bar), self.prints.count(bottom.1, bar));
                    (a.min(b), a.max(b))
                };
                let with =
                    few * 4 >= more * 3 && own <= bottom.0 + 12.5 && self.prints.same(t, bottom.1, bar);
                let is_low = own <= bottom.0 + 0.5 || with;
                if is_low && others > 1 {
                    sums.1 += 1.0;
                }
            }
        }
        low.into_iter()
            .map(
                |(all, lowest)| {
                    if lowest >= OFTEN * (to - from) as f64 && all > 0.0 { lowest / all } else { 0.0 }
                },
            )
            .collect()
    }

    /// Spans of the tune inside bars, as (bar, track, part of the bar).
    fn tune_by_bar(&self, from: usize, to: usize) -> Vec<(usize, usize, f64)> {
        let mut found = Vec::new();
        for bar in from..to {
            let one = &self.score.timeline.bars[bar];
            let (begin, end) = (one.at, one.at + one.length);
            let first = self.tune.partition_point(|s| s.to <= begin);
            for span in self.tune[first..].iter().take_while(|s| s.from < end) {
                let time = (span.to.min(end) - span.from.max(begin)).quarters();
                found.push((bar, span.track, time / one.length.quarters().max(1e-6)));
            }
        }
        found
    }

    /// For each track: part of the bars in which it plays that it has the tune or doubles it.
    fn melody(&self, from: usize, to: usize) -> Vec<f64> {
        let tracks = self.survey.cells.len();
        let first = self.score.timeline.bars.first().map_or(0, |b| b.number);
        let spans = self.tune_by_bar(from, to);
        (0..tracks)
            .map(|track| {
                let plays = self.survey.cells[track][from..to].iter().filter(|c| c.plays()).count() as f64;
                if plays == 0.0 {
                    return 0.0;
                }
                let (mut own, mut doubled, mut set) = (0.0, 0.0, 0u16);
                let (mut equal, mut notes) = (0, 0);
                for (bar, leader, part) in &spans {
                    if *leader == track {
                        own += part;
                        continue;
                    }
                    let number = first.saturating_add(i32::try_from(*bar).unwrap_or(i32::MAX));
                    if self.listed(track, *leader, number) {
                        own += part;
                    } else if self.prints.count(track, *bar) > 0 {
                        let (same, classes) = self.prints.equal(track, *leader, *bar);
                        (equal, notes, set) =
                            (equal + same, notes + self.prints.count(track, *bar), set | classes);
                        if self.prints.same(track, *leader, *bar) {
                            doubled += part;
                        }
                    }
                }
                let (few, pitches, share) = SHARED;
                let truly = equal >= few
                    && set.count_ones() >= pitches
                    && f64::from(equal) >= share * f64::from(notes);
                (own + if truly { doubled } else { 0.0 }) / plays
            })
            .collect()
    }

    /// Is one said to play with the other in this bar?
    fn listed(&self, a: usize, b: usize, number: i32) -> bool {
        self.doublings.iter().any(|d| {
            (d.from_bar..=d.to_bar).contains(&number)
                && ((d.track == a && d.of == b) || (d.track == b && d.of == a))
        })
    }

    /// The track that has the tune longest.
    fn leader(&self, from: usize, to: usize) -> Option<usize> {
        let mut sums = vec![0.0; self.survey.cells.len()];
        for (_, track, part) in self.tune_by_bar(from, to) {
            sums[track] += part;
        }
        let best = sums.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1).then(b.0.cmp(&a.0)))?;
        (*best.1 > 0.0).then_some(best.0)
    }
}
