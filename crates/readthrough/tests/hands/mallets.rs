//! Sticks: stickings that every method teaches, an exhaustive search written anew, and the rules on small parts.

use crate::common::{World, cases, chord, note, rules, word};
use proptest::prelude::*;
use ripieno_instruments::{by_id, sticks_of};
use ripieno_music::{Edit, Note, NoteKind, Playing, Severity, Tremolo};
use ripieno_plan::Kit;
use ripieno_readthrough::solve::mallets::{
    self, BEYOND_EASE, CANNOT, CROSSED, CROSSED_BY, IDLE, LEFT_FIRST, Limits, MOVE, REPEAT, Strike, shares,
    sticking,
};
use ripieno_units::Beats;

fn limits(id: &str, mallets: u8) -> Limits {
    Limits::new(sticks_of(id).unwrap(), by_id(id).unwrap().repetition.single, mallets)
}

fn strikes(id: &str, gap: f64, keys: &[u8]) -> Vec<Strike> {
    let sticks = sticks_of(id).unwrap();
    let strike =
        |(i, k): (usize, &u8)| Strike { at: gap * i as f64, places: vec![sticks.place(*k)], roll_to: None };
    keys.iter().enumerate().map(strike).collect()
}

/// `L` and `R`, one a stroke.
fn hands(id: &str, gap: f64, keys: &[u8]) -> String {
    let found = sticking(&limits(id, 2), &strikes(id, gap, keys));
    found.left.iter().map(|l| if *l == 1 { 'L' } else { 'R' }).collect()
}

#[test]
fn a_scale_alternates_and_low_low_high_high_does_not() {
    // Two checks that any sticking has to pass: strict alternation in a scale run; left left for low low high high when slow.
    let scale = [60, 62, 64, 65, 67, 69, 71, 72, 74, 76, 77, 79];
    for gap in [0.08, 0.1, 0.125, 0.2] {
        for id in ["marimba", "xylophone", "vibraphone"] {
            let up: Vec<u8> = scale.iter().map(|k| k + 12).collect();
            let found = hands(id, gap, &up);
            assert!(found == "RLRLRLRLRLRL" || found == "LRLRLRLRLRLR", "{id} {gap}: {found}");
        }
    }
    assert_eq!(hands("marimba", 0.45, &[48, 48, 72, 72, 48, 48, 72, 72]), "LLRRLLRR");
    assert_eq!(hands("marimba", 0.45, &[48, 50, 72, 74]), "LLRR");
}

proptest! {
    #![proptest_config(cases(300))]

    #[test]
    fn stickings_cost_what_an_exhaustive_search_finds(
        id in prop::sample::select(vec!["xylophone", "marimba", "tubular-bells"]),
        mallets in prop::sample::select(vec![2u8, 4]),
        strokes in prop::collection::vec((1u32..24, prop::collection::btree_set(0u8..15, 1..=3), 0u8..8), 1..=6),
    ) {
        let limits = limits(id, mallets);
        let sticks = sticks_of(id).unwrap();
        let mut at = 0.0;
        let strikes: Vec<Strike> = strokes
            .iter()
            .map(|(gap, keys, roll)| {
                at += f64::from(*gap) / 20.0;
                let places = keys.iter().map(|k| sticks.place(sticks.range.low + k)).collect();
                let roll_to = (*roll == 0).then_some(at + 0.5);
                let strike = Strike { at, places, roll_to };
                at = roll_to.unwrap_or(at);
                strike
            })
            .filter(|s| !shares(&limits, s).is_empty())
            .collect();
        let found = sticking(&limits, &strikes);
        let least = exhaustive(&limits, &strikes);
        prop_assert!((found.cost - least).abs() < 1e-9, "{} {least}", found.cost);
        prop_assert_eq!(found.troubled.is_empty(), least < CANNOT);
    }

    #[test]
    fn nothing_panics_whatever_is_written(
        keys in prop::collection::vec((0i64..24, 1i64..8, -20i16..150, any::<bool>()), 0..40),
        mallets in prop::option::of(any::<u8>()),
        id in prop::sample::select(vec!["xylophone", "tubular-bells", "hammered-dulcimer", "snare-drum", "drum-kit"]),
    ) {
        let notes: Vec<Note> = keys
            .iter()
            .map(|(at, length, key, rolled)| {
                let mut note = note(*at, *length, *key);
                note.tremolo = rolled.then_some(Tremolo { strokes: 3, with: None });
                if *key % 5 == 0 {
                    note.kind = NoteKind::Unpitched { stroke: ["cymbal", "bass-drum", "hi-hat"][(*at % 3) as usize].into() };
                }
                note
            })
            .collect();
        let kit = Kit { chair: "x".into(), mallets, ..Kit::default() };
        for finding in World::one("x", id, 1, 140.0, notes, vec![]).kit(kit).found(mallets::check) {
            prop_assert!(!finding.message.is_empty() && !finding.remedy.is_empty() && !finding.source.is_empty());
        }
    }
}

/// Every assignment of every stroke, judged by the rules as they are written.
fn exhaustive(limits: &Limits, strikes: &[Strike]) -> f64 {
    let all: usize = strikes.iter().map(|s| 1usize << s.places.len()).product();
    let mut least = f64::INFINITY;
    'every: for code in 0..all {
        let mut rest = code;
        let mut cost = 0.0;
        // When and where each hand struck last.
        let mut hands: [Option<(f64, f64, usize)>; 2] = [None, None];
        for (i, strike) in strikes.iter().enumerate() {
            let ways = 1 << strike.places.len();
            let set = rest % ways;
            rest /= ways;
            let mine = |side: usize| -> Vec<f64> {
                let own = |i: usize| (set >> i & 1 == 1) == (side == 0);
                strike.places.iter().enumerate().filter(|(i, _)| own(*i)).map(|p| *p.1).collect()
            };
            for side in 0..2 {
                let bars = mine(side);
                let wide = bars.iter().fold(0.0, |w: f64, b| w.max(b - bars[0]));
                if bars.len() > limits.each || bars.len() > 1 && wide > limits.hand {
                    continue 'every;
                }
            }
            let free = |h: Option<(f64, f64, usize)>| h.filter(|h| strike.at - h.0 < IDLE);
            let old = [free(hands[0]), free(hands[1])];
            if old == [None, None] && mine(1).is_empty() {
                cost += LEFT_FIRST;
            }
            hands = old;
            for side in 0..2 {
                let mut bars = mine(side);
                if bars.is_empty() && strike.roll_to.is_some() {
                    bars = strike.places.clone();
                }
                if bars.is_empty() {
                    continue;
                }
                let place = (bars[0] + bars[bars.len() - 1]) / 2.0;
                if let Some((when, from, _)) = old[side] {
                    let gap = (strike.at - when).max(1e-6);
                    let speed = (place - from).abs() / gap;
                    cost += MOVE * speed / limits.speed.0 + REPEAT * (limits.repeat.0 / gap).min(4.0).powi(2);
                    cost += if gap < limits.repeat.1 - 1e-6 {
                        CANNOT
                    } else if gap < limits.repeat.0 - 1e-6 {
                        BEYOND_EASE
                    } else {
                        0.0
                    };
                    cost += if speed > limits.speed.1 {
                        CANNOT
                    } else if speed > limits.speed.0 {
                        BEYOND_EASE
                    } else {
                        0.0
                    };
                }
                let when = strike.roll_to.map_or(strike.at, |to| strike.at.max(to - limits.repeat.0));
                hands[side] = Some((when, place, i));
            }
            if let [Some(l), Some(r)] = hands {
                cost += if l.1 - r.1 > CROSSED_BY { CROSSED } else { 0.0 };
                cost += if l.2 == r.2 && (l.1 - r.1).abs() > limits.reach { CANNOT } else { 0.0 };
            }
        }
        least = least.min(cost);
    }
    least
}

#[test]
fn more_notes_than_sticks() {
    let notes = chord(0, 4, &[60, 64, 67, 72]);
    let found = World::one("marimba", "marimba", 1, 90.0, notes.clone(), vec![]).found(mallets::check);
    assert_eq!(rules(&found), [("sticks-count", 1)]);
    assert_eq!(found[0].severity, Severity::Advice);
    let edit = Edit::Kit { chair: "marimba".into(), key: "mallets".into(), value: "4".into() };
    assert_eq!(found[0].change.clone().unwrap().edits, [edit]);
    // The change settles it.
    let kit = Kit { chair: "marimba".into(), mallets: Some(4), ..Kit::default() };
    assert!(
        World::one("marimba", "marimba", 1, 90.0, notes, vec![])
            .kit(kit.clone())
            .found(mallets::check)
            .is_empty()
    );
    // Four sticks do not solve five notes, nor two tenfold apart in one hand.
    for keys in [[60, 62, 64, 65, 67].as_slice(), &[41, 60, 79, 96]] {
        let world = World::one("marimba", "marimba", 1, 90.0, chord(0, 4, keys), vec![]).kit(kit.clone());
        let found = world.found(mallets::check);
        assert_eq!(
            (found[0].rule, found[0].severity, found[0].change.clone()),
            ("sticks-count", Severity::Impossible, None)
        );
    }
    // Two players share four notes.
    assert!(
        World::one("x", "xylophone", 2, 90.0, chord(0, 4, &[72, 76, 79, 84]), vec![])
            .found(mallets::check)
            .is_empty()
    );
}

#[test]
fn two_hammers_for_bells() {
    let three = World::one("bells", "tubular-bells", 1, 90.0, chord(0, 4, &[60, 64, 67]), vec![])
        .found(mallets::check);
    assert_eq!(rules(&three), [("bells-two", 1)]);
    assert!(three[0].message.contains("three notes for two hammers"), "{}", three[0].message);
    let wide =
        World::one("bells", "tubular-bells", 1, 90.0, chord(0, 4, &[60, 77]), vec![]).found(mallets::check);
    assert_eq!(rules(&wide), [("bells-two", 1)]);
    assert!(wide[0].message.contains("apart"), "{}", wide[0].message);
    assert!(
        World::one("b", "tubular-bells", 1, 90.0, chord(0, 4, &[60, 72]), vec![])
            .found(mallets::check)
            .is_empty()
    );
}

#[test]
fn how_quick_two_hands_are() {
    let run = |id: &str, tempo: f64, key: i16| {
        let notes = (0..32).map(|i| note(i, 1, key)).collect();
        World::one("x", id, 1, tempo, notes, vec![]).found(mallets::check)
    };
    // Semiquavers at 120 are 8 a second: a xylophone's two hands have 14, tubular bells 5.
    assert_eq!(rules(&run("xylophone", 120.0, 77)), []);
    let bells = run("tubular-bells", 120.0, 65);
    assert_eq!(rules(&bells), [("sticks-speed", 1)]);
    assert_eq!(bells[0].to_bar, 2);
    // At 300 they are 20 a second.
    assert_eq!(rules(&run("xylophone", 300.0, 77)), [("sticks-speed", 1)]);
    // A leap of four octaves in semiquavers, back and forth with chords on both sides.
    let mut notes = Vec::new();
    for i in 0..8 {
        notes.extend(chord(i, 1, if i % 2 == 0 { &[41, 43] } else { &[89, 91] }));
    }
    let found = World::one("m", "marimba", 1, 120.0, notes, vec![]).found(mallets::check);
    assert_eq!(rules(&found), [("sticks-speed", 1)]);
    assert!(found[0].message.contains("mm from"), "{}", found[0].message);
}

#[test]
fn a_roll_takes_both_hands() {
    let mut roll = note(0, 16, 60);
    roll.tremolo = Some(Tremolo { strokes: 3, with: None });
    roll.voice = 2;
    let notes = vec![roll, note(8, 2, 72), note(16, 4, 67)];
    let found = World::one("m", "marimba", 1, 90.0, notes, vec![]).found(mallets::check);
    assert_eq!(rules(&found), [("sticks-count", 1)]);
    assert!(found[0].message.contains("both hands roll C4"), "{}", found[0].message);
    // By word, what lasts; the stroke after the roll is nothing out of the way.
    let by_word = World::one(
        "m",
        "marimba",
        1,
        90.0,
        vec![note(0, 16, 60), note(16, 4, 67)],
        vec![word(0, Playing::Roll)],
    );
    assert!(by_word.found(mallets::check).is_empty());
}

#[test]
fn drums() {
    let hit = |at: i64, stroke: &str| {
        let mut n = Note::plain(Beats::new(at, 4), Beats::new(1, 4), 60);
        n.kind = NoteKind::Unpitched { stroke: stroke.into() };
        n
    };
    let three = vec![hit(0, "snare-drum"), hit(0, "triangle"), hit(0, "bass-drum")];
    let found = World::one("p", "percussion", 1, 90.0, three.clone(), vec![]).found(mallets::check);
    assert_eq!(rules(&found), [("sticks-count", 1)]);
    assert!(found[0].remedy.contains("two players"), "{}", found[0].remedy);
    // In a kit the foot has the bass drum; crash cymbals take both hands.
    assert!(World::one("kit", "drum-kit", 1, 90.0, three, vec![]).found(mallets::check).is_empty());
    let crash = vec![hit(0, "crash-cymbals"), hit(0, "triangle")];
    assert_eq!(
        rules(&World::one("p", "percussion", 1, 90.0, crash, vec![]).found(mallets::check)),
        [("sticks-count", 1)]
    );
    // Tam-tam: twice a second.
    let quick: Vec<Note> = (0..8).map(|i| hit(i, "tam-tam")).collect();
    let found = World::one("t", "tam-tam", 1, 90.0, quick, vec![]).found(mallets::check);
    assert_eq!(rules(&found), [("sticks-speed", 1)]);
    assert!(found[0].message.contains("6.0 times a second"), "{}", found[0].message);
}

#[test]
fn a_long_part_is_quick() {
    let notes: Vec<Note> = (0..6400i64).map(|i| note(i, 1, 65 + (i * 7 % 31) as i16)).collect();
    let world = World::one("x", "xylophone", 1, 120.0, notes, vec![]);
    let start = std::time::Instant::now();
    mallets::check(&world.table());
    let seconds = start.elapsed().as_secs_f64();
    println!("400 bars of semiquavers on bars: {:.0} ms", 1000.0 * seconds);
    assert!(seconds < 2.0, "{seconds}");
}
