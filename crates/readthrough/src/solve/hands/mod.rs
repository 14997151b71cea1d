//! Two hands on a keyboard (and the feet of an organ): can they take what is written.

mod split;

pub use split::{
    CANNOT, COVERED, CROSSED, FEET, FINGERS, IDLE, KEPT, LEFT, Last, MOVE, OTHER_STAFF, RIGHT, SET_OUT,
    SPEED, Sides, Split, State, Task, Trouble, UNEVEN, WIDE, ends, onset_cost, shares, span, split,
    split_keeping,
};

use super::events::{Event, events};
use super::spots::{Spot, gather, interval, list, name, names, number};
use crate::rules::{Concern, Rule};
use crate::{Desk, Table};
use ripieno_instruments::{Keyboard, keyboard_of};
use ripieno_music::{ControlKind, DirectionKind, Finding, Part, Severity};
use ripieno_units::Beats;
use std::collections::BTreeSet;

/// The rules of this module.
pub const RULES: &[Rule] = &[Rule {
    name: "hands",
    concern: Concern::Living,
    asks: "can two hands take the notes of a keyboard part, with what they hold",
    source: "five fingers, a ninth at ease and a tenth at most: common practice, no source; speed of hands: own proposal",
}];

/// Every desk with a keyboard that is known.
pub fn check(table: &Table<'_>) -> Vec<Finding> {
    table.desks.iter().flat_map(|desk| check_desk(table, desk)).collect()
}

fn check_desk(table: &Table<'_>, desk: &Desk<'_>) -> Vec<Finding> {
    let Some(keyboard) = keyboard_of(&desk.instrument.id) else { return Vec::new() };
    if desk.players > 1 {
        return Vec::new(); // four hands share it as they like
    }
    let all = events(desk.part, table.timeline, &table.clock);
    let pedals = pedals(desk.part);
    let tasks = tasks(desk, &all, &pedals);
    let found = split(keyboard, &tasks);
    let mut spots = Vec::new();
    for (i, event) in all.iter().enumerate() {
        let keys: Vec<u8> = event.new.iter().map(|n| n.key).collect();
        if !keys.is_empty() && found.new[i] == [0; 3] && !(event.broken && keyboard.pedal) {
            spots.push(too_much(desk, keyboard, event, &keys));
        }
    }
    if !found.troubled.is_empty() {
        // With a pedal held throughout, hands only have to strike.
        let freed: Vec<Task> = tasks.iter().map(|t| Task { held: 0, ..t.clone() }).collect();
        let with_pedal: Option<BTreeSet<usize>> =
            keyboard.pedal.then(|| split(keyboard, &freed).troubled.iter().map(|t| t.0).collect());
        for (i, side, trouble) in &found.troubled {
            let at_all = with_pedal.as_ref().is_some_and(|p| !p.contains(i));
            spots.push(trouble_spot(
                desk,
                keyboard,
                &all,
                &tasks,
                &found,
                (*i, *side, *trouble),
                at_all,
                pedals.is_empty(),
            ));
        }
        spots.sort_by(|a, b| {
            (a.at.bar, a.at.beat).partial_cmp(&(b.at.bar, b.at.beat)).unwrap_or(std::cmp::Ordering::Equal)
        });
    }
    gather("hands", desk.id(), &spots)
}

/// What the hands of a desk are asked; nothing where it has no keyboard.
pub fn asked(table: &Table<'_>, desk: &Desk<'_>) -> Vec<Task> {
    if keyboard_of(&desk.instrument.id).is_none() {
        return Vec::new();
    }
    tasks(desk, &events(desk.part, table.timeline, &table.clock), &pedals(desk.part))
}

fn tasks(desk: &Desk<'_>, all: &[Event], pedals: &[(Beats, Beats)]) -> Vec<Task> {
    let two_staves = all.iter().flat_map(|e| &e.new).any(|n| staff(desk, n.note) > 1);
    all.iter()
        .map(|event| Task {
            at: event.seconds,
            new: event.new.iter().map(|n| (n.key, two_staves.then(|| side(staff(desk, n.note))))).collect(),
            held: if down(pedals, event.at) { 0 } else { set(event.held.iter().map(|h| h.key)) },
        })
        .collect()
}

fn staff(desk: &Desk<'_>, note: usize) -> u8 {
    desk.part.content.notes.get(note).map_or(1, |n| n.staff)
}

/// Upper staff the right hand, lower the left; a third staff is the feet's.
fn side(staff: u8) -> usize {
    match staff {
        0 | 1 => RIGHT,
        2 => LEFT,
        _ => FEET,
    }
}

fn set(keys: impl Iterator<Item = u8>) -> u128 {
    keys.filter(|k| *k < 128).fold(0, |all, key| all | 1 << key)
}

fn keys_of(set: u128) -> Vec<u8> {
    (0..128).filter(|k| set & (1 << k) != 0).collect()
}

/// Where the sustaining pedal is down, in order.
fn pedals(part: &Part) -> Vec<(Beats, Beats)> {
    let spans = part.content.directions.iter().filter_map(|d| match d.kind {
        DirectionKind::Pedal { to } => Some((d.at, to)),
        _ => None,
    });
    let mut spans: Vec<_> = spans.collect();
    // A source that was played has the pedal's own controller: 64 and more is down.
    let mut pressed = None;
    for control in part.content.controls.iter().filter(|c| c.kind == ControlKind::Controller(64)) {
        match (pressed, control.value >= 64) {
            (None, true) => pressed = Some(control.at),
            (Some(from), false) => {
                spans.push((from, control.at));
                pressed = None;
            }
            _ => {}
        }
    }
    if let (Some(from), Some(end)) = (pressed, part.content.notes.iter().map(|n| n.end()).max()) {
        spans.push((from, end.max(from)));
    }
    spans.sort();
    // So that the last that begins before a place tells whether the pedal is down there.
    let mut furthest = None;
    for span in &mut spans {
        span.1 = furthest.map_or(span.1, |f: Beats| f.max(span.1));
        furthest = Some(span.1);
    }
    spans
}

fn down(pedals: &[(Beats, Beats)], at: Beats) -> bool {
    pedals[..pedals.partition_point(|p| p.0 < at)].last().is_some_and(|p| at < p.1)
}

/// A chord that cannot be shared out between the hands at all.
fn too_much(desk: &Desk<'_>, keyboard: &Keyboard, event: &Event, keys: &[u8]) -> Spot {
    let hands = if keyboard.feet.is_some() { "two hands and the feet" } else { "two hands" };
    let says = if keys.len() > 10 && keyboard.feet.is_none() {
        format!(
            "{}: {} notes at once for ten fingers: {}",
            desk.name(),
            number(keys.len() as u16),
            names(keys)
        )
    } else {
        format!(
            "{}: {} cannot be shared out between {hands} that each open to {}",
            desk.name(),
            names(keys),
            ordinal_span(keyboard.widest)
        )
    };
    let lighter = lighter(keyboard, keys);
    let rolled = keyboard.pedal && keys.len() <= 10;
    let remedy = match (rolled, lighter) {
        (true, Some(out)) => {
            format!("Write it as a broken chord with the pedal, or leave out {}", names(&out))
        }
        (true, None) => "Write it as a broken chord with the pedal".into(),
        (false, Some(out)) => format!("Leave out {}", names(&out)),
        (false, None) => "Give a part of it to another instrument".into(),
    };
    Spot {
        at: event.place,
        severity: if rolled { Severity::Hard } else { Severity::Impossible },
        says,
        remedy,
        change: None,
    }
}

/// Naturals as an interval: 8 is a ninth.
fn ordinal_span(span: f64) -> String {
    format!("a {}", super::spots::ordinal(span as usize + 1))
}

/// The fewest notes without which the hands have it; those that sound in another octave too go first, then inner ones.
fn lighter(keyboard: &Keyboard, keys: &[u8]) -> Option<Vec<u8>> {
    let mut order: Vec<usize> = (0..keys.len()).collect();
    let doubled = |i: usize| keys.iter().enumerate().any(|(j, k)| j != i && k % 12 == keys[i] % 12);
    let outer = |i: usize| i == 0 || i + 1 == keys.len();
    order.sort_by_key(|i| (outer(*i), !doubled(*i)));
    let without = |out: &[usize]| -> Vec<u8> {
        keys.iter().enumerate().filter(|(i, _)| !out.contains(i)).map(|(_, k)| *k).collect()
    };
    let named = |out: &[usize]| {
        let mut keys: Vec<u8> = out.iter().map(|i| keys[*i]).collect();
        keys.sort_unstable();
        keys
    };
    for (n, a) in order.iter().enumerate() {
        if !shares(keyboard, &without(&[*a])).is_empty() {
            return Some(named(&order[n..=n]));
        }
    }
    for (n, a) in order.iter().enumerate() {
        for b in &order[n + 1..] {
            if !shares(keyboard, &without(&[*a, *b])).is_empty() {
                return Some(named(&[*a, *b]));
            }
        }
    }
    // More than two too many: from the inside out until it fits.
    (3..keys.len()).find(|n| !shares(keyboard, &without(&order[..*n])).is_empty()).map(|n| named(&order[..n]))
}

#[allow(clippy::too_many_arguments)]
fn trouble_spot(
    desk: &Desk<'_>,
    keyboard: &Keyboard,
    all: &[Event],
    tasks: &[Task],
    found: &Split,
    (i, side, trouble): (usize, usize, Trouble),
    with_pedal: bool,
    no_pedal_marked: bool,
) -> Spot {
    let event = &all[i];
    let who = ["the left hand", "the right hand", "the feet"][side.min(2)];
    let new = keys_of(found.new[i][side]);
    // What the side holds on: begun by it before, still sounding.
    let mut held = 0_u128;
    let mut wanted = tasks[i].held;
    for begun in found.new[..i].iter().rev() {
        if wanted == 0 {
            break;
        }
        held |= begun[side] & wanted;
        wanted &= !(begun[LEFT] | begun[RIGHT] | begun[FEET]);
    }
    let held = keys_of(held & !set(new.iter().copied()));
    let beside = if held.is_empty() { String::new() } else { format!(", with {} still held", names(&held)) };
    let says = match trouble {
        Trouble::Span => {
            let low = new.iter().chain(&held).min().copied().unwrap_or(0);
            let high = new.iter().chain(&held).max().copied().unwrap_or(0);
            format!(
                "{}: {who} would take {}{beside}: {} from {} to {}, where {} is the most",
                desk.name(),
                names(&new),
                interval(high - low),
                name(low),
                name(high),
                ordinal_span(keyboard.widest)
            )
        }
        Trouble::Fingers => {
            format!("{}: {who} would take {}{beside}: more notes than fingers", desk.name(), names(&new))
        }
        Trouble::Jump => {
            let before = found.new[..i].iter().rposition(|s| s[side] != 0);
            let (from, seconds) = before
                .map_or((Vec::new(), 0.0), |b| (keys_of(found.new[b][side]), event.seconds - all[b].seconds));
            format!("{}: {who} has {seconds:.2} s from {} to {}", desk.name(), names(&from), names(&new))
        }
    };
    let (severity, remedy) = match trouble {
        Trouble::Jump => {
            (Severity::Hard, "Bring the two nearer, or give one of them to another instrument".to_string())
        }
        _ if with_pedal && no_pedal_marked => {
            (Severity::Advice, "Mark the pedal: it can hold what the hand lets go".into())
        }
        _ if with_pedal => (Severity::Hard, "Let the pedal hold it, or shorten what is held".into()),
        _ => {
            let shorten = list(&held.iter().map(|k| name(*k)).collect::<Vec<_>>());
            let remedy =
                if held.is_empty() { "Leave out a note".into() } else { format!("End {shorten} before it") };
            (if keyboard.pedal { Severity::Hard } else { Severity::Impossible }, remedy)
        }
    };
    Spot { at: event.place, severity, says, remedy, change: None }
}
