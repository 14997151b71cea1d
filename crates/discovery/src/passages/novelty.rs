//! Where the sound changes for good, marked or not.
//!
//! Every bar is a row of numbers: who plays, how high, how densely, in which harmony, rhythm, level and touch. A stretch of
//! bars is described by its mean row; a seam is worth what it lowers the squared distance of the bars from the mean row of
//! their own stretch, and it costs [`COST`]. The best set of seams is found by dynamic programming over all of them
//! together (Bellman's segmentation of a curve, 1961; barwise blocks after Marmoret et al., "Barwise music structure
//! analysis with the correlation block-matching algorithm", 2023). Each kind of number is measured in units of its own
//! restlessness from bar to bar, so that a piece whose chairs alternate all the time is not cut at every bar.

use super::{Seam, marks::first_whole_bar};
use crate::survey::{Cell, GRID, SLOTS, Survey};
use ripieno_music::Score;
use ripieno_units::math;

/// What one more seam costs. The largest round figure at which generated arrangements with known seams
/// (`tests/cross/passages.py`) lose none that counts: a plan wants few passages, at changes that are heard.
const COST: f64 = 32.0;
/// Shorter stretches than this are not looked into where both ends are marked: who marks so closely means it.
const CLOSE: usize = 12;
/// No found passage is shorter.
const SHORTEST: usize = 2;
/// Longest stretch that is compared as one; longer ones are joined afterwards, so that the time stays linear in the bars.
const WINDOW: usize = 64;
/// Phrases are of four and eight bars more often than of others: what such a length saves, and a length below four
/// bars costs, in parts of [`COST`].
const EIGHT: f64 = 0.2;
const FOUR: f64 = 0.12;
const HASTY: f64 = 0.6;
/// In a long piece a passage shorter than [`PHRASE`] bars costs up to so much more, in parts of [`COST`], the shorter the more:
/// a composer casts a movement in phrases and periods, a short cue by the bar. From `LONG.0` bars on, in full at `LONG.1`.
const SHORT: f64 = 1.5;
const PHRASE: usize = 8;
const LONG: (usize, usize) = (96, 256);
/// In a short cue a seam costs less by so much, in parts of [`COST`]: in full up to `BRIEF.1` bars, nothing from `BRIEF.2` on.
const BRIEF: (f64, usize, usize) = (0.4, 48, 96);

/// The kinds of number, with their weights in the sum (the first four after the note on methods: instrumentation 0.35,
/// harmony 0.25, density 0.2, register 0.2; the others are ours), and the least restlessness that counts.
const BLOCKS: [(f64, f64); 7] = [
    (3.5, 0.15), // who plays; its floor is in parts of the mean number of chairs
    (2.0, 0.15), // harmony
    (2.0, 0.15), // density, in octaves of onsets a quarter
    (2.0, 0.15), // register, in octaves
    (0.8, 0.25), // rhythm
    (1.0, 0.25), // level, in units of 6 dB
    (0.6, 0.10), // touch
];

/// Rows of numbers, with sums for quick means.
pub(super) struct Rows {
    width: usize,
    /// Sums of the rows before each bar, and of their squares.
    sums: Vec<f64>,
    squares: Vec<f64>,
}

impl Rows {
    /// Squared distance of the bars from `from` up to `to` from their mean.
    fn spread(&self, from: usize, to: usize) -> f64 {
        let count = (to - from) as f64;
        let sums = |bar: usize| &self.sums[bar * self.width..(bar + 1) * self.width];
        let mean: f64 = sums(from).iter().zip(sums(to)).map(|(a, b)| (b - a) * (b - a)).sum();
        (self.squares[to] - self.squares[from] - mean / count).max(0.0)
    }

    pub(super) fn of(score: &Score, survey: &Survey) -> Self {
        let lengths: Vec<f64> = score.timeline.bars.iter().map(|b| b.length.quarters().max(1e-6)).collect();
        let tracks = survey.cells.len();
        let mut blocks: Vec<Vec<Vec<f64>>> = vec![Vec::with_capacity(survey.bars); BLOCKS.len()];
        let mut register = [5.0, 5.5, 4.0];
        for (bar, length) in lengths.iter().enumerate() {
            let cells = || survey.cells.iter().map(|track| &track[bar]);
            blocks[0].push(cells().map(|c| (c.sounds * 2.0).min(1.0)).collect());
            blocks[1].push(harmony(survey, bar));
            blocks[2].push(density(cells(), *length));
            register = octaves(cells()).unwrap_or(register);
            blocks[3].push(register.to_vec());
            blocks[4].push(unit(survey.rhythm[bar].iter().map(|x| x.min(2.0)).collect()));
            blocks[5].push(vec![level(cells()) / 6.0]);
            blocks[6].push(touch(cells()));
        }
        // A silent bar is a breath and no change of sound: it is taken like the bar before it.
        for bar in 1..survey.bars {
            if survey.cells.iter().all(|track| !track[bar].plays()) {
                for block in &mut blocks {
                    block[bar] = block[bar - 1].clone();
                }
            }
        }
        let playing: f64 = blocks[0].iter().flatten().sum::<f64>() / survey.bars.max(1) as f64;
        let width = tracks + 12 + 2 + 3 + GRID + 1 + 2;
        let mut rows = vec![0.0; width * survey.bars];
        let mut at = 0;
        for (i, ((weight, floor), block)) in BLOCKS.iter().zip(&blocks).enumerate() {
            let floor = if i == 0 { floor * playing.max(1.0) } else { *floor };
            let scale = math::sqrt(weight / (floor + restlessness(block)));
            let size = block.first().map_or(0, Vec::len);
            for (bar, values) in block.iter().enumerate() {
                for (j, value) in values.iter().enumerate() {
                    rows[bar * width + at + j] = value * scale;
                }
            }
            at += size;
        }
        let mut sums = vec![0.0; width];
        let mut squares = vec![0.0];
        for bar in 0..survey.bars {
            let row = &rows[bar * width..(bar + 1) * width];
            for (j, value) in row.iter().enumerate() {
                sums.push(sums[bar * width + j] + value);
            }
            squares.push(squares[bar] + row.iter().map(|x| x * x).sum::<f64>());
        }
        Self { width, sums, squares }
    }
}

/// Half the squared step from bar to bar, in the middle of all steps: seams are few and do not touch the median.
fn restlessness(block: &[Vec<f64>]) -> f64 {
    let mut largest: f64 = 0.0;
    for lag in [1, 2] {
        let mut steps: Vec<f64> = block
            .iter()
            .zip(block.iter().skip(lag))
            .map(|(a, b)| a.iter().zip(b).map(|(x, y)| (x - y) * (x - y)).sum::<f64>() / 2.0)
            .collect();
        steps.sort_by(f64::total_cmp);
        largest = largest.max(steps.get(steps.len() / 2).copied().unwrap_or(0.0));
    }
    largest
}

fn unit(values: Vec<f64>) -> Vec<f64> {
    let size = math::sqrt(values.iter().map(|x| x * x).sum());
    if size > 0.0 { values.into_iter().map(|x| x / size).collect() } else { values }
}

fn harmony(survey: &Survey, bar: usize) -> Vec<f64> {
    let mut classes = vec![0.0; 12];
    for slot in &survey.harmony[bar * SLOTS..(bar + 1) * SLOTS] {
        for (sum, x) in classes.iter_mut().zip(slot) {
            *sum += x;
        }
    }
    unit(classes)
}

/// How often anything begins, and how often it begins in one chair, in octaves (log 2) of onsets a quarter.
fn density<'a>(cells: impl Iterator<Item = &'a Cell>, length: f64) -> Vec<f64> {
    let (mut most, mut all, mut playing) = (0, 0, 0);
    for cell in cells.filter(|c| c.plays()) {
        (most, all, playing) = (most.max(cell.onsets), all + cell.onsets, playing + 1);
    }
    let octaves = |onsets: f64| math::log2(0.5 + onsets / length);
    vec![octaves(f64::from(most)), octaves(f64::from(all) / f64::from(playing.max(1)))]
}

/// Middle, top and bottom of what sounds, in octaves.
fn octaves<'a>(cells: impl Iterator<Item = &'a Cell>) -> Option<[f64; 3]> {
    let (mut sum, mut weight, mut low, mut high) = (0.0, 0.0, f64::MAX, f64::MIN);
    for centre in cells.filter_map(Cell::centre) {
        (sum, weight) = (sum + centre, weight + 1.0);
        (low, high) = (low.min(centre), high.max(centre));
    }
    (weight > 0.0).then(|| [sum / weight / 12.0, high / 12.0, low / 12.0])
}

fn level<'a>(cells: impl Iterator<Item = &'a Cell>) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0);
    for cell in cells.filter(|c| c.plays()) {
        (sum, count) = (sum + cell.level, count + 1.0);
    }
    if count > 0.0 { sum / count } else { 0.0 }
}

/// Parts of the notes that are slurred, and that are short.
fn touch<'a>(cells: impl Iterator<Item = &'a Cell>) -> Vec<f64> {
    let (mut slurred, mut short, mut notes) = (0, 0, 0);
    for cell in cells {
        (slurred, short, notes) = (slurred + cell.slurred, short + cell.short, notes + cell.notes);
    }
    let of = |count: u32| f64::from(count) / f64::from(notes.max(1));
    vec![of(slurred), of(short)]
}

/// Adds the seams that are found to those that are marked.
pub(super) fn add(score: &Score, survey: &Survey, seams: &mut Vec<Seam>) {
    let rows = Rows::of(score, survey);
    let ends: Vec<usize> = seams.iter().skip(1).map(|s| s.bar).chain([survey.bars]).collect();
    let first = first_whole_bar(&score.timeline);
    let count = seams.len();
    let mut found = Vec::new();
    for (i, (seam, to)) in seams.iter().zip(&ends).enumerate() {
        // A pick-up bar is no bar of a phrase.
        let from = if seam.bar == 0 { first } else { seam.bar };
        let between = i > 0 && i + 1 < count;
        if to - from.min(*to) < 2 * SHORTEST.max(2) || (between && to - from < CLOSE) {
            continue;
        }
        found.extend(
            cut(&rows, from, *to, Costs::of(survey.bars))
                .into_iter()
                .map(|bar| Seam { bar, ..Seam::default() }),
        );
    }
    seams.extend(found);
    seams.sort_by_key(|s| s.bar);
}

/// What seams cost in a piece.
#[derive(Clone, Copy)]
struct Costs {
    /// One more of them.
    seam: f64,
    /// How long the piece is, from 0 to 1.
    longness: f64,
}

impl Costs {
    fn of(bars: usize) -> Self {
        let within =
            |from: usize, to: usize| (bars.saturating_sub(from) as f64 / (to - from) as f64).min(1.0);
        let brief = BRIEF.0 * (1.0 - within(BRIEF.1, BRIEF.2));
        Self { seam: COST * (1.0 - brief), longness: within(LONG.0, LONG.1) }
    }
}

/// What a stretch of this length costs beside its spread.
fn price(length: usize, costs: Costs) -> f64 {
    let short = SHORT * costs.longness * PHRASE.saturating_sub(length) as f64 / PHRASE as f64;
    costs.seam
        * if length < 4 {
            1.0 + HASTY + short
        } else if length < PHRASE {
            short + if length == 4 { 1.0 - FOUR } else { 1.0 }
        } else if length.is_multiple_of(8) {
            1.0 - EIGHT
        } else if length.is_multiple_of(4) {
            1.0 - FOUR
        } else {
            1.0
        }
}

/// The seams inside `from..to`.
fn cut(rows: &Rows, from: usize, to: usize, costs: Costs) -> Vec<usize> {
    let count = to - from;
    // best[j]: least cost of the first j bars, and where its last stretch begins.
    let mut best: Vec<(f64, usize)> = vec![(0.0, 0)];
    for end in 1..=count {
        let mut least = (f64::MAX, 0);
        let earliest = end.saturating_sub(WINDOW);
        for (begin, (before, _)) in best.iter().enumerate().skip(earliest) {
            let length = end - begin;
            if length < SHORTEST && length != count {
                continue;
            }
            if *before == f64::MAX {
                continue;
            }
            let cost = before + rows.spread(from + begin, from + end) + price(length, costs);
            if cost < least.0 {
                least = (cost, begin);
            }
        }
        best.push(least);
    }
    let mut found = Vec::new();
    let mut end = count;
    while end > 0 {
        end = best[end].1;
        if end > 0 {
            found.push(from + end);
        }
    }
    found.reverse();
    join(rows, from, to, found, costs)
}

/// Takes back seams that only the width of the window made.
fn join(rows: &Rows, from: usize, to: usize, mut found: Vec<usize>, costs: Costs) -> Vec<usize> {
    loop {
        let gain = |i: usize, found: &[usize]| {
            let begin = if i == 0 { from } else { found[i - 1] };
            let end = found.get(i + 1).copied().unwrap_or(to);
            rows.spread(begin, end) - rows.spread(begin, found[i]) - rows.spread(found[i], end)
        };
        let weakest = (0..found.len())
            .map(|i| (gain(i, &found), i))
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .filter(|(gain, _)| *gain < costs.seam * (1.0 - EIGHT));
        let Some((_, i)) = weakest else { return found };
        found.remove(i);
    }
}
