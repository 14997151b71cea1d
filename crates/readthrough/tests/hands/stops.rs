//! Stops: handbook cases, an exhaustive search written anew, and the rule on small parts.

use crate::common::{World, cases, chord, note, rules, word};
use proptest::prelude::*;
use ripieno_instruments::{Strings, strings_of};
use ripieno_music::{Edit, Mark, Playing, Severity};
use ripieno_readthrough::solve::stops::{
    self, Asked, CANNOT, Fingering, Known, SHIFT_COST, SHIFT_LENGTH_COST, SHIFT_SECONDS, SHIFT_SPEED, THUMB,
    Task, WITHOUT_SHIFT, best_way, fingerings, share, stops_needed, ways,
};

const ASKED: Asked = Asked { neighbours: true, reach: true };

fn easiest(id: &str, keys: &[u8]) -> Option<Fingering> {
    let board = strings_of(id).unwrap();
    fingerings(board, keys, ASKED).into_iter().min_by(|a, b| a.cost.total_cmp(&b.cost))
}

fn at_ease(id: &str, keys: &[u8]) -> bool {
    easiest(id, keys).is_some_and(|f| f.strain <= 1.0)
}

#[test]
fn what_every_handbook_allows() {
    // Adler and Piston (from memory): on violin and viola seconds to octaves anywhere on neighbouring strings, tenths at
    // the limit; with an open string nearly anything; the great chords of the literature.
    for low in 57..=76u8 {
        for interval in [3, 4, 7, 8, 9, 12] {
            // Below the open D both would be on the lowest string.
            if low + interval < 62 {
                continue;
            }
            assert!(at_ease("violin", &[low, low + interval]), "violin {low} + {interval}");
        }
    }
    for keys in [
        [55, 62].as_slice(),
        &[55, 64],
        &[57, 73 - 1],
        &[62, 62 + 2],
        &[55, 62, 71],
        &[55, 62, 71, 79],
        &[57, 64, 73],
    ] {
        assert!(easiest("violin", keys).is_some(), "{keys:?}");
    }
    // A major tenth from A3: possible, beyond ease.
    assert!(easiest("violin", &[57, 73]).is_some_and(|f| f.strain > 1.0));
    // Cello: sixths and thirds in the neck positions; octaves there only with the thumb.
    for low in 38..=50u8 {
        for interval in [3, 4, 8, 9] {
            if low + interval < 43 {
                continue;
            }
            assert!(easiest("cello", &[low, low + interval]).is_some(), "cello {low} + {interval}");
        }
    }
    let octave = easiest("cello", &[50, 62]).unwrap();
    assert!(octave.stops.iter().any(|s| s.finger == THUMB || s.finger == 0));
    // The chord that begins the prelude of a cello suite in C, and open strings.
    assert!(easiest("cello", &[36, 43, 52, 60]).is_some());
    assert!(easiest("cello", &[36, 43, 50, 57]).is_some_and(|f| f.hand.is_none()));
    // Double bass: fourths and thirds at ease, a stopped fifth too; an octave of stopped notes not.
    assert!(easiest("double-bass", &[33, 38]).is_some());
    assert!(easiest("double-bass", &[32, 37]).is_some_and(|f| f.strain <= 1.0));
    assert!(easiest("double-bass", &[30, 42]).is_none());
}

#[test]
fn what_no_hand_does() {
    // Two notes that only the lowest string has.
    assert!(easiest("violin", &[55, 59]).is_none());
    assert!(easiest("viola", &[49, 54]).is_none());
    assert!(easiest("cello", &[37, 42]).is_none());
    // Two octaves without an open string; five notes on four strings; below the compass.
    assert!(easiest("violin", &[57, 81]).is_none());
    assert!(easiest("violin", &[55, 62, 69, 76, 81]).is_none());
    assert!(easiest("violin", &[50, 62]).is_none());
    // The outer strings alone do not sound under one bow; plucked they do.
    assert!(easiest("violin", &[59, 81]).is_none());
    let plucked = Asked { neighbours: false, reach: true };
    assert!(!fingerings(strings_of("violin").unwrap(), &[59, 81], plucked).is_empty());
}

#[test]
fn a_guitar_in_open_position_and_with_a_barre() {
    // E major and F major as every primer draws them: 0 2 2 1 0 0 and 1 3 3 2 1 1.
    let guitar = strings_of("guitar").unwrap();
    let asked = Asked { neighbours: false, reach: true };
    for (keys, frets) in
        [([40, 47, 52, 56, 59, 64], [0, 2, 2, 1, 0, 0]), ([41, 48, 53, 57, 60, 65], [1, 3, 3, 2, 1, 1])]
    {
        let best =
            fingerings(guitar, &keys, asked).into_iter().min_by(|a, b| a.cost.total_cmp(&b.cost)).unwrap();
        assert_eq!(best.stops.iter().map(|s| s.fret).collect::<Vec<_>>(), frets);
        assert!(best.strain <= 1.0);
    }
}

/// All ways to stop a chord, by trying every string and finger for every note and judging each by the rules as they are written.
fn all_fingerings(board: &Strings, keys: &[u8], neighbours: bool) -> Vec<Vec<(u8, u8, u8)>> {
    let strings = board.open.len() as u64;
    let mut found = Vec::new();
    let each = strings * 6;
    for code in 0..each.pow(keys.len() as u32) {
        let mut rest = code;
        let mut stops = Vec::new();
        for key in keys {
            let (string, finger) = ((rest % each / 6) as u8, (rest % 6) as u8);
            rest /= each;
            let open = board.open[usize::from(string)];
            let fret = if *key >= open {
                *key - open
            } else if string == 0 && board.extension.is_some_and(|e| *key >= e) {
                0
            } else {
                break;
            };
            if fret > board.highest || (fret == 0) != (finger == 0) {
                break;
            }
            if finger == THUMB && board.thumb.is_none_or(|t| fret < t.0) {
                break;
            }
            stops.push((string, fret, finger));
        }
        if stops.len() == keys.len() && allowed(board, &stops, neighbours) {
            found.push(stops);
        }
    }
    found.sort();
    found
}

fn allowed(board: &Strings, stops: &[(u8, u8, u8)], neighbours: bool) -> bool {
    let mut strings: Vec<u8> = stops.iter().map(|s| s.0).collect();
    strings.sort();
    if strings.windows(2).any(|w| w[0] == w[1] || neighbours && w[1] - w[0] != 1) {
        return false;
    }
    let place = |fret: u8| board.length - board.length / 2f64.powf(f64::from(fret) / 12.0);
    let order = |finger: u8| if finger == THUMB { 0 } else { finger };
    for a in stops {
        for b in stops {
            if a.2 == 0 || b.2 == 0 || a == b {
                continue;
            }
            if a.2 == b.2 {
                if a.1 != b.1 {
                    return false;
                }
                let most = if a.2 == 1 || a.2 == THUMB { board.barre } else { board.barre.min(3) };
                if a.0.abs_diff(b.0) >= most {
                    return false;
                }
                // Under the finger nothing lower sounds.
                if stops.iter().any(|c| c.0 > a.0.min(b.0) && c.0 < a.0.max(b.0) && c.1 < a.1) {
                    return false;
                }
            } else if order(a.2) < order(b.2) {
                let hand = if a.2 == THUMB { board.thumb.map_or(0.0, |t| t.1) } else { board.widest };
                if a.1 > b.1 || place(b.1) - place(a.1) > hand * share(a.2, b.2) + 1e-9 {
                    return false;
                }
            }
        }
    }
    true
}

proptest! {
    #![proptest_config(cases(200))]

    #[test]
    fn fingerings_are_those_of_an_exhaustive_search(
        id in prop::sample::select(vec!["violin", "viola", "cello", "double-bass"]),
        above in prop::collection::btree_set(0u8..40, 1..=3),
        neighbours in any::<bool>(),
    ) {
        let board = strings_of(id).unwrap();
        let keys: Vec<u8> = above.iter().map(|a| board.open[0] + a).collect();
        let mut mine: Vec<Vec<(u8, u8, u8)>> = fingerings(board, &keys, Asked { neighbours, reach: true })
            .iter()
            .map(|f| f.stops.iter().map(|s| (s.string, s.fret, s.finger)).collect())
            .collect();
        mine.sort();
        prop_assert_eq!(mine, all_fingerings(board, &keys, neighbours));
    }

    #[test]
    fn the_best_way_is_that_of_an_exhaustive_search(
        chords in prop::collection::vec((prop::collection::btree_set(0u8..24, 1..=2), 1u32..12, any::<bool>()), 2..=4),
    ) {
        let board = strings_of("violin").unwrap();
        let mut seconds = 0.0;
        let mut tasks: Vec<(Task, bool)> = Vec::new();
        for (above, gap, hold) in &chords {
            seconds += f64::from(*gap) / 16.0;
            let mut keys: Vec<u8> = above.iter().map(|a| 55 + a).collect();
            let mut held = Vec::new();
            if let (true, Some((before, _))) = (hold, tasks.last()) {
                held.push(before.keys[0]);
                keys.push(before.keys[0]);
                keys.sort();
                keys.dedup();
            }
            tasks.push((Task { keys, held, seconds }, true));
        }
        let choices: Vec<Vec<Fingering>> = tasks.iter().map(|t| ways(board, &t.0.keys, true)).collect();
        let way = best_way(&mut Known::new(board), &tasks);
        if choices.iter().any(Vec::is_empty) {
            prop_assert!(way.is_none());
            return Ok(());
        }
        let all: usize = choices.iter().map(Vec::len).product();
        prop_assume!(all < 300_000);
        // Every sequence, its cost added up by the definition.
        let mut least = f64::INFINITY;
        for code in 0..all {
            let mut rest = code;
            let mut cost = 0.0;
            let mut before: Option<&Fingering> = None;
            for (i, choice) in choices.iter().enumerate() {
                let now = &choice[rest % choice.len()];
                rest /= choice.len();
                cost += now.cost;
                if let Some(before) = before {
                    cost += moving(board, &tasks[i - 1].0, before, &tasks[i].0, now);
                }
                before = Some(now);
            }
            least = least.min(cost);
        }
        let way = way.unwrap();
        prop_assert!((way.cost - least).abs() < 1e-9, "{} {}", way.cost, least);
    }

    #[test]
    fn nothing_panics_whatever_is_written(
        keys in prop::collection::vec((0i64..16, 1i64..8, -20i16..150), 0..24),
        players in 0u16..4,
    ) {
        let notes = keys.iter().map(|(at, length, key)| note(*at, *length, *key)).collect();
        let world = World::one("v", "violin", players, 120.0, notes, vec![word(1, Playing::NonDiv)]);
        for finding in world.found(stops::check) {
            prop_assert!(!finding.message.is_empty() && !finding.remedy.is_empty() && !finding.source.is_empty());
        }
    }
}

fn moving(board: &Strings, before: &Task, a: &Fingering, after: &Task, b: &Fingering) -> f64 {
    let mut cost = 0.0;
    for key in &after.held {
        if let Some(i) = before.keys.iter().position(|k| k == key) {
            let j = after.keys.iter().position(|k| k == key).unwrap();
            if a.stops[i] != b.stops[j] {
                cost += CANNOT;
            }
        }
    }
    let way = (a.hand.unwrap() - b.hand.unwrap()).abs();
    if way > WITHOUT_SHIFT * board.rest {
        cost += SHIFT_COST + SHIFT_LENGTH_COST * way / board.rest;
        if after.seconds - before.seconds < SHIFT_SECONDS + way / SHIFT_SPEED {
            cost += CANNOT;
        }
    }
    cost
}

#[test]
fn players_needed() {
    let violin = strings_of("violin");
    assert_eq!(stops_needed(violin, &[]), 0);
    assert_eq!(stops_needed(violin, &[60]), 1);
    assert_eq!(stops_needed(violin, &[62, 69]), 1);
    // Both on the G string only.
    assert_eq!(stops_needed(violin, &[56, 60]), 2);
    assert_eq!(stops_needed(violin, &[56, 60, 64, 67]), 2);
    assert_eq!(stops_needed(None, &[60, 64, 67]), 3);
}

#[test]
fn the_rule_on_a_solo_part() {
    let mut notes = chord(0, 4, &[55, 59]);
    notes.extend(chord(16, 4, &[57, 73]));
    notes.extend(chord(32, 4, &[62, 71]));
    let found = World::one("solo", "violin", 1, 90.0, notes.clone(), vec![]).found(stops::check);
    assert_eq!(rules(&found), [("stops", 1), ("stops", 2)]);
    assert_eq!(found[0].severity, Severity::Impossible);
    assert!(found[0].message.contains("only the G string goes so low"), "{}", found[0].message);
    assert!(found[0].remedy.contains("octave"), "{}", found[0].remedy);
    assert_eq!(found[1].severity, Severity::Hard);
    assert!(
        found[1].message.contains("fourth finger") && found[1].message.contains("mm"),
        "{}",
        found[1].message
    );
    // A section divides: what one hand cannot is worth a word, what it can is not.
    let section = World::one("violins-1", "violin", 14, 90.0, notes.clone(), vec![]).found(stops::check);
    assert_eq!(rules(&section), [("stops-divide", 1)]);
    let change = section[0].change.clone().unwrap();
    assert_eq!(
        change.edits,
        [Edit::Cell { passage: "A".into(), chair: "violins-1".into(), text: "as written, div.".into() }]
    );
    // It says so: nothing more to say. It says the opposite: as one player.
    let div = World::one("violins-1", "violin", 14, 90.0, notes.clone(), vec![word(0, Playing::Div(2))]);
    assert_eq!(rules(&div.found(stops::check)), []);
    let non_div = World::one("violins-1", "violin", 14, 90.0, notes, vec![word(0, Playing::NonDiv)]);
    let found = non_div.found(stops::check);
    assert_eq!(rules(&found), [("stops", 1), ("stops", 2)]);
    assert!(found[0].remedy.starts_with("Write `div.`: two of the 14 players"), "{}", found[0].remedy);
}

#[test]
fn voices_of_one_staff_are_stopped_by_one_hand_and_harmonics_are_left_alone() {
    // A held B3 under a moving voice that comes down to A3: both on the G string.
    let mut low = note(0, 8, 59);
    low.voice = 2;
    let mut notes = vec![low, note(0, 4, 67), note(4, 4, 57)];
    let found = World::one("solo", "violin", 1, 90.0, notes.clone(), vec![]).found(stops::check);
    assert_eq!(found.iter().map(|f| (f.severity, f.beat)).collect::<Vec<_>>(), [(Severity::Impossible, 2.0)]);
    // Played into a machine with a short overlap it is legato.
    for n in &mut notes {
        n.velocity = Some(80);
    }
    notes[0].length = ripieno_units::Beats::new(9, 8);
    let found = World::one("solo", "violin", 1, 90.0, notes, vec![]).found(stops::check);
    assert_eq!(rules(&found), []);
    let mut harmonics = chord(0, 4, &[55, 59]);
    harmonics[1].marks.add(Mark::Harmonic);
    assert_eq!(rules(&World::one("solo", "violin", 1, 90.0, harmonics, vec![]).found(stops::check)), []);
}

#[test]
fn a_hand_has_to_get_there() {
    // Octaves three octaves apart in semiquavers; the same in minims.
    let far = |unit: i64| {
        let mut notes = chord(0, unit, &[57, 69]);
        notes.extend(chord(unit, unit, &[85, 97]));
        World::one("solo", "violin", 1, 132.0, notes, vec![]).found(stops::check)
    };
    let found = far(1);
    assert_eq!(rules(&found), [("stops-shift", 1)]);
    assert!(found[0].message.contains("mm along the strings"), "{}", found[0].message);
    assert_eq!(rules(&far(8)), []);
}

#[test]
fn a_bow_holds_two_strings() {
    let held = World::one("solo", "cello", 1, 60.0, chord(0, 16, &[36, 43, 52]), vec![]).found(stops::check);
    assert_eq!(rules(&held), [("stops-held", 1)]);
    assert_eq!(held[0].severity, Severity::Advice);
    let short = World::one("solo", "cello", 1, 60.0, chord(0, 4, &[36, 43, 52]), vec![]).found(stops::check);
    assert_eq!(rules(&short), []);
}

#[test]
fn a_long_part_is_quick() {
    let mut notes = Vec::new();
    for i in 0..6400i64 {
        notes.extend(chord(i, 1, &[62 + (i * 7 % 11) as i16, 71 + (i * 5 % 11) as i16]));
    }
    let world = World::one("solo", "violin", 1, 96.0, notes, vec![]);
    let start = std::time::Instant::now();
    stops::check(&world.table());
    let seconds = start.elapsed().as_secs_f64();
    println!("400 bars of double stops in semiquavers: {:.0} ms", 1000.0 * seconds);
    assert!(seconds < 3.0, "{seconds}");
}

#[test]
fn a_guitar_part_full_coincidess_is_quick() {
    // Six strings stopped anywhere: thousands of ways for one chord.
    let mut notes = Vec::new();
    for i in 0..1600i64 {
        let up = (i * 7 % 9) as i16;
        notes.extend(chord(4 * i, 4, &[41, 48, 53, 57, 60, 65].map(|k| k + up)));
    }
    let world = World::one("g", "guitar", 1, 96.0, notes, vec![]);
    let start = std::time::Instant::now();
    assert_eq!(rules(&world.found(stops::check)), []);
    let seconds = start.elapsed().as_secs_f64();
    println!("400 bars of six-string chords: {:.0} ms", 1000.0 * seconds);
    assert!(seconds < 3.0, "{seconds}");
}
