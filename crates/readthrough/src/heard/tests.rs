//! Balance and arc on small orchestras with plain harmonic sounds.
#![allow(clippy::disallowed_methods)]

use super::balance::{Balance, Mods};
use super::lines::{Edge, Group};
use super::*;
use crate::{Desk, Room};
use ripieno_music::{
    ChairPerformance, Change, Curve, Doubling, Dynamic, Edit, Gesture, Metre, Part, PassageFound, Place,
    Role, RoleFound, Timeline, TuneSpan, named,
};
use ripieno_plan::{CellWords, ChairPlan, PassagePlan, PlacedCell, Plan};
use ripieno_units::{Beats, Decibels, Seconds};

/// Twelve harmonics that fall by 9 dB an octave, as loud together as the instrument is.
struct Plain;

impl Spectra for Plain {
    fn note(&self, instrument: &str, _: Option<&str>, key: f64, level: f64, _: Option<Colour>) -> Spectrum {
        let instrument = ripieno_instruments::by_id(instrument).unwrap();
        let loud = instrument.level.as_ref().map_or(90.0, |l| l.forte) - 4.5 + level;
        let ground = 440.0 * 2.0_f64.powf((key - 69.0) / 12.0);
        let components =
            (1..=12).map(f64::from).map(|n| (ground * n, loud - 30.0 * n.log10() - 1.0)).collect();
        Spectrum { components, decay: instrument.decays.then_some(2.0) }
    }
}

/// A chair: id, instrument, players, level in dB re mf, cell, keys one a bar (0 rests; several at once with `+` lists).
#[derive(Clone)]
struct Seat {
    id: &'static str,
    instrument: &'static str,
    players: u16,
    level: f64,
    cell: String,
    bars: Vec<Vec<u8>>,
    /// What the plan calls its line.
    line: Option<&'static str>,
}

fn seat(id: &'static str, instrument: &'static str, players: u16, mark: &str, bars: &[&[u8]]) -> Seat {
    let level = Dynamic::parse(mark).unwrap().level().unwrap().0;
    let bars = bars.iter().map(|b| b.to_vec()).collect();
    Seat { id, instrument, players, level, cell: format!("{id}-line, {mark}"), bars, line: None }
}

/// Who sits there: bars of 4/4 at 60, in a room or in the open.
fn with_table<T>(seats: &[Seat], room: Room, then: impl FnOnce(&Table<'_>) -> T) -> T {
    let bars = seats.iter().map(|s| s.bars.len()).max().unwrap_or(1).max(1);
    let timeline = Timeline::regular(bars, Metre { beats: 4, unit: 4 }, 60.0);
    let last = bars as i32;
    let chairs: Vec<ChairPlan> = seats
        .iter()
        .map(|s| ChairPlan {
            id: s.id.into(),
            instrument: s.instrument.into(),
            players: s.players,
            ..ChairPlan::default()
        })
        .collect();
    let cells = seats.iter().filter(|s| !s.cell.is_empty()).map(|s| PlacedCell {
        chair: s.id.into(),
        text: s.cell.clone(),
        words: CellWords::parse(&s.cell).0,
        span: Default::default(),
    });
    let plan = Plan {
        passages: vec![PassagePlan {
            name: "A".into(),
            from_bar: 1,
            to_bar: last,
            cells: cells.collect(),
            ..PassagePlan::default()
        }],
        ..Plan::default()
    };
    let cell = |line: &str| ripieno_music::Cell {
        passage: "A".into(),
        from: Beats::ZERO,
        to: timeline.end(),
        line: Some(line.into()),
        with: None,
    };
    let part = |s: &Seat| Part {
        chair: s.id.into(),
        cells: s.line.map(cell).into_iter().collect(),
        ..Part::default()
    };
    let parts: Vec<Part> = seats.iter().map(part).collect();
    let performances: Vec<ChairPerformance> = seats.iter().map(played).collect();
    let desks = (0..seats.len())
        .map(|i| Desk {
            chair: &chairs[i],
            instrument: ripieno_instruments::by_id(seats[i].instrument).unwrap(),
            players: seats[i].players,
            part: &parts[i],
            performance: &performances[i],
            kit: None,
            room,
        })
        .collect();
    then(&Table { timeline: &timeline, clock: timeline.clock(), plan: &plan, desks })
}

/// What a reading of the seats says: one passage, the tune in the first seat.
fn read(table: &Table<'_>) -> Reading {
    Reading {
        passages: vec![PassageFound {
            name: "A".into(),
            from_bar: 1,
            to_bar: table.plan.passages[0].to_bar,
            because: Vec::new(),
            roles: vec![RoleFound { role: Role::Held, chord: None }; table.desks.len()],
        }],
        doublings: Vec::new(),
        tune: vec![TuneSpan { from: Beats::ZERO, to: table.timeline.end(), track: 0 }],
    }
}

/// Listens to them.
fn listen(seats: &[Seat], reading: impl Fn(&mut Reading), room: Room) -> (Vec<Finding>, Arc) {
    with_table(seats, room, |table| {
        let mut read = read(table);
        reading(&mut read);
        check(table, &read, &Plain)
    })
}

fn played(seat: &Seat) -> ChairPerformance {
    let mut gestures = Vec::new();
    for (bar, keys) in seat.bars.iter().enumerate() {
        for &key in keys {
            gestures.push(Gesture {
                onset: Seconds(4.0 * bar as f64),
                end: Seconds(4.0 * bar as f64 + 4.0),
                place: Place { bar: bar as i32 + 1, beat: 1.0 },
                key,
                cents: 0.0,
                stroke: None,
                articulation: named::SUSTAIN.into(),
                colour: None,
                joined: false,
                joins_on: false,
                attack: Decibels(seat.level),
                realisation: None,
                glide: Seconds(0.0),
                bend: Vec::new(),
                sung: None,
                voice: 1,
                players: seat.players,
            });
        }
    }
    ChairPerformance {
        chair: seat.id.into(),
        instrument: seat.instrument.into(),
        players: seat.players,
        gestures,
        level: Curve::flat(seat.level),
        kept: Vec::new(),
        pedal: Vec::new(),
        sticks: Curve::default(),
    }
}

const OPEN: Room = Room { gain_db: -24.0, reverberation: 0.0, late_db: 0.0 };

fn rules(findings: &[Finding]) -> Vec<&'static str> {
    findings.iter().map(|f| f.rule).collect()
}

/// Takes a change as the plan and the performance would.
fn take(seats: &[Seat], change: &Change) -> Vec<Seat> {
    let mut seats = seats.to_vec();
    for edit in &change.edits {
        let Edit::Cell { chair, text, .. } = edit else { panic!("{edit}") };
        let lead = seats[0].clone();
        let seat = seats.iter_mut().find(|s| s.id == chair).unwrap();
        let mark = |text: &str| text.rsplit(", ").find_map(Dynamic::parse).and_then(Dynamic::level);
        if text == "tacet" {
            seat.bars.clear();
        }
        if text.starts_with("col ") {
            seat.level = lead.level;
            seat.bars = lead.bars;
        }
        let octave = |text: &str| i16::from(text.contains(" 8va")) - i16::from(text.contains(" 8vb"));
        let moved = 12 * (octave(text) - octave(&seat.cell));
        seat.bars.iter_mut().flatten().for_each(|k| *k = (i16::from(*k) + moved) as u8);
        if let Some(level) = mark(text) {
            seat.level = level.0;
        }
        seat.cell = text.clone();
    }
    seats
}

fn low_flute_under_brass(mark: &str) -> Vec<Seat> {
    vec![
        seat("flute", "flute", 1, "mf", &[&[62], &[64], &[65], &[64]]),
        seat("trombones", "trombone", 3, mark, &[&[53, 57, 62], &[52, 57, 60], &[53, 57, 62], &[52, 57, 60]]),
        seat("violas", "viola", 8, "p", &[&[57], &[57], &[57], &[57]]),
    ]
}

/// All of the first track's notes in bars 1 to 4, at an interval in semitones.
fn doubling(track: usize, semitones: i16) -> Doubling {
    Doubling {
        track,
        of: 0,
        semitones,
        from_bar: 1,
        to_bar: 4,
        share: 1.0,
        exact: true,
        simplified: None,
        coincides: false,
    }
}

#[test]
fn a_low_flute_is_covered_by_trombones_and_a_change_settles_it() {
    let seats = low_flute_under_brass("mf");
    let (findings, _) = listen(&seats, |_| {}, OPEN);
    let found = findings.iter().find(|f| f.rule == "tune-covered").expect("covered");
    // In bar 1 a trombone holds the flute's own note all along.
    assert_eq!((found.chair.as_str(), found.bar, found.to_bar), ("flute", 2, 4));
    assert!(found.message.contains("beside Trombone"), "{}", found.message);
    assert!(found.message.contains("by estimate") && found.remedy.contains(" %, then "), "{}", found.remedy);
    let change = found.change.as_ref().expect(&found.remedy);
    let (after, _) = listen(&take(&seats, change), |_| {}, OPEN);
    assert!(!rules(&after).contains(&"tune-covered"), "{change}: {after:?}");
}

/// Chords may rest for a tune; a bass may not, nor one of few parts.
#[test]
fn nobody_who_is_needed_is_asked_to_rest() {
    let tried = |parts: usize, role: Role| {
        let mut seats = low_flute_under_brass("fff");
        // Too high to be helped by an octave.
        (seats[0].id, seats[0].instrument) = ("bassoon", "bassoon");
        let soft: &[&[u8]] = &[&[57], &[57], &[57], &[57]];
        let others = ["oboe", "clarinet", "horn", "harp"].map(|id| seat(id, id, 1, "ppp", soft));
        seats.extend(others.into_iter().take(parts - 3));
        let read = |r: &mut Reading| r.passages[0].roles[1].role = role;
        let (findings, _) = listen(&seats, read, OPEN);
        findings.into_iter().find(|f| f.rule == "tune-covered").expect("covered").remedy
    };
    let rests = |remedy: &str| remedy.contains("without Trombone");
    assert!(rests(&tried(6, Role::Held)), "{}", tried(6, Role::Held));
    assert!(!rests(&tried(6, Role::Bass)) && !rests(&tried(3, Role::Held)));
}

#[test]
fn alone_or_above_soft_strings_it_is_heard() {
    let mut seats = low_flute_under_brass("mf");
    seats.remove(1);
    assert_eq!(rules(&listen(&seats, |_| {}, OPEN).0), [""; 0]);
    seats.pop();
    assert_eq!(rules(&listen(&seats, |_| {}, OPEN).0), [""; 0]);
}

#[test]
fn those_who_double_the_tune_count_with_it() {
    let mut seats = low_flute_under_brass("mf");
    seats.push(seat("trumpet", "trumpet", 1, "f", &[&[74], &[76], &[77], &[76]]));
    let doubled = |r: &mut Reading| {
        r.doublings.push(doubling(3, 12));
    };
    assert!(rules(&listen(&seats, |_| {}, OPEN).0).contains(&"tune-covered"));
    assert!(!rules(&listen(&seats, doubled, OPEN).0).contains(&"tune-covered"));
}

/// The same note held with the line is the line, though nobody doubles anybody.
#[test]
fn one_note_held_together_is_not_covered_by_itself() {
    let held: &[&[u8]] = &[&[62], &[62], &[62], &[62]];
    let other: &[&[u8]] = &[&[57], &[57], &[57], &[57]];
    let seats =
        |notes| vec![seat("flute", "flute", 1, "mf", held), seat("trombones", "trombone", 3, "f", notes)];
    assert!(!rules(&listen(&seats(held), |_| {}, OPEN).0).contains(&"tune-covered"));
    assert!(rules(&listen(&seats(other), |_| {}, OPEN).0).contains(&"tune-covered"));
}

#[test]
fn reverberation_of_what_was_before_covers() {
    // A chord of the brass, then a soft flute alone: a tail of 6 s still stands where it begins.
    let seats = vec![
        seat("flute", "flute", 1, "pp", &[&[], &[62], &[], &[62]]),
        seat("trombones", "trombone", 3, "fff", &[&[50, 57, 62], &[], &[50, 57, 62], &[]]),
    ];
    let long = Room { reverberation: 8.0, late_db: -0.5, ..OPEN };
    assert!(!rules(&listen(&seats, |_| {}, OPEN).0).contains(&"tune-covered"));
    assert!(rules(&listen(&seats, |_| {}, long).0).contains(&"tune-covered"));
}

#[test]
fn thirds_below_the_limit_are_muddy_octaves_and_high_thirds_are_not() {
    let pair = |low: u8, high: u8| {
        vec![
            seat("flute", "flute", 1, "mf", &[&[86][..]; 4]),
            seat("cellos", "cello", 6, "mf", &[&[high][..]; 4]),
            seat("basses", "double-bass", 4, "mf", &[&[low][..]; 4]),
        ]
    };
    let muddy = |low, high| rules(&listen(&pair(low, high), |_| {}, OPEN).0).contains(&"mud");
    assert!(muddy(36, 40) && muddy(41, 44));
    assert!(!muddy(36, 48) && !muddy(50, 54) && !muddy(36, 43));
    let seats = pair(36, 40);
    let (findings, _) = listen(&seats, |_| {}, OPEN);
    let mud = findings.iter().find(|f| f.rule == "mud").unwrap();
    let change = mud.change.as_ref().expect(&mud.remedy);
    assert!(!rules(&listen(&take(&seats, change), |_| {}, OPEN).0).contains(&"mud"));
}

#[test]
fn a_hole_in_forte_is_said_and_filled() {
    let mut seats = vec![
        seat("flute", "flute", 1, "f", &[&[84][..]; 4]),
        seat("oboe", "oboe", 1, "f", &[&[79][..]; 4]),
        seat("clarinet", "clarinet", 1, "f", &[&[76][..]; 4]),
        seat("basses", "double-bass", 4, "f", &[&[36][..]; 4]),
    ];
    let (findings, _) = listen(&seats, |_| {}, OPEN);
    let hole = findings.iter().find(|f| f.rule == "hole").expect("a hole");
    assert!(hole.message.contains("C2"), "{}", hole.message);
    seats.iter_mut().for_each(|s| s.level = -9.0);
    assert!(!rules(&listen(&seats, |_| {}, OPEN).0).contains(&"hole"), "soft is open, not hollow");
}

#[test]
fn the_tune_crossed_by_its_own_colour() {
    let seats = |above: u8| {
        vec![
            seat("violins-1", "violin", 12, "mf", &[&[69], &[71], &[72], &[71]]),
            seat("violins-2", "violin", 12, "mf", &[&[above][..]; 4]),
        ]
    };
    let (findings, _) = listen(&seats(76), |_| {}, OPEN);
    let found = findings.iter().find(|f| f.rule == "crossing").expect("crossed");
    let change = found.change.as_ref().expect(&found.remedy);
    assert!(!rules(&listen(&take(&seats(76), change), |_| {}, OPEN).0).contains(&"crossing"));
    assert!(!rules(&listen(&seats(64), |_| {}, OPEN).0).contains(&"crossing"));
}

#[test]
fn doublings_that_add_nothing_and_octaves_that_beat() {
    let doubled = |semitones: i16| {
        move |r: &mut Reading| {
            r.doublings.push(doubling(1, semitones));
        }
    };
    let two =
        |second: Seat| vec![seat("trumpets", "trumpet", 3, "ff", &[&[72], &[74], &[76], &[74]]), second];
    let soft = two(seat("flute", "flute", 1, "p", &[&[72], &[74], &[76], &[74]]));
    let (findings, _) = listen(&soft, doubled(0), OPEN);
    let idle = findings.iter().find(|f| f.rule == "doubling-idle").expect("idle");
    assert_eq!(idle.change.as_ref().map(|c| c.to_string()).as_deref(), Some("in “A”: flute = \"tacet\""));
    let above = two(seat("piccolo", "piccolo", 1, "ff", &[&[96], &[98], &[100], &[98]]));
    assert!(!rules(&listen(&above, doubled(24), OPEN).0).contains(&"doubling-idle"));
    let octaves = |a: &'static str, b: &str| {
        vec![
            seat("first", a, 1, "mf", &[&[81], &[83], &[84], &[83]]),
            seat("second", a, 1, b, &[&[69], &[71], &[72], &[71]]),
        ]
    };
    assert!(!rules(&listen(&octaves("oboe", "pp"), doubled(-12), OPEN).0).contains(&"octave-beat"));
}

#[test]
fn who_has_the_bass_and_who_is_one_of_many_is_not_asked_to_rest() {
    let double = |r: &mut Reading, track: usize| {
        r.doublings.push(doubling(track, 0));
    };
    let keys: &[&[u8]] = &[&[72], &[74], &[76], &[74]];
    let mut seats = vec![seat("trumpets", "trumpet", 3, "ff", keys), seat("flute-1", "flute", 1, "p", keys)];
    let idle = |seats: &[Seat], reading: &dyn Fn(&mut Reading)| {
        let (findings, _) = listen(seats, reading, OPEN);
        findings.into_iter().filter(|f| f.rule == "doubling-idle").count()
    };
    assert_eq!(idle(&seats, &|r| double(r, 1)), 1);
    assert_eq!(
        idle(&seats, &|r| {
            double(r, 1);
            r.passages[0].roles[1].role = Role::Bass;
        }),
        0
    );
    // With a second flute the complaint would only move to the other.
    seats.push(seat("flute-2", "flute", 1, "p", keys));
    assert_eq!(
        idle(&seats, &|r| {
            double(r, 1);
            double(r, 2);
        }),
        0
    );
}

#[test]
fn the_arc_knows_reserve_entrances_and_the_climax() {
    let seats = [
        seat("oboe", "oboe", 1, "p", &[&[69], &[69], &[69], &[69]]),
        seat("trumpets", "trumpet", 3, "ff", &[&[], &[], &[72, 76, 79], &[]]),
    ];
    let (_, arc) = listen(&seats, |_| {}, OPEN);
    assert_eq!(arc.bars.len(), 4);
    assert_eq!(arc.bars[0].reserve, ["trumpets"]);
    assert_eq!(arc.bars[2].reserve, [""; 0]);
    assert_eq!((arc.bars[2].players, arc.bars[2].span), (4, Some((69, 79))));
    assert!((arc.bars[2].density - 1.0).abs() < 1e-9, "four onsets in 4 s");
    assert!(arc.bars[2].brightness > 10.0 && arc.bars[2].sones > 2.0 * arc.bars[0].sones);
    let climax = arc.climax.unwrap();
    // One passage: nothing came before it.
    assert_eq!((climax.bar, climax.exceeds), (3, 1.0));
    // The oboe plays from the start.
    assert_eq!((climax.enters, climax.returns), (vec!["trumpets".to_string()], vec![]));
    let trumpets = &arc.chairs[1];
    assert_eq!((trumpets.from_bar, trumpets.to_bar, trumpets.bars), (3, 3, 1));
    assert_eq!(arc.families.iter().map(|f| f.who.as_str()).collect::<Vec<_>>(), ["woodwind", "brass"]);
}

#[test]
fn nonsense_is_borne() {
    let (findings, arc) = listen(&[], |r| r.tune[0].track = 7, OPEN);
    assert!(findings.is_empty() && arc.climax.is_none());
    let mut seats = low_flute_under_brass("mf");
    seats[0].level = f64::NAN;
    seats[1].level = 1e9;
    let odd = Room { gain_db: f64::NAN, reverberation: f64::INFINITY, late_db: f64::NAN };
    listen(&seats, |r| r.passages.clear(), odd);
}

#[test]
fn what_the_plan_calls_a_pad_is_no_tune_and_a_named_tune_has_no_rival() {
    // The flute is found as the tune and is covered, until the plan says what it is.
    let mut seats = low_flute_under_brass("mf");
    assert!(rules(&listen(&seats, |_| {}, OPEN).0).contains(&"tune-covered"));
    seats[0].line = Some("pad.top");
    assert!(!rules(&listen(&seats, |_| {}, OPEN).0).contains(&"tune-covered"));
    // The violas have what the plan calls the tune, in bars 1 and 2; in 3 and 4 nobody has it, and the flute is still none.
    seats[0].line = None;
    seats[2] = seat("violas", "viola", 8, "pp", &[&[55], &[55], &[], &[]]);
    seats[2].line = Some("melody");
    let (findings, _) = listen(&seats, |_| {}, OPEN);
    let tunes: Vec<&str> =
        findings.iter().filter(|f| f.rule == "tune-covered").map(|f| f.chair.as_str()).collect();
    assert_eq!(tunes, ["violas"]);
}

#[test]
fn a_mixture_changed_by_what_is_touched_is_the_whole_one_made_anew() {
    let room = Room { gain_db: -24.0, reverberation: 2.0, late_db: -3.0 };
    let mut seats = low_flute_under_brass("f");
    seats.push(seat("harp", "harp", 1, "mf", &[&[50], &[], &[69, 72], &[]]));
    with_table(&seats, room, |table| {
        let balance = Balance::new(table, &Plain);
        let group = Group { lead: 0, with: vec![2], edge: Edge::Top };
        let all = [
            Mods::default(),
            Mods { shift: [(1, -4.5), (0, 4.5)].into(), ..Mods::default() },
            Mods { out: [1].into(), shift: [(2, -9.0)].into(), ..Mods::default() },
            Mods { octave: [(1, 12), (0, 12)].into(), shift: [(0, 3.0)].into(), ..Mods::default() },
            Mods { out: [2].into(), ..Mods::default() },
            Mods { out: [1].into(), join: vec![(1, 12, 0.0)], ..Mods::default() },
        ];
        let mut compared = 0;
        for mods in &all {
            for k in 0..balance.slots.len() {
                let Some(base) = balance.as_played(k, &group) else { continue };
                let whole = balance.mixture(k, &group, mods).unwrap();
                let changed = balance.changed(k, &group, &base, mods).unwrap();
                for (a, b) in [(&whole.0, &changed.0), (&whole.1, &changed.1)] {
                    let most = a.excitation().iter().fold(0.0_f64, |m, e| m.max(*e));
                    for (x, y) in a.excitation().iter().zip(b.excitation()) {
                        assert!((x - y).abs() <= 1e-9 * most.max(1e-12), "{mods:?}, slot {k}: {x} {y}");
                    }
                    compared += 1;
                }
            }
        }
        assert!(compared > 100, "{compared}");
    });
}
