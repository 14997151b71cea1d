//! What speaks for each track having the tune, unit by unit.

use super::lines::{Tone, Units, lines};
use super::prints::Prints;
use super::sums::Sums;
use super::themes::Themes;
use crate::survey::Survey;
use ripieno_instruments::Family;
use ripieno_music::{DirectionKind, Playing, Score};
use ripieno_units::math;

/// Sums that are taken over a unit, then over windows.
const SUMS: usize = 21;
/// How many numbers speak for a track.
const FEATURES: usize = 47;
/// And how many tell what it is, whatever it plays.
const TRAITS: usize = 8;
/// Numbers that are also held against the mean of all that sound in the unit ...
const AGAINST_MEAN: [usize; 10] = [7, 10, 11, 14, 23, 24, 27, 30, 25, 4];
/// ... and against the most of them: a line that moves among still ones, or is still among those that move.
const AGAINST_MOST: [usize; 6] = [7, 10, 27, 30, 25, 23];
/// All numbers of one track in one unit.
pub(super) const NUMBERS: usize = FEATURES + TRAITS + AGAINST_MEAN.len() + AGAINST_MOST.len();

// What the sums are of. Where "time" is said: quarters.
const SOUND: usize = 0;
const ONSETS: usize = 1;
const STEPS: usize = 2;
const REPEATS: usize = 3;
const LEAPS: usize = 4;
const SKIPS: usize = 5;
const LONG: usize = 6; // time in tones that last longer than a bar
const TOP: usize = 7; // time as the highest
const BOTTOM: usize = 8; // time as the lowest
const BELOW: usize = 9; // octaves below the highest, times time
const ABOVE: usize = 10; // other lines that lie higher, times time
const DOUBLED: usize = 11; // log of how many tracks have the same, times time
const SHARED: usize = 12; // onsets that another line has too
const SLURRED: usize = 13;
const SHORT: usize = 14;
const TREMOLO: usize = 15;
const CHANGES: usize = 16; // tones of another length than the one before
const RECURS: usize = 17;
const LEVEL: usize = 18; // dB above the mean of the others, times time
const SAME: usize = 19; // time in bars that repeat the bar before
const SUNG: usize = 20;

/// More lines above than this say no more.
const MOST_ABOVE: usize = 5;

/// A score laid out for the search.
pub(crate) struct Layout {
    pub(super) units: Units,
    pub(super) lines: Vec<Vec<Tone>>,
    pub(super) prints: Prints,
    pub(super) themes: Themes,
    sums: Sums<SUMS>,
    /// By unit, then track: does it sound?
    sounds: Vec<bool>,
    /// By track and bar: which keys are struck, as bits of key - 24.
    keys: Vec<Vec<u128>>,
    /// By track: constant numbers.
    traits: Vec<[f64; TRAITS]>,
    /// By unit, then track: does a tone begin after a rest of at least a quarter of a bar?
    pub entry: Vec<bool>,
    pub tracks: usize,
    /// By unit, then track: sounding mean pitch; 0 where silent.
    pitch: Vec<f64>,
}

fn overlap(tone: &Tone, from: f64, to: f64) -> f64 {
    (tone.end.min(to) - tone.at.max(from)).max(0.0)
}

impl Layout {
    pub fn of(score: &Score, survey: &Survey) -> Self {
        let units = Units::of(&score.timeline);
        let lines = lines(score);
        let themes = Themes::of(&lines, &units);
        let prints = Prints::of(&lines, &units);
        let tracks = lines.len();
        let size = units.count() * tracks;
        let mut layout = Self {
            sums: Sums::new(units.count(), tracks),
            sounds: vec![false; size],
            keys: vec![vec![0; survey.bars]; tracks],
            traits: (0..tracks).map(|t| traits(survey, t)).collect(),
            entry: vec![false; size],
            pitch: vec![0.0; size],
            units,
            lines,
            prints,
            themes,
            tracks,
        };
        let recurs = layout.themes.recurrence(&layout.lines);
        let solo = solos(score, &layout.units);
        for track in 0..tracks {
            layout.walk(track, score, &recurs[track]);
            for (unit, _) in solo[track].iter().enumerate().filter(|(_, solo)| **solo) {
                let sound = layout.sums.of(unit, track)[SOUND];
                if sound > 0.0 {
                    layout.sums.add(unit, track)[SUNG] += sound;
                }
            }
        }
        layout.compare(survey);
        layout.sums.add_up();
        layout
    }

    /// Sums of one track by itself.
    fn walk(&mut self, track: usize, score: &Score, recurs: &[f64]) {
        let (units, tracks) = (&self.units, self.tracks);
        let tones = &self.lines[track];
        let mut unit = 0;
        for (i, tone) in tones.iter().enumerate() {
            while unit + 1 < units.count() && units.edges[unit + 1] <= tone.at {
                unit += 1;
            }
            let bar = &score.timeline.bars[units.bar[unit]];
            let bar_length = bar.length.quarters();
            let here = self.sums.add(unit, track);
            here[ONSETS] += 1.0;
            here[SLURRED] += f64::from(u8::from(tone.slurred));
            here[SHORT] += f64::from(u8::from(tone.short));
            here[RECURS] += recurs[i];
            let bit = (tone.key - 24).clamp(0, 127);
            self.keys[track][units.bar[unit]] |= 1u128 << bit;
            let last = i.checked_sub(1).map(|l| &tones[l]);
            let rest = last.map_or(f64::MAX, |l| tone.at - l.end);
            if rest >= bar_length / 4.0 {
                self.entry[unit * tracks + track] = true;
            }
            if let Some(last) = last.filter(|_| rest < bar_length) {
                match (tone.key - last.key).abs() {
                    0 => here[REPEATS] += 1.0,
                    1 | 2 => here[STEPS] += 1.0,
                    3..=7 => here[SKIPS] += 1.0,
                    _ => here[LEAPS] += 1.0,
                }
                let before = i.checked_sub(2).map(|b| last.at - tones[b].at);
                if before.is_some_and(|b| ((tone.at - last.at) / b.max(1e-6) - 1.0).abs() > 0.2) {
                    here[CHANGES] += 1.0;
                }
            }
            for reached in unit..units.count() {
                let (from, to) = (units.edges[reached], units.edges[reached + 1]);
                if from >= tone.end {
                    break;
                }
                let time = overlap(tone, from, to);
                let at = reached * tracks + track;
                let sums = self.sums.add(reached, track);
                sums[SOUND] += time;
                self.pitch[at] += f64::from(tone.key) * time;
                if tone.end - tone.at > bar_length {
                    sums[LONG] += time;
                }
                if tone.tremolo {
                    sums[TREMOLO] += time;
                }
                if tone.sung {
                    sums[SUNG] += time;
                }
            }
        }
        for unit in 0..units.count() {
            let at = unit * tracks + track;
            let sound = self.sums.of(unit, track)[SOUND];
            self.sounds[at] = sound > 1e-9;
            self.pitch[at] = if sound > 1e-9 { self.pitch[at] / sound } else { 0.0 };
        }
    }

    /// Sums that come from comparing the tracks.
    fn compare(&mut self, survey: &Survey) {
        let tracks = self.tracks;
        let prints = &self.prints;
        let words = tracks.div_ceil(64);
        let mut doubles = vec![vec![0u64; words]; tracks];
        let mut shared = vec![0.0; tracks];
        for bar in 0..survey.bars {
            for row in &mut doubles {
                row.fill(0);
            }
            for a in 0..tracks {
                for b in a + 1..tracks {
                    if prints.same(a, b, bar) {
                        doubles[a][b / 64] |= 1 << (b % 64);
                        doubles[b][a / 64] |= 1 << (a % 64);
                    }
                }
            }
            for (a, share) in shared.iter_mut().enumerate() {
                *share = prints.shared(a, bar, &doubles[a]);
            }
            let mean_level = {
                let playing = || survey.cells.iter().map(|c| &c[bar]).filter(|c| c.plays());
                playing().map(|c| c.level).sum::<f64>() / (playing().count().max(1)) as f64
            };
            for unit in self.units.of_bar[bar]..self.units.of_bar[bar + 1] {
                let row = unit * tracks;
                let sounding: Vec<usize> = (0..tracks).filter(|t| self.sounds[row + t]).collect();
                let high = sounding.iter().map(|t| self.pitch[row + t]).fold(f64::MIN, f64::max);
                let low = sounding.iter().map(|t| self.pitch[row + t]).fold(f64::MAX, f64::min);
                for t in &sounding {
                    let pitch = self.pitch[row + t];
                    let mut others: Vec<usize> = Vec::new();
                    for o in &sounding {
                        if others.len() >= MOST_ABOVE {
                            break;
                        }
                        if self.pitch[row + o] > pitch + 0.5
                            && doubles[*t][o / 64] >> (o % 64) & 1 == 0
                            && !others.iter().any(|x| doubles[*x][o / 64] >> (o % 64) & 1 == 1)
                        {
                            others.push(*o);
                        }
                    }
                    let double: u32 = doubles[*t].iter().map(|w| w.count_ones()).sum();
                    let sums = self.sums.add(unit, *t);
                    let time = sums[SOUND];
                    if pitch >= high - 0.5 {
                        sums[TOP] += time;
                    }
                    if pitch <= low + 0.5 {
                        sums[BOTTOM] += time;
                    }
                    sums[BELOW] += time * ((high - pitch) / 12.0).min(4.0);
                    sums[ABOVE] += time * others.len() as f64;
                    sums[DOUBLED] += time * math::log2(1.0 + f64::from(double));
                    sums[SHARED] += sums[ONSETS] * shared[*t];
                    sums[LEVEL] += time * (survey.cells[*t][bar].level - mean_level).clamp(-12.0, 12.0) / 6.0;
                    if prints.repeats(*t, bar) {
                        sums[SAME] += time;
                    }
                }
            }
        }
    }

    /// Does the track sound in the unit?
    pub fn sounds(&self, unit: usize, track: usize) -> bool {
        self.sounds[unit * self.tracks + track]
    }

    /// Does it sound in this bar or the bars beside it?
    pub fn near(&self, unit: usize, track: usize) -> bool {
        let bar = self.units.bar[unit];
        let from = self.units.of_bar[bar.saturating_sub(1)];
        let to = self.units.of_bar[(bar + 2).min(self.units.of_bar.len() - 1)];
        let at = |unit: usize| self.sums.before(unit, track)[SOUND];
        at(to) - at(from) > 1e-9
    }

    /// The part of its time in which a track is the lowest of several, over the whole piece, 0 to 1.
    pub fn bottom(&self, track: usize) -> f64 {
        let all = self.sums.before(self.units.count(), track);
        if self.tracks > 2 { all[BOTTOM] / all[SOUND].max(1e-6) } else { 0.0 }
    }

    /// Over the bar and its neighbours: notes a bar, and how many keys they touch.
    pub fn motion(&self, unit: usize, track: usize) -> (f64, u32) {
        let bar = self.units.bar[unit];
        let (first, last) = (bar.saturating_sub(1), (bar + 2).min(self.units.of_bar.len() - 1));
        let (from, to) = (self.units.of_bar[first], self.units.of_bar[last]);
        let at = |unit: usize| self.sums.before(unit, track)[ONSETS];
        let keys = self.keys[track][first..last].iter().fold(0, |a, b| a | b);
        ((at(to) - at(from)) / (last - first).max(1) as f64, keys.count_ones())
    }

    /// The numbers that speak for (or against) a track in a unit.
    fn features(&self, unit: usize, track: usize) -> [f64; FEATURES] {
        let mut f = [0.0; FEATURES];
        let units = &self.units;
        let bar = units.bar[unit];
        let bar_range = |bars: usize| {
            let from = units.of_bar[bar.saturating_sub(bars)];
            let to = units.of_bar[(bar + bars + 1).min(units.of_bar.len() - 1)];
            (from, to)
        };
        let window = |from: usize, to: usize| -> [f64; SUMS] {
            let (a, b) = (self.sums.before(from, track), self.sums.before(to, track));
            std::array::from_fn(|i| b[i] - a[i])
        };
        let span = |from: usize, to: usize| (units.edges[to] - units.edges[from]).max(1e-6);
        let local = window(unit, unit + 1);
        let local_span = span(unit, unit + 1);
        let sound = local[SOUND].max(1e-6);
        f[0] = f64::from(u8::from(local[SOUND] <= 1e-9));
        f[1] = (local[SOUND] / local_span).min(1.0);
        f[2] = local[TOP] / sound;
        f[3] = local[BELOW] / sound;
        f[4] = local[ABOVE] / sound;
        f[5] = local[BOTTOM] / sound;
        f[6] = local[DOUBLED] / sound;
        f[7] = math::log2(1.0 + local[ONSETS] / local_span);
        f[8] = f64::from(u8::from(self.entry[unit * self.tracks + track]));
        let mut at = 9;
        // The bar with its neighbours; then the phrase around.
        for bars in [1, 4] {
            let (from, to) = bar_range(bars);
            let w = window(from, to);
            let (sound, onsets) = (w[SOUND].max(1e-6), w[ONSETS].max(1.0));
            let moves = (w[STEPS] + w[REPEATS] + w[LEAPS] + w[SKIPS]).max(1.0);
            let values = [
                (w[SOUND] / span(from, to)).min(1.0),
                math::log2(1.0 + w[ONSETS] / span(from, to)),
                w[STEPS] / moves,
                w[REPEATS] / moves,
                w[LEAPS] / moves,
                w[LONG] / sound,
                w[TOP] / sound,
                w[BELOW] / sound,
                w[ABOVE] / sound,
                w[DOUBLED] / sound,
                w[SHARED] / onsets,
                w[SLURRED] / onsets,
                w[SHORT] / onsets,
                w[TREMOLO] / sound,
                w[CHANGES] / onsets,
                w[RECURS] / onsets,
                w[LEVEL] / sound,
                w[SAME] / sound,
            ];
            f[at..at + values.len()].copy_from_slice(&values);
            at += values.len();
            if bars == 1 {
                let mask = self.keys[track][bar.saturating_sub(1)..(bar + 2).min(self.keys[track].len())]
                    .iter()
                    .fold(0, |a, b| a | b);
                f[at] = math::log2(1.0 + f64::from(mask.count_ones()));
                f[at + 1] = w[SUNG] / sound;
                at += 2;
            }
        }
        f
    }

    /// All numbers of all tracks in a unit.
    pub fn numbers(&self, unit: usize) -> Vec<[f64; NUMBERS]> {
        let mut rows = Vec::with_capacity(self.tracks * (FEATURES + TRAITS));
        for track in 0..self.tracks {
            rows.extend(self.features(unit, track));
            rows.extend(self.traits(track));
        }
        let sounds: Vec<bool> = (0..self.tracks).map(|t| self.sounds(unit, t)).collect();
        compared(&rows, &sounds)
    }

    fn traits(&self, track: usize) -> &[f64; TRAITS] {
        &self.traits[track]
    }
}

/// Where a track is marked solo.
fn solos(score: &Score, units: &Units) -> Vec<Vec<bool>> {
    score
        .tracks
        .iter()
        .map(|track| {
            let mut marks = track
                .content
                .directions
                .iter()
                .filter_map(|d| match d.kind {
                    DirectionKind::Playing(Playing::Solo) => Some((d.at.quarters(), true)),
                    DirectionKind::Playing(Playing::Tutti) => Some((d.at.quarters(), false)),
                    _ => None,
                })
                .peekable();
            let mut solo = false;
            (0..units.count())
                .map(|unit| {
                    while let Some((_, on)) = marks.next_if(|m| m.0 < units.edges[unit + 1]) {
                        solo = on;
                    }
                    solo
                })
                .collect()
        })
        .collect()
}

/// What a track is, whatever it plays: how often such instruments lead.
fn traits(survey: &Survey, track: usize) -> [f64; TRAITS] {
    let mut t = [0.0; TRAITS];
    let Some(guess) = survey.guesses.get(track).and_then(Option::as_ref) else { return t };
    let family = guess.instrument.family;
    let first = guess.numbers.first().is_none_or(|n| *n == 1);
    let centre =
        guess.instrument.comfortable.map_or(60.0, |r| f64::from(r.low) / 2.0 + f64::from(r.high) / 2.0);
    t[0] = f64::from(u8::from(family == Family::Strings && first && centre > 70.0));
    t[1] = f64::from(u8::from(family == Family::Woodwind));
    t[2] = f64::from(u8::from(family == Family::Brass));
    t[3] = f64::from(u8::from(family == Family::Voices));
    t[4] = f64::from(u8::from(matches!(family, Family::Percussion | Family::Keyboard | Family::Plucked)));
    t[5] = f64::from(u8::from(!first));
    t[6] = (centre - 64.0) / 12.0;
    t[7] = f64::from(u8::from(guess.instrument.unpitched));
    t
}

/// The numbers of all tracks in a unit (`rows`: one after the other), each followed by how they stand to those of the
/// tracks that sound.
fn compared(rows: &[f64], sounds: &[bool]) -> Vec<[f64; NUMBERS]> {
    let own = FEATURES + TRAITS;
    let (mut sums, mut most, mut count) = ([0.0; FEATURES], [f64::MIN; FEATURES], 0.0);
    for (row, _) in rows.chunks_exact(own).zip(sounds).filter(|(_, sounds)| **sounds) {
        count += 1.0;
        for ((sum, most), x) in sums.iter_mut().zip(&mut most).zip(row) {
            *sum += x;
            *most = most.max(*x);
        }
    }
    let with_others = |row: &[f64]| {
        let mut numbers = [0.0; NUMBERS];
        let (first, others) = numbers.split_at_mut(own);
        first.copy_from_slice(row);
        if count > 0.0 {
            let mean = AGAINST_MEAN.iter().map(|i| row[*i] - sums[*i] / count);
            let least = AGAINST_MOST.iter().map(|i| row[*i] - most[*i]);
            for (to, from) in others.iter_mut().zip(mean.chain(least)) {
                *to = from;
            }
        }
        numbers
    };
    rows.chunks_exact(own).map(with_others).collect()
}
