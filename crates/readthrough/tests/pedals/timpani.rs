//! Drums and retunings by shortest path, against every choice of drums.

use crate::cases;
use crate::exhaustive::{Dice, Task, cheapest};
use ripieno_instruments::{DrumFacts, Range, timpani};
use ripieno_readthrough::solve::timpani_drums::*;

fn set(ranges: &[(u8, u8)]) -> Vec<DrumFacts> {
    let range = |(low, high): &(u8, u8)| Range { low: *low, high: *high };
    ranges
        .iter()
        .map(|r| DrumFacts { inches: 0, usual: range(r), best: range(r), extended: range(r) })
        .collect()
}

fn stroke(at: f64, key: i16) -> Event {
    Event { at, strokes: vec![Stroke { key, until: at }], slid: false }
}

/// The worked case of `methods` 6.2, with its ranges and its tuning.
#[test]
fn the_worked_case_costs_three() {
    let set = set(&[(36, 45), (41, 48), (46, 53), (50, 57)]);
    let notes = [(0.0, 43), (0.5, 48), (1.0, 43), (1.5, 48), (4.0, 45), (4.5, 50), (8.0, 43), (8.5, 48)];
    let events: Vec<Event> = notes.iter().map(|(at, key)| stroke(*at, *key)).collect();
    let found = solve(&events, &set, &[38, 43, 48, 53], timpani());
    assert!((found.retuning_cost - 3.0).abs() < 1e-9, "{found:#?}");
    let drums: Vec<usize> = found.drums.iter().map(|d| d[0].unwrap() + 1).collect();
    assert_eq!(drums, [2, 3, 2, 3, 1, 4, 2, 3]);
    let retuned: Vec<(i16, i16)> = found.retunings.iter().map(|r| (r.from, r.to)).collect();
    assert_eq!(retuned, [(38, 45), (53, 50)]);
    assert!(found.retunings.iter().all(|r| r.timed.is_some()));
    // No way of choosing drums needs less, by retunings alone.
    assert!((every_way(&events, &set, &[38, 43, 48, 53], false) - 3.0).abs() < 1e-9);
}

/// Every choice of drums, every order of the foot. Without preferences: the retunings alone, in whatever time.
fn every_way(events: &[Event], set: &[DrumFacts], initial: &[i16], preferences: bool) -> f64 {
    let notes: Vec<(usize, Stroke)> =
        events.iter().enumerate().flat_map(|(e, event)| event.strokes.iter().map(move |s| (e, *s))).collect();
    let mut best = f64::INFINITY;
    let mut choice: Vec<Option<usize>> = Vec::new();
    descend(events, set, initial, &notes, preferences, &mut choice, &mut best);
    best
}

fn descend(
    events: &[Event],
    set: &[DrumFacts],
    initial: &[i16],
    notes: &[(usize, Stroke)],
    preferences: bool,
    choice: &mut Vec<Option<usize>>,
    best: &mut f64,
) {
    if choice.len() == notes.len() {
        *best = best.min(price(events, set, initial, notes, choice, preferences));
        return;
    }
    let (event, stroke) = notes[choice.len()];
    for drum in 0..set.len() {
        let taken = (0..choice.len()).any(|i| notes[i].0 == event && choice[i] == Some(drum));
        if !taken && set[drum].extended.holds(stroke.key) {
            choice.push(Some(drum));
            descend(events, set, initial, notes, preferences, choice, best);
            choice.pop();
        }
    }
}

fn price(
    events: &[Event],
    set: &[DrumFacts],
    initial: &[i16],
    notes: &[(usize, Stroke)],
    choice: &[Option<usize>],
    preferences: bool,
) -> f64 {
    let mut total = 0.0;
    let mut tasks = Vec::new();
    for (index, (event, stroke)) in notes.iter().enumerate() {
        let drum = choice[index].unwrap();
        let before = (0..index).rev().find(|i| choice[*i] == Some(drum));
        let from = match before {
            Some(i) => notes[i].1.key,
            None => initial.get(drum).copied().unwrap_or(UNTUNED),
        };
        if preferences {
            // The drum struck last in the events before this one.
            let earlier = (0..index).rev().find(|i| notes[*i].0 < *event);
            if let Some(earlier) = earlier
                && choice[earlier].unwrap().abs_diff(drum) > 1
                && events[*event].at - events[event - 1].at < 0.15 - 1e-9
            {
                total += 1.0;
            }
            if from != stroke.key {
                total += liking(&set[drum], stroke.key);
            }
        }
        if from == stroke.key || from == UNTUNED {
            continue;
        }
        let semitones = f64::from((from - stroke.key).abs());
        total += 1.0 + 0.1 * semitones;
        let release = before.map_or(f64::NEG_INFINITY, |i| notes[i].1.until);
        let mut ways = vec![(release, 0.7, 4.0)];
        let checked = 1.5 + 0.1 * semitones;
        ways.push((release, checked, if checked < 2.0 { 0.5 } else { 0.0 }));
        ways.push((release, checked.max(2.0), 0.0));
        tasks.push(Task { ways, due: events[*event].at });
    }
    if preferences { total + cheapest(&tasks, 20.0) } else { total }
}

#[test]
fn random_parts_cost_what_the_cheapest_choice_of_drums_costs() {
    let mut dice = Dice(62);
    let (mut late, mut retuned, mut compared) = (0, 0, 0);
    while compared < cases() {
        let count = 2 + dice.below(7) as usize;
        let mut at = 0.0;
        let mut events = Vec::new();
        // Few pitches, as a part has, or any.
        let few: Vec<i16> = (0..2 + dice.below(4)).map(|_| 38 + dice.below(20) as i16).collect();
        for _ in 0..count {
            let mut strokes = vec![Stroke { key: dice.of(&few), until: at }];
            if dice.below(8) == 0 {
                let other = dice.of(&few);
                if other != strokes[0].key {
                    strokes.push(Stroke { key: other, until: at });
                }
            }
            let step = dice.of(&[0.1, 0.25, 0.5, 1.0, 2.0, 3.0]);
            if dice.below(6) == 0 {
                strokes[0].until = at + step * 0.9;
            }
            events.push(Event { at, strokes, slid: false });
            at += step;
        }
        let facts = timpani();
        let set: Vec<DrumFacts> = match dice.below(3) {
            0 => set(&[(36, 45), (41, 48), (46, 53), (50, 57)]),
            1 => [32, 29, 26, 23].iter().map(|i| *facts.drum(*i).unwrap()).collect(),
            _ => [29, 26].iter().map(|i| *facts.drum(*i).unwrap()).collect(),
        };
        let initial: Vec<i16> =
            if dice.below(2) == 0 { Vec::new() } else { set.iter().map(|d| i16::from(d.best.low)).collect() };
        let least = every_way(&events, &set, &initial, true);
        if least.is_infinite() {
            continue; // some stroke has no drum at all: another test
        }
        compared += 1;
        let found = solve(&events, &set, &initial, facts);
        assert!(
            (found.cost - least).abs() < 1e-6,
            "case {compared}: {} against {least}: {events:#?} {initial:?} {found:#?}",
            found.cost
        );
        retuned += found.retunings.len();
        late += found.retunings.iter().filter(|r| r.timed.is_none()).count();
    }
    println!("{compared} parts alike; {retuned} retunings, {late} without time");
    assert!(late > 0 && retuned > late, "the cases are too easy");
}

#[test]
fn quick_alternation_needs_two_drums_and_a_roll_holds_its_drum() {
    let facts = timpani();
    let set: Vec<DrumFacts> = [29, 26].iter().map(|i| *facts.drum(*i).unwrap()).collect();
    let events: Vec<Event> =
        (0..8).map(|i| stroke(f64::from(i) * 0.2, if i % 2 == 0 { 46 } else { 48 })).collect();
    let found = solve(&events, &set, &[], facts);
    assert!(found.retunings.is_empty());
    assert_ne!(found.drums[0], found.drums[1]);
    // A roll up to a moment before leaves no time for the same drum.
    let one = &set[..1];
    let roll = |until| {
        vec![Event { at: 0.0, strokes: vec![Stroke { key: 43, until }], slid: false }, stroke(4.0, 45)]
    };
    assert!(solve(&roll(0.0), one, &[], facts).retunings[0].timed.is_some());
    assert!(solve(&roll(3.9), one, &[], facts).retunings[0].timed.is_none());
}

#[test]
fn a_glissando_stays_on_its_drum() {
    let facts = timpani();
    let set: Vec<DrumFacts> = facts.set.iter().map(|i| *facts.drum(*i).unwrap()).collect();
    let slid = |from: i16, to: i16| {
        let mut events = vec![stroke(0.0, from), stroke(1.0, to)];
        events[1].slid = true;
        solve(&events, &set, &[], facts)
    };
    let found = slid(41, 45);
    assert_eq!(found.drums[0], found.drums[1]);
    assert!(found.retunings.is_empty() && found.no_slide.is_empty());
    assert_eq!(slid(38, 50).no_slide, [1], "an octave is more than a drum has");
}
