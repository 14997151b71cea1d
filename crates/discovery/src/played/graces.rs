//! Quick notes that stand in no place of the beat: grace notes, and what tells them from counted ones.

use super::grid::Onset;

/// What a grace note costs, in nats: more than a common place, less than a lone thirty-second.
const GRACE: f64 = 4.6;
/// A grace note is followed by its neighbour within this time, in seconds (40 to 110 ms after Timmers and others 2002, and
/// the spread of players).
const GRACE_GAP: f64 = 0.125;
/// How long grace notes mostly are at the most, and how far longer ones stray from that, in seconds.
const LONG: (f64, f64) = (0.070, 0.022);
/// What grace notes cost together, in nats, and each of them, where they stand by themselves: quicker than what is before and
/// after them.
const ORNAMENT: (f64, f64) = (3.0, 0.8);
/// And each beyond so many: longer runs are mostly counted.
const MANY: (usize, f64) = (4, 1.5);
/// They stand by themselves if both times beside them are this many times their own.
const ASIDE: f64 = 1.6;
/// So many steps on either side show a run; onsets no further apart than this, in seconds, are struck together.
const RUN: usize = 4;
const STRUCK: f64 = 0.030;
/// A step of a run is as long as its usual one, within these shares.
const OF_THE_RUN: std::ops::RangeInclusive<f64> = 0.5..=1.5;
/// What a grace note costs where a run would have a hole without it, in shares of [`GRACE`].
const HOLE: f64 = 1.5;
/// No step of a group of grace notes is longer than this many times the mean.
const UNEVEN: f64 = 1.7;
/// A single quick note by itself is hardly ever counted: what it costs at most, in nats.
const HASTE: f64 = 4.0;
/// From where to where notes are too quick to be counted, in seconds: the quickest counted notes of one hand follow each other
/// 12 to 14 times a second (after Moore 1992).
const QUICK: (f64, f64) = (0.085, 0.060);

/// May the onsets `from..to` be grace notes of `to`? Short, one after the other, close; the closest of a group of graces are
/// told from a chord by their ends.
pub(super) fn may_be(onsets: &[Onset], from: usize, to: usize) -> bool {
    (from..to).all(|g| {
        let (one, next) = (&onsets[g], &onsets[g + 1]);
        let (gap, length) = (next.on - one.on, one.end - one.on);
        let apart = gap > 0.020 || gap > 0.004 && length <= 0.060 && one.end - next.on <= 0.5 * length;
        apart && gap <= GRACE_GAP && length <= 0.180
    }) && onsets[from].key != onsets[from + 1].key
}

/// Do the onsets `from..to` and the step to `to` stand by themselves?
fn aside(onsets: &[Onset], from: usize, to: usize) -> bool {
    let step = (onsets[to].on - onsets[from].on) / (to - from).max(1) as f64;
    let before = from.checked_sub(1).map_or(f64::INFINITY, |b| onsets[from].on - onsets[b].on);
    // What is struck with the main note is no next one.
    let after = onsets[to + 1..].iter().map(|o| o.on - onsets[to].on).find(|gap| *gap > 0.030);
    let least = ASIDE * step;
    let gaps = (from..to).map(|g| onsets[g + 1].on - onsets[g].on);
    let even = gaps.fold(0.0, f64::max) <= UNEVEN * step;
    even && before >= least && after.unwrap_or(f64::INFINITY) >= least && !in_a_run(onsets, from, to)
}

/// Are the onsets `from..to` in the places of a run that goes on around them? Without them it would have a hole; with grace
/// notes a run goes on as it was.
fn in_a_run(onsets: &[Onset], from: usize, to: usize) -> bool {
    let mut gaps: Vec<f64> = Vec::with_capacity(2 * RUN);
    let mut last = onsets[to].on;
    for next in &onsets[to + 1..] {
        if next.on - last > STRUCK {
            gaps.push(next.on - last);
            last = next.on;
        }
        if gaps.len() == RUN {
            break;
        }
    }
    // The last one before them, then further back.
    let mut start: Option<f64> = None;
    let (mut last, mut count) = (onsets[from].on, 0);
    for before in onsets[..from].iter().rev() {
        if last - before.on <= STRUCK {
            continue;
        }
        if start.is_none() {
            start = Some(before.on);
        } else {
            gaps.push(last - before.on);
            count += 1;
        }
        last = before.on;
        if count == RUN {
            break;
        }
    }
    let Some(start) = start.filter(|_| gaps.len() >= RUN) else { return false };
    let usual = super::median(&mut gaps);
    let alike = gaps.iter().filter(|g| (0.65..=1.5).contains(&(**g / usual))).count();
    let within =
        std::iter::once(onsets[from].on - start).chain((from..to).map(|g| onsets[g + 1].on - onsets[g].on));
    let own = within.map(|gap| gap / usual).all(|step| OF_THE_RUN.contains(&step));
    let steps = (onsets[to].on - start) / usual;
    // As grace notes they would leave one step less: the bound lies between the two.
    let (few, many) = ((to - from) as f64, (to - from + 1) as f64);
    own && 4 * alike >= 3 * gaps.len()
        && (ripieno_units::math::sqrt(few * many)..=1.35 * many).contains(&steps)
}

/// What it costs, in nats, that the onsets `from..to` are grace notes of `to`.
pub(super) fn cost(onsets: &[Onset], from: usize, to: usize) -> f64 {
    let slow = |g: usize| {
        let z = ((onsets[g + 1].on - onsets[g].on - LONG.0) / LONG.1).max(0.0);
        0.5 * z * z
    };
    let plain = GRACE * (to - from) as f64 + (from..to).map(slow).sum::<f64>();
    if from < to && aside(onsets, from, to) {
        let many = MANY.1 * (to - from).saturating_sub(MANY.0) as f64;
        let by_themselves = ORNAMENT.0 + ORNAMENT.1 * (to - from) as f64 + many;
        let step = (onsets[to].on - onsets[from].on) / (to - from) as f64;
        return plain - quick(step) * (plain - by_themselves).max(0.0);
    }
    if from < to && in_a_run(onsets, from, to) { HOLE * plain } else { plain }
}

/// What it costs that onset `i`, which leads into the next, has a place of its own.
pub(super) fn haste(onsets: &[Onset], i: usize) -> f64 {
    if i + 1 >= onsets.len() || !may_be(onsets, i, i + 1) || !aside(onsets, i, i + 1) {
        return 0.0;
    }
    HASTE * quick(onsets[i + 1].on - onsets[i].on)
}

/// Are notes that follow each other after so many seconds too quick to be counted? 0 to 1.
pub(super) fn quick(step: f64) -> f64 {
    ((QUICK.0 - step) / (QUICK.0 - QUICK.1)).clamp(0.0, 1.0)
}
