//! The level of a chair over time: marks, phrase, height, accents, or the velocities of a source that was played.

use crate::chair::{Draft, Performer, Stage};
use crate::curve::{self, SwellSpan};
use crate::nature::Nature;
use ripieno_music::{Curve, DirectionKind, Mark, named};
use std::collections::BTreeSet;

/// Stretches that grow to a barline.
pub(crate) fn swell_spans(stage: &Stage<'_>, drafts: &[Draft<'_>]) -> Vec<SwellSpan> {
    let mut spans: Vec<SwellSpan> = Vec::new();
    for draft in drafts.iter().filter(|d| d.articulation == named::SWELL) {
        let (from, end) = (draft.note.at, draft.note.end());
        // The barline at its end, or the first one after it.
        let i = stage.barlines.partition_point(|b| *b < end);
        let peak = stage.barlines.get(i).copied().unwrap_or(end);
        if spans.last().is_none_or(|s| s.peak <= from) {
            spans.push(SwellSpan { from, peak, to: peak });
        }
    }
    spans
}

/// Marks, phrase, height and accents as one curve.
pub(crate) fn level_curve(
    stage: &Stage<'_>,
    performer: &Performer<'_>,
    nature: Nature,
    drafts: &[Draft<'_>],
    swells: &[SwellSpan],
) -> Curve {
    let part = performer.part;
    let marked = part.content.directions.iter().any(|d| {
        matches!(d.kind, DirectionKind::Hairpin { .. })
            || matches!(d.kind, DirectionKind::Dynamic(m) if m.level().is_some())
    });
    let mut tops: Vec<&Draft<'_>> = drafts.iter().filter(|d| d.rank == 0).collect();
    tops.sort_by(|a, b| a.onset.total_cmp(&b.onset));
    let velocities: BTreeSet<u8> = tops.iter().filter_map(|d| d.note.velocity).collect();
    // Velocities that are all one tell nothing.
    let by_velocity = velocities.len() > 1 && (!marked || stage.options.keep_velocity);
    let base = if by_velocity {
        played_level(&tops)
    } else {
        curve::marked_level(&part.content.directions, swells, stage.clock, stage.timeline.end())
    };
    let mut curves = vec![base];
    if !by_velocity && nature.sustains() {
        curves.push(phrase_level(&tops));
    }
    if nature.sustains() {
        curves.push(accent_level(&tops));
        if performer.instrument.id.contains("trombone") {
            curves.push(soft_tongue(&tops));
        }
    }
    let mut sum = curve::sum(&curves);
    for point in &mut sum.points {
        point.1 = point.1.clamp(-45.0, 18.0);
    }
    sum
}

/// Velocities as levels: 1 to 127 over the range from ppp to fff.
fn played_level(tops: &[&Draft<'_>]) -> Curve {
    let mut points: Vec<(f64, f64)> = Vec::new();
    for draft in tops {
        let Some(velocity) = draft.note.velocity else { continue };
        let level = -18.0 + 31.5 * (f64::from(velocity) - 1.0) / 126.0;
        if let Some(last) = points.last().copied() {
            if draft.onset <= last.0 {
                continue;
            }
            points.push(((draft.onset - 0.040).max(last.0), last.1));
        }
        points.push((draft.onset, level));
    }
    if points.is_empty() { Curve::flat(0.0) } else { Curve { points } }
}

/// Phrase arch in level (2 dB at the ends, turning point 0.6, power 2) and high-loud (3 dB an octave about the part's
/// mean, halved and held within 2 dB): Friberg, Bresin and Sundberg 2006.
fn phrase_level(tops: &[&Draft<'_>]) -> Curve {
    let keys: Vec<f64> = tops.iter().filter_map(|d| d.note.pitch()).map(|p| f64::from(p.key)).collect();
    if keys.is_empty() {
        return Curve::flat(0.0);
    }
    let mean = keys.iter().sum::<f64>() / keys.len() as f64;
    let mut points: Vec<(f64, f64)> = Vec::new();
    let mut from = 0;
    while from < tops.len() {
        let mut to = from;
        while to + 1 < tops.len()
            && tops[to + 1].onset - tops[to].end < 0.25
            && !tops[to].note.marks.has(Mark::BreathAfter)
        {
            to += 1;
        }
        let (start, end) = (tops[from].onset, tops[to].end);
        // A single note or an endless line is no phrase.
        let arched = to > from + 1 && end - start < 30.0;
        for draft in &tops[from..=to] {
            let x = ((draft.onset - start) / (end - start).max(1e-6)).clamp(0.0, 1.0);
            let d = if x < 0.6 { (0.6 - x) / 0.6 } else { (x - 0.6) / 0.4 };
            let arch = if arched { -2.0 * d * d } else { 0.0 };
            let high = draft.note.pitch().map_or(0.0, |p| (f64::from(p.key) - mean) / 8.0);
            let level = arch + high.clamp(-2.0, 2.0);
            if points.last().is_none_or(|p| p.0 < draft.onset) {
                points.push((draft.onset, level));
            }
        }
        from = to + 1;
    }
    Curve { points }
}

/// Accents: up on the beat, gone with a time constant of 150 ms.
fn accent_level(tops: &[&Draft<'_>]) -> Curve {
    let mut points: Vec<(f64, f64)> = vec![];
    for draft in tops.iter().filter(|d| d.accent > 0.0) {
        let at = draft.onset;
        while points.last().is_some_and(|p| p.0 >= at - 0.010) {
            points.pop();
        }
        points.push((at - 0.010, points.last().map_or(0.0, |p| p.1)));
        for (after, share) in [(0.0, 1.0), (0.075, 0.61), (0.15, 0.37), (0.30, 0.135), (0.55, 0.0)] {
            points.push((at + after, draft.accent * share));
        }
    }
    if points.is_empty() { Curve::flat(0.0) } else { Curve { points } }
}

/// A trombone cannot slur between slide positions: a soft tongue, heard as a dip of 4 dB in 40 ms.
fn soft_tongue(tops: &[&Draft<'_>]) -> Curve {
    let mut points: Vec<(f64, f64)> = Vec::new();
    for draft in tops.iter().filter(|d| d.joined) {
        let at = draft.onset;
        if points.last().is_some_and(|p| p.0 >= at - 0.030) {
            continue;
        }
        points.extend([(at - 0.030, 0.0), (at - 0.008, -4.0), (at + 0.020, 0.0)]);
    }
    if points.is_empty() { Curve::flat(0.0) } else { Curve { points } }
}
