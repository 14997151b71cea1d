//! Passages that the source itself marks.

use super::Seam;
use crate::survey::Survey;
use ripieno_music::{Score, TimeMarkKind, Timeline};
use ripieno_units::math;
use std::collections::BTreeMap;

/// A key or metre that gives way sooner is a passing one, and no passage.
const LASTS: usize = 4;
/// Without a mark no passage is shorter.
const SHORTEST: usize = 2;
/// A tempo counts as new where it differs by more than this factor: smaller steps are inflections.
const NEW_TEMPO: f64 = 1.12;
/// The tempo of this many bars before and after is compared.
const STEADY: usize = 4;
/// Inside one side, tempi may differ by this factor and still be one tempo.
const ONE_TEMPO: f64 = 1.06;

/// Seams from marks, in order; the first stands at the first bar and is never taken away.
pub(super) fn seams(score: &Score, survey: &Survey) -> Vec<Seam> {
    let timeline = &score.timeline;
    let mut found: BTreeMap<usize, Seam> = BTreeMap::new();
    let first = first_whole_bar(timeline);
    let mut add = |bar: usize, why: String, name: Option<String>, marked: bool| {
        let bar = if bar <= first { 0 } else { bar };
        if bar >= timeline.bars.len() {
            return;
        }
        let seam = found.entry(bar).or_insert_with(|| Seam { bar, ..Seam::default() });
        seam.marked |= marked;
        if seam.name.is_none() {
            seam.name = name;
        }
        if bar > 0 && !seam.because.contains(&why) {
            seam.because.push(why);
        }
    };
    add(0, String::new(), None, true);
    for mark in &timeline.marks {
        let text = mark.text.split_whitespace().collect::<Vec<_>>().join(" ");
        let named = (!text.is_empty()).then(|| text.clone());
        let (why, name) = match mark.kind {
            TimeMarkKind::Rehearsal if text.is_empty() => ("rehearsal mark".to_owned(), None),
            TimeMarkKind::Rehearsal => (format!("rehearsal mark {text}"), named),
            TimeMarkKind::Marker | TimeMarkKind::Cue if text.is_empty() => ("marker".to_owned(), None),
            TimeMarkKind::Marker | TimeMarkKind::Cue => (format!("marker \"{text}\""), named),
            TimeMarkKind::DoubleBar => ("double bar".to_owned(), None),
            TimeMarkKind::Tempo => continue,
        };
        if mark.at < timeline.end()
            && let Some(bar) = nearest_barline(timeline, mark.at)
        {
            add(bar, why, name, true);
        }
    }
    for bar in new_metres(timeline) {
        let metre = timeline.bars[bar].metre;
        add(bar, format!("{}/{}", metre.beats, metre.unit), None, false);
    }
    for (bar, words) in new_keys(timeline) {
        add(bar, words, None, false);
    }
    for (bar, slower) in new_tempi(timeline) {
        add(bar, if slower { "slower" } else { "faster" }.to_owned(), None, false);
    }
    for bar in after_pauses(survey) {
        add(bar, "after a general pause".to_owned(), None, false);
    }
    apart(found.into_values().collect(), timeline.bars.len())
}

/// What is not marked, and a bar away from another seam, is said there and is no passage of its own.
fn apart(seams: Vec<Seam>, bars: usize) -> Vec<Seam> {
    let mut kept: Vec<Seam> = Vec::with_capacity(seams.len());
    for seam in seams {
        let near_end = bars < seam.bar + SHORTEST && !seam.marked;
        match kept.last_mut() {
            Some(last) if seam.bar < last.bar + SHORTEST && (!seam.marked || !last.marked) => {
                if seam.marked {
                    let before = std::mem::replace(last, seam);
                    last.because.extend(before.because);
                } else if last.bar > 0 {
                    last.because.extend(seam.because);
                }
            }
            _ if near_end => {}
            _ => kept.push(seam),
        }
    }
    kept
}

/// Index of bar 1: 1 where there is a pick-up.
pub(super) fn first_whole_bar(timeline: &Timeline) -> usize {
    timeline.bars.iter().position(|b| b.number >= 1).unwrap_or(0)
}

/// A mark inside a bar counts for the nearer barline. `None` past the end.
fn nearest_barline(timeline: &Timeline, at: ripieno_units::Beats) -> Option<usize> {
    let index = timeline.bar_index(at);
    let bar = &timeline.bars[index];
    let index = if at - bar.at > bar.length.scaled(1, 2) { index + 1 } else { index };
    (index < timeline.bars.len()).then_some(index)
}

/// Bars at which a metre begins that lasts, after one that lasted.
fn new_metres(timeline: &Timeline) -> Vec<usize> {
    let bars = &timeline.bars;
    let first = first_whole_bar(timeline);
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for (bar, one) in bars.iter().enumerate().skip(first) {
        match runs.last_mut() {
            Some(run) if bars[run.0].metre == one.metre => run.1 = bar,
            _ => runs.push((bar, bar)),
        }
    }
    let lasts = |run: &(usize, usize)| run.1 + 1 - run.0 >= LASTS;
    let mut found = Vec::new();
    for (i, run) in runs.iter().enumerate().skip(1) {
        // Where metres alternate in short runs the whole is one passage; its ends are where a lasting metre stands beside it.
        if lasts(run) || lasts(&runs[i - 1]) {
            found.push(run.0);
        }
    }
    // Back in the same metre after a passing change: no seam on either side of it.
    for i in 1..runs.len().saturating_sub(1) {
        let (before, here, after) = (runs[i - 1], runs[i], runs[i + 1]);
        if !lasts(&here) && bars[before.0].metre == bars[after.0].metre {
            found.retain(|bar| *bar != here.0 && *bar != after.0);
        }
    }
    found
}

fn new_keys(timeline: &Timeline) -> Vec<(usize, String)> {
    let mut found = Vec::new();
    for (i, key) in timeline.keys.iter().enumerate().skip(1) {
        let Some(bar) = nearest_barline(timeline, key.at) else { continue };
        let end = timeline.keys.get(i + 1).map_or(timeline.bars.len(), |k| timeline.bar_index(k.at));
        let before = timeline.keys[i - 1];
        if (before.fifths, before.minor) == (key.fifths, key.minor) || end < bar + LASTS.min(2) {
            continue;
        }
        found.push((bar, format!("key of {}", key_name(key.fifths, key.minor))));
    }
    found
}

/// `D`, `B flat minor`: from the circle of fifths.
fn key_name(fifths: i8, minor: bool) -> String {
    const CIRCLE: [&str; 7] = ["F", "C", "G", "D", "A", "E", "B"];
    // C stands at index 1; a minor key has the signature of the major key three fifths below it.
    let place = i32::from(fifths) + 1 + if minor { 3 } else { 0 };
    let letter = CIRCLE[usize::try_from(place.rem_euclid(7)).unwrap_or(0)];
    let sign = match place.div_euclid(7) {
        0 => "",
        s if s > 0 => " sharp",
        _ => " flat",
    };
    format!("{letter}{sign}{}", if minor { " minor" } else { "" })
}

/// Bars at which a lasting tempo begins, and whether it is the slower. A ritardando that returns makes none.
fn new_tempi(timeline: &Timeline) -> Vec<(usize, bool)> {
    let bars = &timeline.bars;
    if timeline.tempi.len() < 2 {
        return Vec::new();
    }
    // Mean tempo of each bar, as time: sums of seconds at the barlines.
    let clock = timeline.clock();
    let marks: Vec<f64> =
        bars.iter().map(|b| b.at).chain([timeline.end()]).map(|at| clock.seconds(at).0).collect();
    let pace: Vec<f64> = bars
        .iter()
        .enumerate()
        .map(|(i, b)| (marks[i + 1] - marks[i]).max(1e-6) / b.length.quarters().max(1e-6))
        .collect();
    let steady = |from: usize, to: usize| -> Option<f64> {
        let mut inside: Vec<f64> = pace[from..to].to_vec();
        inside.sort_by(f64::total_cmp);
        let middle = *inside.get(inside.len() / 2)?;
        let near = inside.iter().filter(|p| (**p / middle).max(middle / **p) < ONE_TEMPO).count();
        (near * 4 >= inside.len() * 3).then_some(middle)
    };
    let mut found: Vec<(usize, bool, f64)> = Vec::new();
    for bar in 2..bars.len().saturating_sub(1) {
        let after = steady(bar, (bar + STEADY).min(bars.len()));
        // The bar just before may already slow down.
        let before =
            steady(bar.saturating_sub(STEADY), bar).or(steady(bar.saturating_sub(STEADY + 1), bar - 1));
        let (Some(before), Some(after)) = (before, after) else { continue };
        let here = (pace[bar] / after).max(after / pace[bar]) < ONE_TEMPO;
        let there = (pace[bar - 1] / after).max(after / pace[bar - 1]) < ONE_TEMPO;
        let change = (before / after).max(after / before);
        if change < NEW_TEMPO || !here || there {
            continue;
        }
        let size = math::ln(change);
        match found.last_mut() {
            Some(last) if bar < last.0 + STEADY => {
                if size > last.2 {
                    *last = (bar, after > before, size);
                }
            }
            _ => found.push((bar, after > before, size)),
        }
    }
    found.into_iter().map(|(bar, slower, _)| (bar, slower)).collect()
}

/// Bars after a bar (or more) in which nobody plays.
fn after_pauses(survey: &Survey) -> Vec<usize> {
    let silent = |bar: usize| survey.cells.iter().all(|track| !track[bar].plays());
    let mut sounded = false;
    let mut found = Vec::new();
    for bar in 1..survey.bars {
        sounded |= !silent(bar - 1);
        if sounded && silent(bar - 1) && !silent(bar) {
            found.push(bar);
        }
    }
    found
}
