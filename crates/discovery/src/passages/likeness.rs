//! Names of passages: the source's own, else letters by likeness of content.
//!
//! Two passages are alike where their harmony and rhythm go the same way bar by bar, in the same key or another, whoever
//! plays: a passage that comes again in other colours is `A'`, the third time `A''`.

use super::{Seam, marks::first_whole_bar};
use crate::survey::{GRID, SLOTS, Survey};
use ripieno_music::Score;
use ripieno_units::math;
use std::collections::BTreeSet;

/// Passages are alike from here on: mean likeness of bars, 0 to 1. Set on generated arrangements (`tests/cross/passages.py`).
const ALIKE: f64 = 0.8;
/// The shorter of two alike passages has at least this part of the longer one's bars.
const COVER: f64 = 0.6;
/// Passages may be shifted so many bars against each other: an introduction or an upbeat bar more.
const SHIFT: usize = 2;
/// Harmony counts so much, rhythm the rest.
const HARMONY: f64 = 0.7;
/// No more passages than this are compared with each other by content; a piece of more has closely set marks of its own.
const MOST_COMPARED: usize = 200;

/// One name for each seam, none twice.
pub(super) fn names(score: &Score, survey: &Survey, seams: &[Seam]) -> Vec<String> {
    let first = first_whole_bar(&score.timeline);
    let spans: Vec<(usize, usize)> = seams
        .iter()
        .enumerate()
        .map(|(i, s)| {
            let from = if s.bar == 0 { first.min(survey.bars) } else { s.bar };
            (from, seams.get(i + 1).map_or(survey.bars, |next| next.bar))
        })
        .collect();
    // The source's own names come first, so that no found name takes one of them.
    let mut taken: BTreeSet<String> = BTreeSet::new();
    let mut names: Vec<Option<String>> =
        seams.iter().map(|seam| seam.name.as_ref().map(|name| numbered(name, &mut taken))).collect();
    // Families: the first passage of each, its letter and how often it came.
    let mut families: Vec<(usize, String, usize)> = Vec::new();
    let mut letters = 0;
    for i in 0..seams.len() {
        if names[i].is_some() {
            continue;
        }
        let like = families
            .iter()
            .enumerate()
            .take(MOST_COMPARED)
            .map(|(f, (other, _, _))| (likeness(survey, spans[*other], spans[i]), f))
            .filter(|(likeness, _)| *likeness >= ALIKE)
            .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)));
        let name = if let Some((_, f)) = like {
            let (_, letter, times) = &mut families[f];
            *times += 1;
            primed(letter, *times, &mut taken)
        } else {
            let mut name = letter(letters);
            while taken.contains(&name.to_lowercase()) || family_taken(&name, &taken) {
                letters += 1;
                name = letter(letters);
            }
            letters += 1;
            families.push((i, name.clone(), 1));
            taken.insert(name.to_lowercase());
            name
        };
        names[i] = Some(name);
    }
    names.into_iter().flatten().collect()
}

/// A letter that the source uses with a number or a dash is left to the source.
fn family_taken(name: &str, taken: &BTreeSet<String>) -> bool {
    let name = name.to_lowercase();
    taken.contains(&format!("{name}'")) || taken.contains(&format!("{name} (2)"))
}

fn numbered(name: &str, taken: &mut BTreeSet<String>) -> String {
    let mut candidate = name.to_owned();
    let mut n = 1;
    while !taken.insert(candidate.to_lowercase()) {
        n += 1;
        candidate = format!("{name} ({n})");
    }
    candidate
}

/// `A'`, `A''`, `A'''`, `A (5)`.
fn primed(letter: &str, times: usize, taken: &mut BTreeSet<String>) -> String {
    let mut times = times;
    loop {
        let name = if times <= 4 {
            format!("{letter}{}", "'".repeat(times - 1))
        } else {
            format!("{letter} ({times})")
        };
        if taken.insert(name.to_lowercase()) {
            return name;
        }
        times += 1;
    }
}

/// A to Z, then AA, AB ...
fn letter(mut index: usize) -> String {
    let mut name = String::new();
    loop {
        name.insert(0, char::from(b'A' + (index % 26) as u8));
        if index < 26 {
            return name;
        }
        index = index / 26 - 1;
    }
}

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
