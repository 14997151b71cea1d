//! Curves of one track: dynamics, bends, pedal, thinned to what a controller can tell.

use crate::schedule::{self, Item, Timed, value_of};
use ripieno_formats::midi::MidiEvent;
use ripieno_music::{ChairPerformance, Clock, Curve};
use ripieno_plan::PatchCard;
use ripieno_units::{Seconds, math};
use std::collections::{BTreeMap, BTreeSet};

/// How long before its note a controller is set.
const AHEAD: f64 = 0.015;
/// How far a controller may be from its curve, in steps.
const BAND: f64 = 0.95;
/// A curve that is not straight is followed in pieces of this length, in seconds.
const GRID: f64 = 0.005;
/// Events of one curve are at least so far apart: at most 50 a second.
const APART: f64 = 0.0201;

/// A controller's curve over one stretch of sounding notes.
struct Stretch<'a> {
    number: u8,
    from: f64,
    to: f64,
    target: Target<'a>,
}

#[derive(Clone, Copy)]
enum Target<'a> {
    /// The level through the response.
    Dynamic(&'a [(u8, f64)]),
    /// What lies below the response's lowest level: 127 as long as nothing does.
    Below(f64),
    /// A curve of the source.
    Kept(&'a Curve),
}

/// All curve events of a track. `channels` are those that its notes are sent on.
pub fn events(chair: &ChairPerformance, card: &PatchCard, items: &[Item], clock: &Clock) -> Vec<Timed> {
    let channels: BTreeSet<u8> = items.iter().filter(|i| i.sent).map(|i| i.channel).collect();
    let mut out = Vec::new();
    if channels.is_empty() {
        return out;
    }
    let on_all = |tick: i64, number: u8, value: u8, out: &mut Vec<Timed>| {
        for channel in &channels {
            out.push(Timed {
                tick,
                order: 1,
                event: MidiEvent::Controller { channel: *channel, number, value },
            });
        }
    };
    let mut by_number: BTreeMap<u8, Vec<Stretch<'_>>> = BTreeMap::new();
    for stretch in stretches(chair, card, items, clock) {
        by_number.entry(stretch.number).or_default().push(stretch);
    }
    for (number, mut list) in by_number {
        list.sort_by(|a, b| a.from.total_cmp(&b.from));
        let mut current: Option<u8> = None;
        let mut busy_until = f64::MIN;
        for stretch in list {
            let from = stretch.from.max(busy_until);
            busy_until = busy_until.max(stretch.to);
            if from >= stretch.to {
                continue;
            }
            // What is told before the note is what holds at the note.
            let knots = knots(&stretch.target, &chair.level, from + AHEAD, stretch.to.max(from + AHEAD));
            for (i, (at, value)) in steps(&knots).into_iter().enumerate() {
                let at = if i == 0 { from } else { at };
                if current == Some(value) {
                    continue;
                }
                on_all(schedule::tick(clock, at), number, value, &mut out);
                current = Some(value);
            }
        }
    }
    for (down, up) in &chair.pedal {
        if card.dynamics.controller != Some(64) {
            on_all(schedule::tick(clock, down.0), 64, 127, &mut out);
            on_all(schedule::tick(clock, up.0), 64, 0, &mut out);
        }
    }
    out.extend(bends(chair, card, items, clock));
    out
}

/// The controller's value as a polyline over `from..=to`: exact where level and response are straight.
fn knots(target: &Target<'_>, level: &Curve, from: f64, to: f64) -> Vec<(f64, f64)> {
    let source = match target {
        Target::Kept(curve) => curve,
        _ => level,
    };
    let points = &source.points;
    let first = points.partition_point(|p| p.0 <= from);
    let last = points.partition_point(|p| p.0 < to);
    let mut line = vec![(from, source.at(Seconds(from)))];
    line.extend(points[first..last.max(first)].iter().copied());
    line.push((to, source.at(Seconds(to))));
    match target {
        Target::Kept(_) => line,
        Target::Dynamic(response) => {
            let value = |db: f64| value_of(response, db);
            let mut out = vec![(from, value(line[0].1))];
            for pair in line.windows(2) {
                let ((t0, a), (t1, b)) = (pair[0], pair[1]);
                // Corners of the response that the level passes on its way.
                let mut corners: Vec<f64> = response
                    .iter()
                    .map(|r| r.1)
                    .filter(|c| (a.min(b) < *c) && (*c < a.max(b)))
                    .map(|c| t0 + (t1 - t0) * (c - a) / (b - a))
                    .collect();
                corners.sort_by(f64::total_cmp);
                for t in corners {
                    out.push((t, value(math::lerp(a, b, (t - t0) / (t1 - t0).max(1e-12)))));
                }
                out.push((t1, value(b)));
            }
            out
        }
        // Concave law of DLS and General MIDI: dB = 40 lg(value/127).
        Target::Below(lowest) => {
            let value = |db: f64| 127.0 * math::pow(10.0, (db - lowest).min(0.0) / 40.0);
            let mut out = vec![(from, value(line[0].1))];
            for pair in line.windows(2) {
                let ((t0, a), (t1, b)) = (pair[0], pair[1]);
                if a.min(b) < *lowest && a != b {
                    let pieces = ((t1 - t0) / GRID).ceil().clamp(1.0, 4000.0) as usize;
                    for k in 1..pieces {
                        let x = k as f64 / pieces as f64;
                        out.push((t0 + (t1 - t0) * x, value(math::lerp(a, b, x))));
                    }
                }
                out.push((t1, value(b)));
            }
            out
        }
    }
}

/// The fewest whole values that stay within one step of a polyline, each with the time from which it holds, at least
/// [`APART`] after the one before.
fn steps(knots: &[(f64, f64)]) -> Vec<(f64, u8)> {
    let mut out: Vec<(f64, u8)> = Vec::new();
    let Some(first) = knots.first().copied() else { return out };
    // The piece that is open: since when, and the span of the curve since then.
    let (mut start, mut low, mut high) = (first.0, first.1, first.1);
    // A whole number within one step of all of a span; a little less, so that rounding to ticks stays within one too.
    let least = |high: f64| (high - BAND).ceil();
    let most = |low: f64| (low + BAND).floor();
    let value = |low: f64, high: f64| {
        let (from, to) = (least(high), most(low));
        (0.5 * (low + high)).round().max(from).min(to.max(from)).clamp(0.0, 127.0) as u8
    };
    for pair in knots.windows(2) {
        let ((t0, a), (t1, b)) = (pair[0], pair[1]);
        // Still waiting for the next event: what holds when its time comes is what counts.
        if start >= t1 && t1 > t0 {
            (low, high) = (b, b);
            continue;
        }
        let mut at = t0.max(start);
        let mut from = if t1 > t0 { math::lerp(a, b, (at - t0) / (t1 - t0)) } else { a };
        if start > t0 {
            (low, high) = (from, from);
        }
        loop {
            let (l, h) = (low.min(from).min(b), high.max(from).max(b));
            if least(h) <= most(l) {
                (low, high) = (l, h);
                break;
            }
            // How far on this segment one value still serves.
            let (l, h) = (low.min(from), high.max(from));
            let limit = if b > from { most(l) + BAND } else { least(h) - BAND };
            let limit = if b > from { limit.clamp(from, b) } else { limit.clamp(b, from) };
            let reach = if t1 > at { at + (t1 - at) * (limit - from) / (b - from) } else { t1 };
            out.push((start, value(l.min(limit + 1e-9), h.max(limit - 1e-9))));
            let next = reach.max(start + APART);
            start = next;
            if next >= t1 {
                (low, high) = (b, b);
                break;
            }
            from = math::lerp(a, b, (next - t0) / (t1 - t0));
            (at, low, high) = (next, from, from);
        }
    }
    if start <= knots.last().map_or(start, |k| k.0) || out.is_empty() {
        out.push((start, value(low, high)));
    }
    out
}

/// Where each controller is told what: while notes sound that follow it.
fn stretches<'a>(
    chair: &'a ChairPerformance,
    card: &'a PatchCard,
    items: &[Item],
    clock: &Clock,
) -> Vec<Stretch<'a>> {
    let mut list: Vec<Stretch<'a>> = Vec::new();
    // Index in `list` of the stretch that is open for a controller.
    let mut open: BTreeMap<u8, usize> = BTreeMap::new();
    let mut order: Vec<&Item> = items.iter().filter(|i| i.sent).collect();
    order.sort_by_key(|i| i.on);
    for item in order {
        let dynamics = schedule::dynamics(card, &card.articulations[item.used]);
        let from = schedule::seconds(clock, item.on) - AHEAD;
        let to = schedule::seconds(clock, item.off);
        let lowest = dynamics.response.first().map_or(-18.0, |r| r.1);
        let wanted = [
            dynamics.controller.map(|n| (n, Target::Dynamic(&dynamics.response))),
            dynamics.expression.map(|n| {
                let carries = dynamics.controller.is_some() || dynamics.velocity;
                (n, if carries { Target::Below(lowest) } else { Target::Dynamic(&dynamics.response) })
            }),
        ];
        for (number, target) in wanted.into_iter().flatten() {
            if chair.kept.iter().any(|k| k.0 == number) {
                continue;
            }
            let joined = open.get(&number).copied().filter(|i| same(&list[*i].target, &target));
            match joined {
                Some(i) if from <= list[i].to + 0.050 => list[i].to = list[i].to.max(to),
                _ => {
                    open.insert(number, list.len());
                    list.push(Stretch { number, from, to, target });
                }
            }
        }
    }
    for (number, curve) in &chair.kept {
        if let (Some(first), Some(last)) = (curve.points.first(), curve.points.last()) {
            list.push(Stretch {
                number: *number,
                from: first.0,
                to: last.0 + GRID,
                target: Target::Kept(curve),
            });
        }
    }
    list
}

fn same(a: &Target<'_>, b: &Target<'_>) -> bool {
    match (a, b) {
        (Target::Dynamic(x), Target::Dynamic(y)) => x == y,
        (Target::Below(x), Target::Below(y)) => x == y,
        _ => false,
    }
}

/// Pitch inflections and microtones, on one-voice cards only: elsewhere a bend would move every note that sounds.
fn bends(chair: &ChairPerformance, card: &PatchCard, items: &[Item], clock: &Clock) -> Vec<Timed> {
    let mut out = Vec::new();
    let range = card.bend_semitones.max(0.01) * 100.0;
    let mut current: BTreeMap<u8, i16> = BTreeMap::new();
    let mut send = |tick: i64, channel: u8, cents: f64, out: &mut Vec<Timed>| {
        let value = (8192.0 * cents / range).round().clamp(-8192.0, 8191.0) as i16;
        if current.get(&channel).copied().unwrap_or(0) != value {
            current.insert(channel, value);
            out.push(Timed { tick, order: 1, event: MidiEvent::Bend { channel, value } });
        }
    };
    let mut order: Vec<&Item> = items.iter().filter(|i| i.sent).collect();
    order.sort_by_key(|i| i.on);
    for (k, item) in order.iter().enumerate() {
        let one_voice = card.articulations[item.used].one_voice.unwrap_or(card.one_voice);
        let gesture = &chair.gestures[item.gesture];
        if !one_voice {
            continue;
        }
        // Small deviations are the patch's own; a quarter tone or a written slide is ours.
        let steady = if gesture.cents.abs() >= 20.0 { gesture.cents } else { 0.0 };
        // What is realised as several notes has its pitches already.
        let whole =
            gesture.realisation.is_none() || card.articulations[item.used].name == gesture.articulation;
        let bend = if whole { gesture.bend.as_slice() } else { &[] };
        let at = |t: f64| math::polyline(&bend.iter().map(|p| (p.0.0, p.1)).collect::<Vec<_>>(), t) + steady;
        let next_on = order.get(k + 1).map_or(i64::MAX, |n| n.on);
        send(
            (item.on - 1).max(order.get(k.wrapping_sub(1)).map_or(i64::MIN, |p| p.on)),
            item.channel,
            at(0.0),
            &mut out,
        );
        if bend.len() > 1 {
            let last = bend.last().map_or(0.0, |p| p.0.0);
            let mut t = 0.010;
            while t < last + 0.010 {
                let tick = schedule::tick(clock, item.onset + t.min(last));
                if tick >= next_on - 1 {
                    break;
                }
                send(tick, item.channel, at(t.min(last)), &mut out);
                t += 0.010;
            }
        }
    }
    out
}
