//! Keyboards: an exhaustive search written anew, and the rule on small parts.

use crate::common::{World, cases, chord, note, rules};
use proptest::prelude::*;
use ripieno_instruments::{Keyboard, keyboard_of, naturals};
use ripieno_music::{Arpeggio, Control, ControlKind, Direction, DirectionKind, Note, Severity};
use ripieno_readthrough::solve::hands::{
    self, CANNOT, COVERED, CROSSED, IDLE, MOVE, OTHER_STAFF, SET_OUT, SPEED, Task, UNEVEN, WIDE, shares,
    split,
};
use ripieno_units::Beats;

proptest! {
    #![proptest_config(cases(300))]

    #[test]
    fn splits_cost_what_an_exhaustive_search_finds(
        onsets in prop::collection::vec(
            (1u32..16, prop::collection::btree_set(40u8..80, 1..=3), any::<u8>(), prop::option::of(0usize..2)),
            1..=4,
        ),
    ) {
        let keyboard = keyboard_of("piano").unwrap();
        let mut at = 0.0;
        let mut sounding = 0_u128;
        let tasks: Vec<Task> = onsets
            .iter()
            .map(|(gap, keys, hold, staff)| {
                at += f64::from(*gap) / 12.0;
                let new: u128 = keys.iter().fold(0, |s, k| s | 1 << k);
                // Some of what sounds is held on.
                let held = (0..128)
                    .filter(|k| sounding >> k & 1 == 1 && (hold >> (k % 8)) & 1 == 1)
                    .fold(0, |s: u128, k| s | 1 << k)
                    & !new;
                sounding = held | new;
                Task { at, new: keys.iter().map(|k| (*k, *staff)).collect(), held }
            })
            .collect();
        let keys = |t: &Task| t.new.iter().map(|n| n.0).collect::<Vec<_>>();
        prop_assume!(tasks.iter().all(|t| !shares(keyboard, &keys(t)).is_empty()));
        let found = split(keyboard, &tasks);
        prop_assume!(found.exact);
        let least = exhaustive(keyboard, &tasks);
        prop_assert!((found.cost - least).abs() < 1e-9, "{} {least}", found.cost);
        prop_assert_eq!(found.troubled.is_empty(), least < CANNOT);
    }

    #[test]
    fn a_chord_is_shared_out_wherever_some_way_exists(
        keys in prop::collection::btree_set(30u8..90, 1..=8),
    ) {
        let keyboard = keyboard_of("piano").unwrap();
        let keys: Vec<u8> = keys.into_iter().collect();
        let fits = |hand: &[u8]| {
            hand.len() <= 5 && hand.iter().all(|a| hand.iter().all(|b| naturals(*b) - naturals(*a) <= keyboard.widest))
        };
        let any = (0..1u32 << keys.len()).filter(|set| {
            let hand = |l: u32| -> Vec<u8> { keys.iter().enumerate().filter(|(i, _)| set >> i & 1 == l).map(|k| *k.1).collect() };
            fits(&hand(1)) && fits(&hand(0))
        });
        prop_assert_eq!(any.count(), shares(keyboard, &keys).len());
    }

    #[test]
    fn nothing_panics_whatever_is_written(
        keys in prop::collection::vec((0i64..24, 1i64..8, -20i16..150, 0u8..4), 0..40),
        id in prop::sample::select(vec!["piano", "organ", "celesta", "harpsichord"]),
    ) {
        let notes: Vec<Note> = keys
            .iter()
            .map(|(at, length, key, staff)| {
                let mut note = note(*at, *length, *key);
                note.staff = *staff;
                note
            })
            .collect();
        for finding in World::one("x", id, 1, 140.0, notes, vec![]).found(hands::check) {
            prop_assert!(!finding.message.is_empty() && !finding.remedy.is_empty() && !finding.source.is_empty());
        }
    }
}

/// Every hand for every note, judged by the rules as they are written.
fn exhaustive(keyboard: &Keyboard, tasks: &[Task]) -> f64 {
    let all: usize = tasks.iter().map(|t| 1usize << t.new.len()).product();
    let mut least = f64::INFINITY;
    'every: for code in 0..all {
        let mut rest = code;
        let mut cost = 0.0;
        let mut down: [Vec<u8>; 2] = [vec![], vec![]];
        let mut last: [Option<(f64, f64, f64)>; 2] = [None, None];
        for task in tasks {
            let mut begun = [0usize; 2];
            for hand in 0..2 {
                let ways = 1 << task.new.len();
                let set = rest % ways;
                let mine: Vec<u8> = task
                    .new
                    .iter()
                    .enumerate()
                    .filter(|(i, _)| set >> i & 1 == hand)
                    .map(|n| n.1.0)
                    .collect();
                begun[hand] = mine.len();
                down[hand].retain(|k| task.held >> k & 1 == 1);
                let holds = !down[hand].is_empty();
                let alone = mine.iter().map(|k| naturals(*k));
                let wide = alone.clone().fold(f64::MIN, f64::max) - alone.fold(f64::MAX, f64::min);
                if mine.len() > 5 || wide > keyboard.widest {
                    continue 'every;
                }
                for (key, staff) in &task.new {
                    if *staff == Some(hand) && !mine.contains(key) {
                        cost += OTHER_STAFF;
                    }
                }
                down[hand].extend(&mine);
                if !holds && last[hand].is_some_and(|l| task.at - l.0 >= IDLE) {
                    last[hand] = None;
                }
                if mine.is_empty() {
                    continue;
                }
                let places: Vec<f64> = down[hand].iter().map(|k| naturals(*k)).collect();
                let (low, high) = (
                    places.iter().copied().fold(f64::MAX, f64::min),
                    places.iter().copied().fold(f64::MIN, f64::max),
                );
                if places.len() > 5 {
                    cost += CANNOT;
                }
                if high - low > keyboard.widest {
                    cost += CANNOT;
                }
                cost += WIDE * (high - low - keyboard.ease).max(0.0);
                let middle = (low + high) / 2.0;
                if let (false, Some((when, bottom, top))) = (holds, last[hand]) {
                    let way = ((middle - (bottom + top) / 2.0).abs() - COVERED).max(0.0);
                    cost += MOVE * way / 7.0;
                    let rocks = high.max(top) - low.min(bottom) <= keyboard.ease;
                    if way > 0.0 && !rocks && task.at - when < SET_OUT + way / SPEED {
                        cost += CANNOT;
                    }
                }
                last[hand] = Some((task.at, low, high));
            }
            rest /= 1 << task.new.len();
            if let (Some(l), Some(r)) = (down[0].iter().max(), down[1].iter().min())
                && l > r
            {
                cost += CROSSED;
            }
            cost += UNEVEN * (begun[0] as f64 - begun[1] as f64).powi(2);
        }
        least = least.min(cost);
    }
    least
}

fn pedal(from: i64, to: i64) -> Direction {
    Direction {
        at: Beats::new(from, 4),
        staff: None,
        voice: None,
        kind: DirectionKind::Pedal { to: Beats::new(to, 4) },
    }
}

#[test]
fn what_ten_fingers_take() {
    let one =
        |id: &str, keys: &[i16]| World::one("k", id, 1, 90.0, chord(0, 4, keys), vec![]).found(hands::check);
    // Two full hands of five, a ninth and a tenth.
    assert_eq!(rules(&one("piano", &[36, 40, 43, 46, 50, 60, 64, 67, 72, 76])), []);
    // Eleven notes; three groups three octaves apart.
    let eleven = one("piano", &[36, 40, 43, 46, 48, 50, 60, 64, 67, 72, 76]);
    assert_eq!((eleven[0].rule, eleven[0].severity), ("hands", Severity::Impossible));
    assert!(eleven[0].message.contains("eleven notes at once for ten fingers"), "{}", eleven[0].message);
    let apart = one("piano", &[24, 60, 96]);
    assert_eq!((apart[0].rule, apart[0].severity), ("hands", Severity::Hard));
    assert!(apart[0].remedy.contains("or leave out C4"), "{}", apart[0].remedy);
    assert_eq!(one("harpsichord", &[31, 60, 88])[0].severity, Severity::Impossible);
    // An organ has feet for the low one.
    assert_eq!(rules(&one("organ", &[24, 60, 84])), []);
    // Broken it is nothing out of the way.
    let mut broken = chord(0, 4, &[24, 60, 96]);
    broken.iter_mut().for_each(|n| n.arpeggio = Some(Arpeggio::Up));
    assert_eq!(rules(&World::one("k", "piano", 1, 90.0, broken, vec![]).found(hands::check)), []);
}

#[test]
fn the_pedal_holds() {
    // Two low and two high notes held, far from what the hands then have to strike together.
    let mut notes = chord(0, 16, &[36, 43]);
    notes.extend(chord(0, 16, &[84, 88]));
    notes.extend(chord(8, 4, &[60, 64]));
    let bare = World::one("p", "piano", 1, 90.0, notes.clone(), vec![]).found(hands::check);
    assert_eq!(rules(&bare), [("hands", 1)]);
    assert_eq!(bare[0].severity, Severity::Advice);
    assert!(bare[0].message.contains("still held"), "{}", bare[0].message);
    assert!(
        World::one("p", "piano", 1, 90.0, notes.clone(), vec![pedal(1, 16)]).found(hands::check).is_empty()
    );
    // The pedal of a source that was played is a controller.
    let mut played = World::one("p", "piano", 1, 90.0, notes.clone(), vec![]);
    let press = |at, value| Control { at: Beats::new(at, 4), kind: ControlKind::Controller(64), value };
    played.parts[0].content.controls = vec![press(1, 127), press(12, 0)];
    assert!(played.found(hands::check).is_empty());
    // A harpsichord has none.
    let found =
        World::one("h", "harpsichord", 1, 90.0, notes.iter().cloned().map(|n| n.moved(-2)).collect(), vec![])
            .found(hands::check);
    assert_eq!(found[0].severity, Severity::Impossible);
    assert!(found[0].remedy.starts_with("End "), "{}", found[0].remedy);
}

#[test]
fn a_hand_has_to_get_there() {
    let jump = |unit: i64| {
        let mut notes = Vec::new();
        for i in 0..8 {
            notes.extend(chord(
                i * unit,
                1,
                if i % 2 == 0 { &[28, 40, 64, 76] } else { &[52, 64 + 1, 100, 108] },
            ));
        }
        World::one("p", "piano", 1, 132.0, notes, vec![]).found(hands::check)
    };
    let found = jump(1);
    assert_eq!(rules(&found), [("hands", 1)]);
    assert!(found[0].message.contains(" s from "), "{}", found[0].message);
    assert_eq!(rules(&jump(4)), []);
}

#[test]
fn a_long_part_is_quick() {
    let mut notes = Vec::new();
    for i in 0..6400i64 {
        notes.extend(chord(
            i,
            1,
            &[40 + (i * 7 % 12) as i16, 60 + (i * 5 % 12) as i16, 67 + (i * 5 % 12) as i16],
        ));
        if i % 4 == 0 {
            notes.extend(chord(i, 4, &[36 + (i % 5) as i16]));
        }
    }
    let world = World::one("p", "piano", 1, 96.0, notes, vec![]);
    let start = std::time::Instant::now();
    hands::check(&world.table());
    let seconds = start.elapsed().as_secs_f64();
    println!("400 dense bars of piano: {:.0} ms", 1000.0 * seconds);
    assert!(seconds < 2.0, "{seconds}");
}

/// A hand rocks between the ends of an octave as fast as fingers repeat, and the other is left alone.
#[test]
fn broken_octaves_stay_in_one_hand() {
    let mut notes: Vec<Note> = (0..16)
        .map(|i| {
            let key = if i % 2 == 0 { 34 } else { 46 };
            Note { staff: 2, ..note(i, 1, key) }
        })
        .collect();
    notes.extend([67, 70, 75, 79].map(|key| Note { staff: 1, ..note(0, 16, key) }));
    let found = World::one("k", "piano", 1, 240.0, notes, vec![]).found(hands::check);
    assert_eq!(rules(&found), []);
}
