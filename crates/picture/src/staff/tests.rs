//! The picture as a whole: well-formed, without words that cover each other, whatever it is given.

use super::words::width;
use super::*;
use proptest::prelude::*;
use ripieno_music::{Role, Severity, Spelling};

fn time() -> impl Strategy<Value = f64> {
    prop_oneof![12 => -2.0..14.0f64, 1 => Just(f64::NAN), 1 => Just(f64::INFINITY), 1 => Just(-1e18)]
}

fn text() -> impl Strategy<Value = String> {
    prop_oneof![4 => "[a-z .]{0,24}", 1 => "\\PC{0,12}", 1 => Just("<b a=\"&'\u{1}\u{b}>".to_string())]
}

fn words() -> impl Strategy<Value = Vec<Words>> {
    prop::collection::vec((time(), prop::option::of(time()), text()), 0..14)
        .prop_map(|all| all.into_iter().map(|(at, to, text)| Words { at, to, text }).collect())
}

fn place() -> impl Strategy<Value = Placed> {
    prop_oneof![
        6 => (0..9u8, -300..300i16, -2..10i8).prop_map(|(step, alter, octave)| Placed::Pitch(Spelling { step, alter, octave })),
        1 => (0..5usize).prop_map(Placed::Line),
    ]
}

fn note() -> impl Strategy<Value = Note> {
    let strokes = prop::collection::vec((time(), place()).prop_map(|(at, place)| Stroke { at, place }), 0..9);
    let levels = prop::collection::vec((time(), prop_oneof![9 => -40.0..20.0f64, 1 => Just(f64::NAN)]), 0..4);
    ((time(), time(), 0..6usize, 0..3usize, place()), any::<(bool, bool)>(), levels, strokes).prop_map(
        |((onset, end, bar, staff, place), (small, fades), levels, strokes)| Note {
            onset,
            end,
            bar,
            staff,
            place,
            small,
            fades,
            levels,
            strokes,
            slides_to: match place {
                Placed::Pitch(spelling) if fades => Some(spelling),
                _ => None,
            },
            ..Note::default()
        },
    )
}

fn staff() -> impl Strategy<Value = Staff> {
    let sign = prop_oneof![
        Just(ClefSign::Treble),
        Just(ClefSign::Alto),
        Just(ClefSign::Tenor),
        Just(ClefSign::Bass)
    ];
    prop_oneof![
        4 => (sign, -4..4i8).prop_map(|(sign, octaves)| Staff::Five(Clef { sign, octaves })),
        1 => prop::collection::vec(text(), 0..4).prop_map(Staff::Lines),
    ]
}

fn opened() -> impl Strategy<Value = Opened> {
    let bars = prop::collection::vec(
        (time(), -1..200i32, prop::option::of((0..20u16, 0..20u16)), prop::option::of(-9..9i8)),
        0..6,
    );
    let flags = prop::collection::vec((time(), time(), 0..3u8, text()), 0..9);
    let pins = prop::collection::vec((time(), time(), any::<(bool, bool)>(), -40.0..40.0f64), 0..6);
    let slurs = prop::collection::vec((time(), time(), 0..3usize, any::<(bool, bool)>()), 0..5);
    (
        (text(), prop::collection::vec(staff(), 0..3), -9..9i8, bars, time()),
        prop::collection::vec(note(), 0..24),
        (words(), words(), words(), words()),
        (flags, pins, slurs, prop::collection::vec(time(), 0..5)),
    )
        .prop_map(
            |((title, staves, fifths, bars, end), notes, (marks, calls, lyrics, dynamics), rest)| {
                let (flags, pins, slurs, breaths) = rest;
                let severity = [Severity::Advice, Severity::Hard, Severity::Impossible];
                Opened {
                    title,
                    role: Role::Held,
                    staves,
                    fifths,
                    bars: bars
                        .into_iter()
                        .map(|(at, number, metre, fifths)| Bar { at, number, metre, fifths })
                        .collect(),
                    end,
                    notes,
                    slurs: slurs
                        .into_iter()
                        .map(|(from, to, staff, (below, goes_on))| Slur {
                            from,
                            to,
                            staff,
                            below,
                            goes_on,
                            from_before: !goes_on,
                        })
                        .collect(),
                    marks,
                    calls,
                    lyrics,
                    dynamics,
                    hairpins: pins
                        .into_iter()
                        .map(|(from, to, (louder, niente), span)| Hairpin { from, to, louder, span, niente })
                        .collect(),
                    breaths,
                    findings: flags
                        .into_iter()
                        .map(|(at, to, s, text)| Flag {
                            at,
                            to,
                            severity: severity[usize::from(s)],
                            full: text.clone(),
                            text,
                        })
                        .collect(),
                    ..Opened::default()
                }
            },
        )
}

/// Rooms of the words: class, left, right, top, bottom.
fn rooms(svg: &str) -> Vec<(String, f64, f64, f64, f64)> {
    let document = roxmltree::Document::parse(svg).unwrap();
    let number = |n: roxmltree::Node<'_, '_>, a: &str| n.attribute(a).unwrap().parse::<f64>().unwrap();
    document
        .descendants()
        .filter(|n| n.has_tag_name("text"))
        .map(|n| {
            let (x, y, size) = (number(n, "x"), number(n, "y"), number(n, "font-size"));
            let wide = width(n.text().unwrap_or(""), size);
            (n.attribute("class").unwrap().to_string(), x, x + wide, y - 0.75 * size, y + 0.2 * size)
        })
        .collect()
}

/// Do any two of the words above and below the staves cover each other?
fn collision(svg: &str) -> Option<String> {
    let rooms: Vec<_> = rooms(svg)
        .into_iter()
        // What stands on the staff itself has its own room by construction.
        .filter(|r| !["staff-metre", "staff-figure", "staff-name"].contains(&r.0.as_str()))
        .collect();
    for (i, a) in rooms.iter().enumerate() {
        for b in &rooms[..i] {
            if a.1 < b.2 && b.1 < a.2 && a.3 < b.4 && b.3 < a.4 {
                return Some(format!("{a:?} {b:?}"));
            }
        }
    }
    None
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

    #[test]
    fn whatever_it_is_given_it_is_well_formed_and_words_stand_free(opened in opened(), scale in prop_oneof![8 => 5.0..200.0f64, 1 => Just(f64::NAN), 1 => Just(0.0)]) {
        let svg = draw(&opened, scale);
        let document = roxmltree::Document::parse(&svg);
        prop_assert!(document.is_ok(), "{:?}", document.err());
        let document = document.unwrap();
        let root = document.root_element();
        prop_assert_eq!(root.attribute("role"), Some("img"));
        prop_assert!(root.attribute("aria-label").is_some());
        // Words may say anything; what is drawn has numbers.
        for one in document.descendants().flat_map(|n| n.attributes()).filter(|a| !a.name().starts_with("aria-")) {
            prop_assert!(!one.value().contains("NaN") && !one.value().contains("inf"), "{:?}", one);
        }
        for side in ["width", "height"] {
            let length: f64 = root.attribute(side).unwrap().parse().unwrap();
            prop_assert!(length > 0.0 && length < 40_000.0, "{} {}", side, length);
        }
        prop_assert_eq!(collision(&svg), None);
    }

    #[test]
    fn the_natural_scale_is_one_to_look_at(opened in opened()) {
        prop_assert!((30.0..=150.0).contains(&natural_scale(&opened)));
    }
}

/// A bar of plain music.
fn plain() -> Opened {
    let note = |onset: f64, step: u8| Note {
        onset,
        end: onset + 0.9,
        place: Placed::Pitch(Spelling { step, alter: 0, octave: 4 }),
        levels: vec![(0.0, 0.0)],
        ..Note::default()
    };
    Opened {
        title: "Oboe in \"Fog & Co\"".into(),
        role: Role::Tune,
        staves: vec![Staff::Five(Clef::plain(ClefSign::Treble))],
        bars: vec![Bar { at: 0.0, number: 5, metre: Some((3, 4)), fifths: None }],
        end: 3.0,
        notes: vec![note(0.0, 0), note(1.0, 2), note(2.0, 4)],
        slurs: vec![Slur { from: 0.0, to: 2.0, ..Slur::default() }],
        marks: vec![Words { at: 1.0, to: None, text: "tenuto".into() }],
        ..Opened::default()
    }
}

#[test]
fn time_runs_evenly_and_a_head_stands_at_its_onset() {
    let first_of = |svg: &str, class: &str| -> Vec<f64> {
        let document = roxmltree::Document::parse(svg).unwrap();
        let node = document.descendants().find(|n| n.attribute("class") == Some(class)).unwrap();
        let starts = node.attribute("d").unwrap().split('M').skip(1);
        starts.map(|s| s.split([' ', 'C', 'L', 'H']).next().unwrap().parse().unwrap()).collect()
    };
    let heads = first_of(&draw(&plain(), 100.0), "staff-head");
    assert_eq!(heads.len(), 3);
    assert!((heads[1] - heads[0] - 100.0).abs() < 0.02 && (heads[2] - heads[1] - 100.0).abs() < 0.02);
    // Twice the scale, twice the distance; the tail is as long as the note sounds.
    let heads = first_of(&draw(&plain(), 200.0), "staff-head");
    assert!((heads[1] - heads[0] - 200.0).abs() < 0.02);
}

#[test]
fn middle_c_has_one_ledger_line_and_names_are_escaped() {
    let svg = draw(&plain(), 80.0);
    let document = roxmltree::Document::parse(&svg).unwrap();
    let paths = |class: &str| {
        let of = |n: &roxmltree::Node<'_, '_>| n.attribute("class") == Some(class);
        document.descendants().filter(of).map(|n| n.attribute("d").unwrap().to_string()).collect::<Vec<_>>()
    };
    assert_eq!(paths("staff-ledger").concat().matches('M').count(), 1);
    assert_eq!(paths("staff-slur").concat().matches('Z').count(), 1);
    assert_eq!(document.root_element().attribute("aria-label"), Some("Oboe in \"Fog & Co\""));
    assert!(svg.contains("class=\"staff line-tune\""));
}

#[test]
fn louder_is_heavier() {
    let weights: Vec<f64> = [-22.5, -18.0, -9.0, 0.0, 4.5, 9.0, 13.5].map(notes::weight).to_vec();
    assert!(weights.windows(2).all(|w| w[0] <= w[1]) && weights[0] < 1.0 && weights[6] > 4.5);
}

#[test]
fn the_order_of_calls_that_find_no_room_is_kept_in_their_strokes() {
    let call = |i: i32| Words { at: f64::from(i) * 0.01, to: None, text: format!("call number {i}") };
    let opened = Opened { calls: (0..9).map(call).collect(), ..plain() };
    let svg = draw(&opened, 50.0);
    assert_eq!(svg.matches("<title>call number").count(), 9);
    assert!(svg.matches("staff-words").count() < 9);
}
