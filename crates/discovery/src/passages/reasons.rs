//! Why a passage begins, in a musician's words.

use super::Seam;
use crate::survey::Survey;
use ripieno_instruments::Family;
use ripieno_music::Score;
use ripieno_units::math;

/// So many bars on either side are compared.
const AROUND: usize = 4;
/// Most reasons that are said beside the marks.
const MOST: usize = 3;

/// What a stretch of bars sounds like.
struct Sound {
    /// By track: part of the bars in which it plays.
    plays: Vec<f64>,
    centre: Option<f64>,
    onsets: f64,
    level: Option<f64>,
}

pub(super) fn add(score: &Score, survey: &Survey, seams: &mut [Seam]) {
    let starts: Vec<usize> = seams.iter().map(|s| s.bar).collect();
    for (i, seam) in seams.iter_mut().enumerate().skip(1) {
        let here = seam.bar;
        let before = here.saturating_sub(AROUND).max(starts[i - 1]);
        let end = starts.get(i + 1).copied().unwrap_or(survey.bars);
        let after = (here + AROUND).min(end);
        // Who plays alone does so to the end.
        let whole = sound(score, survey, here, end);
        let words =
            compare(survey, &sound(score, survey, before, here), &sound(score, survey, here, after), &whole);
        seam.because.extend(words.into_iter().take(MOST));
        if seam.because.is_empty() {
            seam.because.push(smaller(survey, before, here, after));
        }
    }
}

fn sound(score: &Score, survey: &Survey, from: usize, to: usize) -> Sound {
    let bars = (to - from).max(1) as f64;
    let (mut pitch, mut weight, mut onsets, mut quarters) = (0.0, 0.0, 0.0, 0.0);
    let (mut level, mut levels) = (0.0, 0.0);
    let mut plays = vec![0.0; survey.cells.len()];
    for bar in from..to {
        quarters += score.timeline.bars[bar].length.quarters();
        let mut most = 0;
        for (track, cells) in survey.cells.iter().enumerate() {
            let cell = &cells[bar];
            if !cell.plays() {
                continue;
            }
            plays[track] += 1.0 / bars;
            (level, levels) = (level + cell.level, levels + 1.0);
            most = most.max(cell.onsets);
            if let Some(centre) = cell.centre() {
                (pitch, weight) = (pitch + centre, weight + 1.0);
            }
        }
        onsets += f64::from(most);
    }
    Sound {
        plays,
        centre: (weight > 0.0).then(|| pitch / weight),
        onsets: if quarters > 0.0 { onsets / quarters } else { 0.0 },
        level: (levels > 0.0).then(|| level / levels),
    }
}

/// The families as a sentence has them, with the verb's ending for what enters.
fn group(family: Option<Family>) -> (&'static str, bool) {
    match family {
        Some(Family::Woodwind) => ("winds", true),
        Some(Family::Brass) => ("brass", true),
        Some(Family::Percussion) => ("percussion", false),
        Some(Family::Keyboard) => ("keyboard", false),
        Some(Family::Plucked) => ("plucked strings", true),
        Some(Family::Voices) => ("voices", true),
        Some(Family::Strings) => ("strings", true),
        None => ("other parts", true),
    }
}

const FAMILIES: [Option<Family>; 8] = [
    Some(Family::Woodwind),
    Some(Family::Brass),
    Some(Family::Percussion),
    Some(Family::Keyboard),
    Some(Family::Plucked),
    Some(Family::Voices),
    Some(Family::Strings),
    None,
];

fn compare(survey: &Survey, before: &Sound, after: &Sound, whole: &Sound) -> Vec<String> {
    let mut words = Vec::new();
    let playing = |sound: &Sound| sound.plays.iter().filter(|p| **p >= 0.5).count();
    let (was, is) = (playing(before), playing(after));
    let ever = survey.cells.iter().filter(|track| track.iter().any(|c| c.plays())).count();
    let share = |sound: &Sound, family: Option<Family>| {
        let of = |track: &usize| survey.family(*track) == family;
        let all: Vec<usize> = (0..survey.cells.len()).filter(of).collect();
        let sum: f64 = all.iter().map(|t| sound.plays[*t]).sum();
        if all.is_empty() { 0.0 } else { sum / all.len() as f64 }
    };
    let sounding: Vec<Option<Family>> = FAMILIES.into_iter().filter(|f| share(whole, *f) > 0.1).collect();
    let sounded = FAMILIES.into_iter().filter(|f| share(before, *f) > 0.1).count();
    if ever >= 4 && is * 10 >= ever * 8 && was * 10 < ever * 8 && is >= was + 2 {
        words.push("tutti".to_owned());
    } else if let [only] = sounding[..]
        && sounded > 1
    {
        words.push(format!("{} alone", group(only).0));
    }
    if words.is_empty() {
        for family in FAMILIES {
            let (name, many) = group(family);
            let (old, new) = (share(before, family), share(after, family));
            if old < 0.1 && new >= 0.2 {
                words.push(format!("the {name} enter{}", if many { "" } else { "s" }));
            } else if new < 0.1 && old >= 0.2 {
                words.push(format!("the {name} stop{}", if many { "" } else { "s" }));
            }
        }
    }
    if words.is_empty() {
        if is > was && is * 4 >= was * 5 {
            words.push("fuller".to_owned());
        } else if was > is && was * 4 >= is * 5 {
            words.push("thinner".to_owned());
        } else if changed(before, after) >= 2 {
            words.push("other instruments".to_owned());
        }
    }
    if let (Some(old), Some(new)) = (before.centre, after.centre)
        && (new - old).abs() >= 4.0
    {
        words.push(if new > old { "higher" } else { "lower" }.to_owned());
    }
    if before.onsets > 0.0 && after.onsets > 0.0 {
        let ratio = math::log2(after.onsets / before.onsets);
        if ratio.abs() >= 0.58 {
            words.push(if ratio > 0.0 { "busier" } else { "calmer" }.to_owned());
        }
    }
    if let (Some(old), Some(new)) = (before.level, after.level)
        && (new - old).abs() >= 4.0
    {
        words.push(if new > old { "louder" } else { "softer" }.to_owned());
    }
    words
}

/// How many tracks came or went.
fn changed(before: &Sound, after: &Sound) -> usize {
    before.plays.iter().zip(&after.plays).filter(|(a, b)| (*a - *b).abs() >= 0.5).count()
}

/// What is said where no single change is large: the harmony, if it moved, else the sound as a whole.
fn smaller(survey: &Survey, before: usize, here: usize, after: usize) -> String {
    let chroma = |from: usize, to: usize| {
        let mut sum = [0.0; 12];
        for slot in &survey.harmony[from * crate::survey::SLOTS..to * crate::survey::SLOTS] {
            for (s, x) in sum.iter_mut().zip(slot) {
                *s += x;
            }
        }
        sum
    };
    let (a, b) = (chroma(before, here), chroma(here, after));
    if super::likeness::cosine(&a, &b) < 0.85 { "new harmony" } else { "new texture" }.to_owned()
}
