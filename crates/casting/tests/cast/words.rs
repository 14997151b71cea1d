//! Marks, levels, text and curves on their way to a part.

use crate::common::*;
use crate::small::{LINES, WIND, directions, tune, words};
use ripieno_casting::cast;
use ripieno_music::{
    Control, ControlKind, Direction, DirectionKind, Dynamic, Mark, OrnamentKind, Part, Playing,
};
use ripieno_plan::{CellMark, DynamicStep, PlaceWord};
use ripieno_units::Beats;

#[test]
fn words_of_one_cell_do_not_reach_the_next() {
    let mut music = tune();
    let at = |at, kind| Direction { at: Beats::whole(at), staff: None, voice: None, kind };
    music.tracks[0].content.directions = vec![
        at(0, DirectionKind::Playing(Playing::ConSord)),
        at(0, DirectionKind::Dynamic(Dynamic::Pp)),
        at(5, DirectionKind::Playing(Playing::SulPont)),
        at(6, DirectionKind::Words("dolce".into())),
    ];
    let plan = plan(
        LINES,
        vec![
            passage(
                "A",
                1,
                1,
                vec![cell(
                    "flute",
                    vec![line("bass")],
                    vec![playing(Playing::Pizz), playing(Playing::Solo), level(Dynamic::Ff)],
                )],
            ),
            passage("B", 2, 2, vec![cell("flute", vec![line("melody")], vec![])]),
            passage("C", 3, 3, vec![cell("flute", vec![line("bass")], vec![])]),
        ],
    );
    let (parts, _) = cast(&music, &plan, &template(WIND));
    let part = part(&parts, "flute");
    assert_eq!(
        words(part),
        [
            (0.0, Playing::Pizz),
            (0.0, Playing::Solo),
            (4.0, Playing::Arco),
            (4.0, Playing::Tutti),
            // In force in the source since bar 1.
            (4.0, Playing::ConSord),
            (5.0, Playing::SulPont),
            (8.0, Playing::SenzaSord),
            (8.0, Playing::Ord),
        ]
    );
    let others: Vec<_> =
        directions(part).into_iter().filter(|(_, k)| !matches!(k, DirectionKind::Playing(_))).collect();
    assert_eq!(
        others,
        [
            (0.0, DirectionKind::Dynamic(Dynamic::Ff)),
            (4.0, DirectionKind::Dynamic(Dynamic::Pp)),
            (6.0, DirectionKind::Words("dolce".into())),
            // Nothing is known of the bass: as usual.
            (8.0, DirectionKind::Dynamic(Dynamic::Mf)),
        ]
    );
}

#[test]
fn own_words_win_over_the_source() {
    let mut music = tune();
    let at = |at, word| Direction {
        at: Beats::whole(at),
        staff: None,
        voice: None,
        kind: DirectionKind::Playing(word),
    };
    music.tracks[0].content.directions = vec![
        at(0, Playing::SulTasto),
        at(1, Playing::Flutter),
        at(2, Playing::Pizz),
        at(3, Playing::Solo),
        at(4, Playing::Ord),
    ];
    let plan = plan(
        LINES,
        vec![passage(
            "A",
            1,
            2,
            vec![
                cell("clarinet", vec![line("melody")], vec![playing(Playing::SulPont)]),
                cell("flute", vec![col("clarinet", 0)], vec![playing(Playing::Ord), playing(Playing::Pizz)]),
            ],
        )],
    );
    let (parts, _) = cast(&music, &plan, &template(WIND));
    // `solo` was said to the source's own player.
    assert_eq!(
        words(part(&parts, "clarinet")),
        [
            (0.0, Playing::SulPont),
            (1.0, Playing::Flutter),
            (2.0, Playing::Pizz),
            // The source's `ord.` ends its flutter, and not the cell's `sul pont.`
            (4.0, Playing::Ord),
            (4.0, Playing::SulPont),
        ]
    );
    assert_eq!(words(part(&parts, "flute")), [(0.0, Playing::Pizz), (4.0, Playing::Ord)]);
}

#[test]
fn col_takes_marks_and_dynamics_but_not_players() {
    let steps = CellMark::Dynamics(vec![
        DynamicStep { hairpin: None, dynamic: Dynamic::P, at: None },
        DynamicStep { hairpin: Some(true), dynamic: Dynamic::F, at: None },
    ]);
    let plan = plan(
        LINES,
        vec![passage(
            "A",
            1,
            2,
            vec![
                cell(
                    "clarinet",
                    vec![line("melody")],
                    vec![
                        playing(Playing::Staccato),
                        playing(Playing::Solo),
                        CellMark::Ornament(OrnamentKind::Trill),
                        steps,
                    ],
                ),
                cell("flute", vec![col("clarinet", 12)], vec![]),
                cell("bassoon", vec![col("clarinet", -12)], vec![level(Dynamic::Mp)]),
            ],
        )],
    );
    let (parts, _) = cast(&tune(), &plan, &template(WIND));
    let flute = part(&parts, "flute");
    assert!(flute.content.notes.iter().all(|n| n.marks.has(Mark::Staccato) && n.ornament.is_some()));
    assert_eq!(
        directions(flute),
        [
            (0.0, DirectionKind::Dynamic(Dynamic::P)),
            (0.0, DirectionKind::Hairpin { louder: true, to: Beats::whole(8), niente: false }),
            (8.0, DirectionKind::Dynamic(Dynamic::F)),
        ]
    );
    assert_eq!(directions(part(&parts, "bassoon")), [(0.0, DirectionKind::Dynamic(Dynamic::Mp))]);
}

#[test]
fn text_runs_through_the_turns_of_a_cell() {
    let mut second = line("bass");
    second.from = place(2, 1.0);
    let plan = plan(
        LINES,
        vec![passage(
            "A",
            1,
            2,
            vec![cell(
                "flute",
                vec![line("melody"), second],
                vec![CellMark::Words("Ky-ri-e e-lei-son".into())],
            )],
        )],
    );
    let (parts, findings) = cast(&tune(), &plan, &template(WIND));
    let text: Vec<Option<&str>> = part(&parts, "flute")
        .content
        .notes
        .iter()
        .map(|n| n.syllable.as_ref().map(|s| s.text.as_str()))
        .collect();
    assert_eq!(text, [Some("Ky"), Some("ri"), Some("e"), Some("e"), Some("lei")]);
    assert_eq!(findings.len(), 1);
    assert_eq!(findings[0].rule, "words-count");
    assert!(findings[0].message.contains("6 syllables for 5 notes"));
}

#[test]
fn legato_reaches_over_the_barline_between_cells() {
    let legato = || vec![playing(Playing::Legato), level(Dynamic::P)];
    let plan = plan(
        LINES,
        vec![
            passage("A", 1, 1, vec![cell("flute", vec![line("melody")], legato())]),
            passage("B", 2, 2, vec![cell("flute", vec![line("melody")], legato())]),
        ],
    );
    let (parts, _) = cast(&tune(), &plan, &template(WIND));
    let notes = &part(&parts, "flute").content.notes;
    assert!(!notes[0].slurred && notes[1..].iter().all(|n| n.slurred));
    assert!(!notes[7].slurs_on && notes[..7].iter().all(|n| n.slurs_on));
}

#[test]
fn curves_start_where_they_stand_and_are_put_to_rest() {
    let mut music = tune();
    let control = |at, kind, value| Control { at: Beats::whole(at), kind, value };
    let (pedal, bend) = (ControlKind::Controller(64), ControlKind::Bend);
    music.tracks[0].content.controls = vec![control(1, pedal, 127), control(6, bend, 100)];
    let plan = plan(
        LINES,
        vec![
            passage("A", 2, 2, vec![cell("flute", vec![line("melody")], vec![])]),
            passage("B", 3, 3, vec![cell("flute", vec![line("bass")], vec![])]),
        ],
    );
    let (parts, _) = cast(&music, &plan, &template(WIND));
    assert_eq!(
        part(&parts, "flute").content.controls,
        [control(4, pedal, 127), control(6, bend, 100), control(8, pedal, 0), control(8, bend, 0)]
    );
}

#[test]
fn legato_under_text_makes_no_melismas() {
    let plan = plan(
        LINES,
        vec![passage(
            "A",
            1,
            1,
            vec![cell(
                "flute",
                vec![line("melody")],
                vec![playing(Playing::Legato), CellMark::Words("lux ae-ter-na".into())],
            )],
        )],
    );
    let (parts, findings) = cast(&tune(), &plan, &template(WIND));
    assert_eq!(findings, []);
    let notes = &part(&parts, "flute").content.notes;
    assert!(notes.iter().all(|n| n.syllable.is_some()) && notes[1..].iter().all(|n| n.slurred));
}

#[test]
fn an_accent_is_added_to_the_levels_of_the_source() {
    let mut music = tune();
    let at = |at, kind| Direction { at: Beats::whole(at), staff: None, voice: None, kind };
    music.tracks[0].content.directions = vec![
        at(0, DirectionKind::Dynamic(Dynamic::P)),
        at(5, DirectionKind::Hairpin { louder: true, to: Beats::whole(8), niente: false }),
        at(8, DirectionKind::Dynamic(Dynamic::F)),
    ];
    let sfz = CellMark::Dynamics(vec![DynamicStep {
        hairpin: None,
        dynamic: Dynamic::Sfz,
        at: Some(PlaceWord { bar: 2, beat: Some(2.0) }),
    }]);
    let plan = plan(LINES, vec![passage("A", 2, 2, vec![cell("flute", vec![line("melody")], vec![sfz])])]);
    let (parts, _) = cast(&music, &plan, &template(WIND));
    assert_eq!(
        directions(part(&parts, "flute")),
        [
            (4.0, DirectionKind::Dynamic(Dynamic::P)),
            (5.0, DirectionKind::Dynamic(Dynamic::Sfz)),
            (5.0, DirectionKind::Hairpin { louder: true, to: Beats::whole(8), niente: false }),
            // The hairpin's goal stands on the barline where the passage ends.
            (8.0, DirectionKind::Dynamic(Dynamic::F)),
        ]
    );
}

#[test]
fn text_goes_from_voice_to_voice() {
    let chairs = template(&[("choir", "choir-sopranos"), ("boys", "boys-choir"), ("flute", "flute")]);
    let plan = plan(
        LINES,
        vec![passage(
            "A",
            1,
            1,
            vec![
                cell("choir", vec![line("melody")], vec![CellMark::Words("ah".into())]),
                cell("boys", vec![col("choir", 0)], vec![]),
                cell("flute", vec![col("choir", 12)], vec![]),
            ],
        )],
    );
    let (parts, _) = cast(&tune(), &plan, &chairs);
    let sung = |chair| part(&parts, chair).content.notes.iter().filter(|n| n.syllable.is_some()).count();
    assert_eq!((sung("choir"), sung("boys"), sung("flute")), (4, 4, 0));
}

#[test]
fn a_hairpin_that_both_sources_have_is_one() {
    let mut score = tune();
    let hairpin = |louder| DirectionKind::Hairpin { louder, to: Beats::whole(14), niente: false };
    let put = |at, kind| Direction { at: Beats::whole(at), staff: None, voice: None, kind };
    for (track, louder) in [(0, true), (1, true)] {
        score.tracks[track].content.directions =
            vec![put(0, DirectionKind::Dynamic(Dynamic::P)), put(4, hairpin(louder))];
    }
    let from = |turn: ripieno_plan::Turn, bar| ripieno_plan::Turn { from: place(bar, 1.0), ..turn };
    let turns = vec![line("melody"), from(line("bass"), 3), from(line("melody"), 4)];
    let plan = plan(LINES, vec![passage("A", 1, 4, vec![cell("flute", turns, vec![])])]);
    let (parts, _) = cast(&score, &plan, &template(WIND));
    let heard = |parts: &[Part]| -> Vec<(f64, DirectionKind)> { directions(part(parts, "flute")) };
    assert_eq!(heard(&parts), [(0.0, DirectionKind::Dynamic(Dynamic::P)), (4.0, hairpin(true))]);
    // Another one takes its place.
    score.tracks[1].content.directions[1].kind = hairpin(false);
    let (parts, _) = cast(&score, &plan, &template(WIND));
    let to_the_seam = DirectionKind::Hairpin { louder: true, to: Beats::whole(8), niente: false };
    assert_eq!(heard(&parts)[1], (4.0, to_the_seam));
    assert!(heard(&parts).len() > 3);
}
