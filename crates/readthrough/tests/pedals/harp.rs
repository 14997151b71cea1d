//! Pedals by shortest path, against every way there is.

use crate::cases;
use crate::exhaustive::{Dice, Task, cheapest};
use ripieno_instruments::harp;
use ripieno_readthrough::solve::harp_pedals::*;
use std::collections::{BTreeMap, BTreeSet};

/// The counts and roots of `methods` 6.1, computed there by another program.
#[test]
fn settings_and_what_glissandi_they_give() {
    let sets: BTreeSet<u16> = settings().map(|s| sounds(&s)).collect();
    assert_eq!((settings().count(), sets.len()), (2187, 977));
    let mut by_size = BTreeMap::new();
    for set in &sets {
        *by_size.entry(set.count_ones()).or_insert(0) += 1;
    }
    assert_eq!(by_size, BTreeMap::from([(4, 25), (5, 178), (6, 415), (7, 359)]));

    let chord = |root: u32, steps: &[u32]| steps.iter().fold(0u16, |set, s| set | 1 << ((root + s) % 12));
    let roots = |steps: &[u32]| -> Vec<u32> {
        (0..12).filter(|r| !glissando_settings(chord(*r, steps)).is_empty()).collect()
    };
    assert_eq!(roots(&[0, 3, 6, 9]).len(), 12);
    assert_eq!(roots(&[0, 4, 7, 10]), [1, 4, 6, 8, 11]);
    assert_eq!(roots(&[0, 4, 7, 11]), [1, 4, 6, 11]);
    assert_eq!(roots(&[0, 3, 7, 10]), [1, 3, 5, 8, 10]);
    assert_eq!(roots(&[0, 3, 6, 10]), [0, 2, 5, 7, 10]);
    assert_eq!(roots(&[0, 2, 4, 6, 8, 10]).len(), 12, "both whole-tone scales");
    assert_eq!(roots(&[0, 2, 4, 7, 9]).len(), 12);
    assert!(roots(&[0, 4, 8]).is_empty(), "an augmented triad has three classes");
    // The three diminished sevenths have one setting each (`instruments` 2): letters C D E F G A B.
    assert_eq!(glissando_settings(chord(0, &[0, 3, 6, 9])), [[0, 1, -1, 1, -1, 0, 1]]);
    assert_eq!(glissando_settings(chord(1, &[0, 3, 6, 9])), [[1, -1, 0, -1, 0, 1, -1]]);
    assert_eq!(glissando_settings(chord(2, &[0, 3, 6, 9])), [[-1, 0, 1, 0, 1, -1, 0]]);
}

/// `instruments` 2: nine pairs, and D, G and A without one.
#[test]
fn enharmonic_pairs() {
    let name = |(letter, position): &(u8, i8)| {
        format!(
            "{}{}",
            "CDEFGAB".as_bytes()[usize::from(*letter)] as char,
            ["b", "", "#"][(*position + 1) as usize]
        )
    };
    let mut pairs: Vec<String> = Vec::new();
    let mut alone = Vec::new();
    for class in 0..12 {
        let all: Vec<String> = spellings(class).iter().map(name).collect();
        if all.len() == 1 { alone.push(all[0].clone()) } else { pairs.push(all.join("=")) }
    }
    assert_eq!(alone, ["D", "G", "A"]);
    assert_eq!(pairs, ["C=B#", "C#=Db", "D#=Eb", "E=Fb", "E#=F", "F#=Gb", "G#=Ab", "A#=Bb", "Cb=B"]);
}

/// Damped at once.
fn need(options: Vec<(u8, i8)>, at: f64) -> Need {
    let (letter, position) = options[0];
    let key = 60 + LETTERS[usize::from(letter)] + i16::from(position);
    Need { options, keys: vec![key], rings: at, held: (at, key), again: None }
}

/// The passage of `methods` 6.1: 6 moves as written, 5 if it may be respelled.
#[test]
fn the_passage_by_letter_and_freely() {
    let times = [0.0, 1.0, 1.6, 2.0, 2.25];
    // Letters from C = 0: C E G; F# A D; Bb D F; Eb G; E G#.
    let written: [&[(u8, i8)]; 5] = [
        &[(0, 0), (2, 0), (4, 0)],
        &[(3, 1), (5, 0), (1, 0)],
        &[(6, -1), (1, 0), (3, 0)],
        &[(2, -1), (4, 0)],
        &[(2, 0), (4, 1)],
    ];
    let spelled: Vec<Event> = written
        .iter()
        .zip(times)
        .map(|(needs, at)| Event { at, needs: needs.iter().map(|n| need(vec![*n], at)).collect() })
        .collect();
    let free: Vec<Event> = written
        .iter()
        .zip(times)
        .map(|(needs, at)| {
            let class = |(l, p): &(u8, i8)| pitch_class(usize::from(*l), *p);
            Event { at, needs: needs.iter().map(|n| need(spellings(class(n)), at)).collect() }
        })
        .collect();
    let by_letter = solve(&spelled, [0; 7], harp());
    assert_eq!(by_letter.moves.len(), 6);
    let freely = solve(&free, [0; 7], harp());
    assert_eq!(freely.moves.len(), 5);
    let all = |s: &Solution| s.moves.iter().map(|m| (m.letter, m.to)).collect::<Vec<_>>();
    assert_eq!(all(&by_letter), [(3, 1), (3, 0), (6, -1), (2, -1), (2, 0), (4, 1)]);
    assert!(freely.moves.iter().all(|m| m.timed.is_some()));
    assert!((freely.cost - every_way(&free, [0; 7])).abs() < 1e-6);
}

/// Every assignment of needs to strings, every order of the feet.
fn every_way(events: &[Event], initial: Setting) -> f64 {
    let mut best = f64::INFINITY;
    let mut chosen = Vec::new();
    choose(events, initial, 0, 0.0, &mut chosen, &mut best);
    best
}

/// What was chosen for one event: for each need, its letter and position.
type Chosen = Vec<(u8, i8)>;

fn choose(
    events: &[Event],
    initial: Setting,
    event: usize,
    price: f64,
    chosen: &mut Vec<Chosen>,
    best: &mut f64,
) {
    if price >= *best {
        return;
    }
    let Some(now) = events.get(event) else {
        let total = price + feet(events, initial, chosen);
        *best = best.min(total);
        return;
    };
    let mut all: Vec<Chosen> = vec![Vec::new()];
    for need in &now.needs {
        all = all
            .into_iter()
            .flat_map(|c| need.options.iter().map(move |o| [c.clone(), vec![*o]].concat()))
            .collect();
    }
    for one in all {
        if one.iter().any(|(l, p)| one.iter().any(|(m, q)| l == m && p != q)) {
            continue;
        }
        let mut more = 0.0;
        for (need, option) in now.needs.iter().zip(&one) {
            let Some(again) = need.again else { continue };
            // Any string of this pitch that is plucked now may take the repeated note.
            let rested = need.options.iter().filter(|o| one.contains(o)).any(|(letter, _)| {
                !(0..event)
                    .any(|e| events[e].at >= again - 1e-9 && chosen[e].iter().any(|(l, _)| l == letter))
            });
            let _ = option;
            if !rested {
                more += 1.0;
            }
        }
        // Pedals, from where each letter was last.
        let mut letters: Vec<(u8, i8)> = one.clone();
        letters.sort_unstable();
        letters.dedup();
        for (letter, position) in letters {
            if let Some((_, from)) = last_use(initial, chosen, letter)
                && from != position
            {
                more += if (from - position).abs() == 2 { 1.25 } else { 1.0 };
            }
        }
        chosen.push(one);
        choose(events, initial, event + 1, price + more, chosen, best);
        chosen.pop();
    }
}

/// Where a letter was used last: the event, and its position.
fn last_use(initial: Setting, chosen: &[Chosen], letter: u8) -> Option<(Option<usize>, i8)> {
    for (event, one) in chosen.iter().enumerate().rev() {
        if let Some((_, position)) = one.iter().find(|(l, _)| *l == letter) {
            return Some((Some(event), *position));
        }
    }
    let position = initial[usize::from(letter)];
    (position != UNSET).then_some((None, position))
}

fn feet(events: &[Event], initial: Setting, chosen: &[Chosen]) -> f64 {
    let mut tasks: [Vec<Task>; 2] = Default::default();
    for (event, one) in chosen.iter().enumerate() {
        let mut letters: Vec<(u8, i8)> = one.clone();
        letters.sort_unstable();
        letters.dedup();
        for (letter, position) in letters {
            let Some((used, from)) = last_use(initial, &chosen[..event], letter) else { continue };
            if from == position {
                continue;
            }
            let (mut release, mut clean) = (f64::NEG_INFINITY, f64::NEG_INFINITY);
            if let Some(used) = used {
                (release, clean) = (events[used].at, events[used].at);
                let plucked: Vec<i16> = events[event]
                    .needs
                    .iter()
                    .filter(|n| n.options.contains(&(letter, position)))
                    .flat_map(|n| n.keys.clone())
                    .collect();
                for n in events[used].needs.iter().filter(|n| n.options.contains(&(letter, from))) {
                    clean = clean.max(n.rings);
                    if !plucked.iter().any(|k| (k - n.held.1).abs() <= 2) {
                        clean = clean.max(n.held.0);
                    }
                }
            }
            let foot = usize::from(![1, 0, 6].contains(&letter));
            let ways = vec![(clean, 0.5, 0.0), (clean, 0.2, 0.5), (release, 0.5, 2.0), (release, 0.2, 2.5)];
            tasks[foot].push(Task { ways, due: events[event].at });
        }
    }
    tasks.iter().map(|t| cheapest(t, 20.0)).sum()
}

/// A passage of at most five events: chords of one to four notes, at the speed of real music, by letter or freely.
fn passage(dice: &mut Dice) -> Vec<Event> {
    let free = dice.below(3) > 0;
    let count = 1 + dice.below(5);
    let mut events: Vec<Event> = Vec::new();
    let mut at = 0.0;
    while events.len() < count as usize {
        let mut needs: Vec<Need> = Vec::new();
        let mut classes = BTreeSet::new();
        for _ in 0..1 + dice.below(if free { 3 } else { 4 }) {
            let (letter, position) = (dice.below(7) as u8, dice.of(&[-1i8, 0, 0, 1]));
            let class = pitch_class(usize::from(letter), position);
            if !classes.insert(class) {
                continue;
            }
            let options = if free { spellings(class) } else { vec![(letter, position)] };
            let key = 36 + i16::from(class) + 12 * dice.below(4) as i16;
            let held = at + dice.of(&[0.0, 0.2, 0.5, 2.0]);
            let rings = at + dice.of(&[0.4, 0.4, 1.0]);
            let again =
                events.last().filter(|e| at - e.at < 0.25 && e.needs.iter().any(|n| n.keys.contains(&key)));
            let again = again.map(|e| e.at);
            needs.push(Need { options, keys: vec![key], rings, held: (held, key), again });
        }
        // Only what lies on seven strings at all.
        let event = Event { at, needs };
        if solve(std::slice::from_ref(&event), [UNSET; 7], harp()).clashes.is_empty() {
            events.push(event);
            at += dice.of(&[0.125, 0.2, 0.25, 0.3, 0.5, 0.7, 1.0, 1.5, 3.0, 7.0]);
        }
    }
    events
}

#[test]
fn random_passages_cost_what_the_cheapest_of_all_ways_costs() {
    let (mut dice, mut late, mut buzz, mut moves) = (Dice(61), 0, 0, 0);
    for case in 0..cases() {
        let events = passage(&mut dice);
        let initial = if dice.below(2) == 0 { [0; 7] } else { [UNSET; 7] };
        let found = solve(&events, initial, harp());
        let least = every_way(&events, initial);
        assert!(
            (found.cost - least).abs() < 1e-6,
            "case {case}: {} against {least}: {events:#?}",
            found.cost
        );
        assert!(!found.narrowed);
        accounts_for_its_cost(&events, &found, case);
        moves += found.moves.len();
        late += found.moves.iter().filter(|m| m.timed.is_none()).count();
        buzz += found.moves.iter().filter(|m| m.buzz).count();
    }
    println!("{} passages alike; {moves} moves, {late} without time, {buzz} with a buzz", cases());
    assert!(late > 0 && buzz > 0, "the cases are too easy");
}

/// The schedule that is told is one that a player can do, and its parts add up to the cost.
fn accounts_for_its_cost(events: &[Event], found: &Solution, case: u64) {
    let mut position = found.initial;
    let mut by_event = found.moves.iter().peekable();
    for (index, way) in found.played.iter().enumerate() {
        while let Some(one) = by_event.next_if(|m| m.event == index) {
            assert_eq!(position[usize::from(one.letter)], one.from, "case {case}");
            position[usize::from(one.letter)] = one.to;
        }
        for letter in (0..7).filter(|l| way[*l] != UNSET) {
            assert_eq!(position[letter], way[letter], "case {case}");
        }
        for need in &events[index].needs {
            assert!(need.options.iter().any(|(l, p)| way[usize::from(*l)] == *p), "case {case}");
        }
    }
    for foot in [[1u8, 0, 6].as_slice(), &[2, 3, 4, 5]] {
        let mut slots: Vec<(f64, f64)> = Vec::new();
        for one in found.moves.iter().filter(|m| foot.contains(&m.letter)) {
            let Some(timed) = one.timed else { continue };
            let end = timed.latest + timed.job.takes;
            assert!(end <= events[one.event].at + 1e-6, "case {case}");
            assert!(one.after.is_none_or(|e| timed.latest >= events[e].at - 1e-6), "case {case}");
            slots.push((timed.latest, end));
        }
        slots.sort_by(|a, b| a.0.total_cmp(&b.0));
        assert!(
            slots.windows(2).all(|w| w[0].1 <= w[1].0 + 1e-6),
            "case {case}: one foot, two pedals: {slots:?}"
        );
    }
}
