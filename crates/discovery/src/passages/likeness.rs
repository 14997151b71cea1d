//! How alike two passages are.
//!
//! They are alike where their harmony and rhythm go the same way bar by bar, in the same key or another, whoever plays.

use crate::survey::{GRID, SLOTS, Survey};
use ripieno_units::math;

/// The shorter of two alike passages has at least this part of the longer one's bars.
const COVER: f64 = 0.6;
/// Passages may be shifted so many bars against each other: an introduction or an upbeat bar more.
const SHIFT: usize = 2;
/// Harmony counts so much, rhythm the rest.
const HARMONY: f64 = 0.7;

/// Likeness of two passages, 0 to 1: bar by bar, in the best of twelve keys and a few shifts.
pub(super) fn likeness(survey: &Survey, a: (usize, usize), b: (usize, usize)) -> f64 {
    let (long, short) = if a.1 - a.0 >= b.1 - b.0 { (a, b) } else { (b, a) };
    let (length, bars) = (long.1 - long.0, short.1 - short.0);
    if bars == 0 || (bars as f64) < COVER * length as f64 {
        return 0.0;
    }
    let mut best: f64 = 0.0;
    for shift in 0..=(length - bars).min(SHIFT) {
        let pairs = || (0..bars).map(|i| (long.0 + shift + i, short.0 + i));
        let rhythm: f64 =
            pairs().map(|(x, y)| cosine::<GRID>(&survey.rhythm[x], &survey.rhythm[y])).sum::<f64>()
                / bars as f64;
        let harmony = (0..12)
            .map(|up| {
                let sum: f64 = pairs()
                    .flat_map(|(x, y)| (0..SLOTS).map(move |s| (x * SLOTS + s, y * SLOTS + s)))
                    .map(|(x, y)| turned(&survey.harmony[x], &survey.harmony[y], up))
                    .sum();
                sum / (bars * SLOTS) as f64
            })
            .fold(0.0, f64::max);
        best = best.max(HARMONY * harmony + (1.0 - HARMONY) * rhythm);
    }
    best
}

/// Likeness of a row with another moved up by so many semitones.
fn turned(a: &[f64; 12], b: &[f64; 12], up: usize) -> f64 {
    let mut moved = [0.0; 12];
    for (i, x) in b.iter().enumerate() {
        moved[(i + up) % 12] = *x;
    }
    cosine(a, &moved)
}

/// Cosine of the angle between two rows; two empty ones are alike, an empty and a full one not.
pub(super) fn cosine<const N: usize>(a: &[f64; N], b: &[f64; N]) -> f64 {
    let dot: f64 = a.iter().zip(b).map(|(x, y)| x * y).sum();
    let size = |v: &[f64; N]| v.iter().map(|x| x * x).sum::<f64>();
    let (p, q) = (size(a), size(b));
    if p == 0.0 && q == 0.0 {
        1.0
    } else if p == 0.0 || q == 0.0 {
        0.0
    } else {
        dot / math::sqrt(p * q)
    }
}
