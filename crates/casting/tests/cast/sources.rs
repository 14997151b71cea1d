//! Who plays which notes.

use crate::common::*;
use crate::small::{LINES, WIND, directions, tune, words};
use ripieno_casting::cast;
use ripieno_music::{DirectionKind, Dynamic, Note, Playing, Score, Severity};
use ripieno_plan::{LineVoice, PlaceWord, Source};
use ripieno_units::Beats;

#[test]
fn lines_octaves_and_cols() {
    let plan = plan(
        LINES,
        vec![
            passage(
                "A",
                1,
                2,
                vec![
                    cell("clarinet", vec![line("melody")], vec![]),
                    cell("bass-clarinet", vec![col("clarinet", -12)], vec![]),
                    // A col of a col.
                    cell("flute", vec![col("bass-clarinet", 24)], vec![]),
                ],
            ),
            passage("B", 3, 3, vec![cell("bassoon", vec![line("bass")], vec![])]),
        ],
    );
    let (parts, findings) = cast(&tune(), &plan, &template(WIND));
    assert_eq!(findings, []);
    let order: Vec<&str> = parts.iter().map(|p| p.chair.as_str()).collect();
    assert_eq!(order, ["flute", "clarinet", "bass-clarinet", "bassoon"]);
    assert_eq!(keys(part(&parts, "clarinet")), [60, 62, 64, 65, 67, 65, 64, 62]);
    assert_eq!(keys(part(&parts, "bass-clarinet"))[..3], [48, 50, 52]);
    assert_eq!(keys(part(&parts, "flute"))[..3], [72, 74, 76]);
    assert_eq!(played(part(&parts, "bassoon")), [(8.0, 38)]);
    let cells = &part(&parts, "flute").cells;
    assert_eq!(cells[0].line.as_deref(), Some("melody"));
    assert_eq!(cells[0].with.as_deref(), Some("bass-clarinet"));
    assert_eq!((cells[1].line.as_deref(), cells[1].passage.as_str()), (None, "B"));
}

#[test]
fn a_circle_ends_and_is_named() {
    let plan = plan(
        LINES,
        vec![passage(
            "A",
            1,
            2,
            vec![
                cell("flute", vec![col("clarinet", 0)], vec![]),
                cell("clarinet", vec![col("bassoon", 0)], vec![]),
                cell("bassoon", vec![col("flute", 0)], vec![]),
            ],
        )],
    );
    let (parts, findings) = cast(&tune(), &plan, &template(WIND));
    assert!(parts.is_empty());
    let circle = findings.iter().find(|f| f.rule == "col-circle").unwrap();
    assert!(circle.message.contains("flute col clarinet col bassoon col flute"), "{}", circle.message);
}

#[test]
fn what_is_not_there_is_said_and_the_rest_is_cast() {
    let plan = plan(
        &[("melody", "Laed"), ("bass", "Bass")],
        vec![
            passage(
                "A",
                1,
                2,
                vec![
                    cell("flute", vec![line("melody")], vec![]),
                    cell("clarinet", vec![line("bsas")], vec![]),
                    cell("bassoon", vec![line("bass")], vec![]),
                    cell("oboe", vec![line("bass")], vec![]),
                ],
            ),
            passage("Z", 90, 99, vec![]),
        ],
    );
    let (parts, findings) = cast(&tune(), &plan, &template(WIND));
    assert_eq!(parts.len(), 1);
    let rules: Vec<&str> = findings.iter().map(|f| f.rule).collect();
    assert_eq!(rules, ["passage-bars", "chair-unknown", "line-track", "line-unknown"]);
    // What belongs to the first and last passage reaches beyond the music; what is said of it does not.
    assert!(
        findings.iter().all(|f| (1..=4).contains(&f.bar) && (1.0..=5.0).contains(&f.beat)),
        "{findings:?}"
    );
    assert!(findings[2].remedy.contains("Lead") && findings[3].remedy.contains("bass"), "{findings:?}");
}

#[test]
fn a_passage_beyond_the_end_is_played_as_far_as_there_is_music() {
    let plan = plan(
        &[("melody", "Lead")],
        vec![passage("A", 2, 99, vec![cell("flute", vec![line("melody")], vec![])])],
    );
    let (parts, findings) = cast(&tune(), &plan, &template(WIND));
    assert_eq!(parts.len(), 1);
    let told: Vec<_> = findings.iter().map(|f| (f.rule, f.bar)).collect();
    assert_eq!(told, [("passage-bars", 2)], "{findings:?}");
    assert!(
        findings[0].severity == Severity::Advice && findings[0].message.contains("2 to 99"),
        "{findings:?}"
    );
}

#[test]
fn sources_in_turn() {
    let mut counter = line("bass");
    counter.from = place(2, 3.0);
    let mut first = line("melody");
    first.from = place(1, 2.0);
    let two = plan(LINES, vec![passage("A", 1, 3, vec![cell("flute", vec![first, counter], vec![])])]);
    let (parts, _) = cast(&tune(), &two, &template(WIND));
    assert_eq!(
        played(part(&parts, "flute")),
        [(1.0, 62), (2.0, 64), (3.0, 65), (4.0, 67), (5.0, 65), (8.0, 38)]
    );
    // `to` takes in the beat that it names; a bar alone is meant whole.
    let mut to_beat = line("melody");
    to_beat.to = place(1, 2.0);
    let mut to_bar = line("melody");
    to_bar.to = Some(PlaceWord { bar: 1, beat: None });
    for (turn, count) in [(to_beat, 2), (to_bar, 4)] {
        let one = plan(LINES, vec![passage("A", 1, 3, vec![cell("flute", vec![turn], vec![])])]);
        let (parts, _) = cast(&tune(), &one, &template(WIND));
        assert_eq!(part(&parts, "flute").content.notes.len(), count);
    }
}

#[test]
fn from_before_the_passage_takes_over_from_there() {
    let mut early = line("melody");
    early.from = place(2, 4.0);
    let plan = plan(
        LINES,
        vec![
            passage("A", 1, 2, vec![cell("flute", vec![line("bass")], vec![])]),
            passage("B", 3, 3, vec![cell("flute", vec![early], vec![])]),
        ],
    );
    let (parts, _) = cast(&tune(), &plan, &template(WIND));
    let notes = &part(&parts, "flute").content.notes;
    assert_eq!(played(part(&parts, "flute"))[..3], [(0.0, 36), (4.0, 37), (7.0, 62)]);
    // The held note is cut where the pick-up begins.
    assert_eq!(notes[1].length, Beats::whole(3));
}

/// Bars of 4/4; two quavers slurred over the barline of bar 3.
fn upbeat() -> Score {
    let mut notes = vec![note((0, 1), (4, 1), 60), note((4, 1), (3, 1), 62)];
    let mut phrase = vec![note((7, 1), (1, 2), 64), note((15, 2), (1, 2), 65), note((8, 1), (4, 1), 67)];
    slur(&mut phrase);
    notes.extend(phrase);
    score(4, &[("Lead", notes), ("Bass", (0..4).map(|i| note((4 * i, 1), (4, 1), 36)).collect())])
}

#[test]
fn a_pick_up_travels_with_its_phrase() {
    let handed = plan(
        LINES,
        vec![
            passage("A", 1, 2, vec![cell("clarinet", vec![line("melody")], vec![])]),
            passage(
                "B",
                3,
                4,
                vec![
                    cell("flute", vec![line("melody")], vec![]),
                    cell("bassoon", vec![col("flute", -12)], vec![]),
                ],
            ),
        ],
    );
    let (parts, _) = cast(&upbeat(), &handed, &template(WIND));
    assert_eq!(keys(part(&parts, "clarinet")), [60, 62]);
    assert_eq!(played(part(&parts, "flute")), [(7.0, 64), (7.5, 65), (8.0, 67)]);
    assert_eq!(played(part(&parts, "bassoon")), [(7.0, 52), (7.5, 53), (8.0, 55)]);
    assert!(part(&parts, "flute").content.notes[2].slurred);
    // A chair that is busy there leaves it where it was, and begins on the barline with a new attack.
    let busy = plan(
        LINES,
        vec![
            passage(
                "A",
                1,
                2,
                vec![
                    cell("clarinet", vec![line("melody")], vec![]),
                    cell("flute", vec![line("bass")], vec![]),
                ],
            ),
            passage("B", 3, 4, vec![cell("flute", vec![line("melody")], vec![])]),
        ],
    );
    let (parts, _) = cast(&upbeat(), &busy, &template(WIND));
    assert_eq!(keys(part(&parts, "clarinet")), [60, 62, 64, 65]);
    assert_eq!(played(part(&parts, "flute"))[2..], [(8.0, 67)]);
    assert!(!part(&parts, "flute").content.notes[2].slurred);
    assert!(!part(&parts, "clarinet").content.notes[3].slurs_on);
}

#[test]
fn one_line_through_two_cells_is_one_phrase() {
    let both = plan(
        LINES,
        vec![
            passage("A", 1, 2, vec![cell("flute", vec![line("melody")], vec![level(Dynamic::P)])]),
            passage("B", 3, 4, vec![cell("flute", vec![line("melody")], vec![level(Dynamic::F)])]),
        ],
    );
    let (parts, _) = cast(&upbeat(), &both, &template(WIND));
    let notes = &part(&parts, "flute").content.notes;
    assert_eq!(notes.len(), 5);
    assert!(notes[3].slurs_on && notes[4].slurred);
    assert_eq!(
        directions(part(&parts, "flute")),
        [(0.0, DirectionKind::Dynamic(Dynamic::P)), (8.0, DirectionKind::Dynamic(Dynamic::F))]
    );
}

#[test]
fn held_notes_at_the_end_of_a_passage() {
    let long = score(
        4,
        &[
            ("Lead", vec![note((0, 1), (10, 1), 60), note((12, 1), (4, 1), 62)]),
            ("Bass", crotchets(&[40; 16])),
        ],
    );
    let next = |cells| {
        plan(
            LINES,
            vec![
                passage("A", 1, 2, vec![cell("flute", vec![line("melody")], vec![])]),
                passage("B", 3, 4, cells),
            ],
        )
    };
    let first_length = |cells| {
        let (parts, _) = cast(&long, &next(cells), &template(WIND));
        part(&parts, "flute").content.notes[0].length
    };
    assert_eq!(first_length(vec![]), Beats::whole(10));
    assert_eq!(first_length(vec![cell("flute", vec![line("melody")], vec![])]), Beats::whole(10));
    assert_eq!(first_length(vec![cell("flute", vec![line("bass")], vec![])]), Beats::whole(8));
}

#[test]
fn chords_are_shared_out_to_chairs_and_divisions() {
    let chords: Vec<Note> = [[60, 64, 67], [59, 62, 67], [57, 60, 64]]
        .iter()
        .enumerate()
        .flat_map(|(i, keys)| keys.map(|k| note((2 * i as i64, 1), (2, 1), k)))
        .collect();
    let music = score(2, &[("Pad", chords)]);
    let mut plan = plan(
        &[("chords", "Pad")],
        vec![passage(
            "A",
            1,
            2,
            vec![
                cell("flute", vec![voice("chords", LineVoice::Top)], vec![]),
                cell("clarinet", vec![voice("chords", LineVoice::Nth(2))], vec![]),
                cell("bassoon", vec![voice("chords", LineVoice::Bottom)], vec![]),
                cell("bass-clarinet", vec![line("chords")], vec![playing(Playing::Div(0))]),
            ],
        )],
    );
    plan.lines[0].voices = Some(3);
    let (parts, findings) = cast(&music, &plan, &template(WIND));
    assert_eq!(findings, []);
    assert_eq!(keys(part(&parts, "flute")), [67, 67, 64]);
    assert_eq!(keys(part(&parts, "clarinet")), [64, 62, 60]);
    assert_eq!(keys(part(&parts, "bassoon")), [60, 59, 57]);
    assert_eq!(part(&parts, "clarinet").cells[0].line.as_deref(), Some("chords.2"));
    let divided = part(&parts, "bass-clarinet");
    assert_eq!(words(divided), [(0.0, Playing::Div(3))]);
    for note in &divided.content.notes {
        let key = note.pitch().unwrap().key;
        let expected = match note.voice {
            1 => [67, 67, 64],
            2 => [64, 62, 60],
            _ => [60, 59, 57],
        };
        assert_eq!(key, expected[(note.at.quarters() / 2.0) as usize]);
    }
    // A fourth voice is not there.
    plan.passages[0].cells[0].words.divisions[0][0].source =
        Source::Line { name: "chords".into(), voice: LineVoice::Nth(4) };
    let (_, findings) = cast(&music, &plan, &template(WIND));
    assert_eq!(findings[0].rule, "line-voice");
}

#[test]
fn divisions_have_voices_of_their_own() {
    let plan = plan(
        LINES,
        vec![passage(
            "A",
            1,
            1,
            vec![divided(
                "flute",
                vec![vec![line("melody")], vec![turn(line("melody").source, -12)], vec![line("melody")]],
                vec![],
            )],
        )],
    );
    let (parts, _) = cast(&tune(), &plan, &template(WIND));
    let flute = part(&parts, "flute");
    assert_eq!(words(flute), [(0.0, Playing::Div(3))]);
    let of = |v: u16| -> Vec<i16> {
        flute.content.notes.iter().filter(|n| n.voice == v).map(|n| n.pitch().unwrap().key).collect()
    };
    assert_eq!(of(1), [60, 62, 64, 65]);
    assert_eq!(of(2), [48, 50, 52, 53]);
    // In unison with the first: sounded once.
    assert_eq!(of(3), [0i16; 0]);
}

#[test]
fn strokes_voices_and_staves_select() {
    let mut music = tune();
    for (i, note) in music.tracks[0].content.notes.iter_mut().enumerate() {
        note.staff = 1 + (i % 2) as u8;
        note.voice = 1 + (i % 4) as u16;
    }
    let mut plan = plan(
        &[("upper", "Lead"), ("third", "Lead")],
        vec![passage(
            "A",
            1,
            1,
            vec![cell("flute", vec![line("upper")], vec![]), cell("bassoon", vec![line("third")], vec![])],
        )],
    );
    plan.lines[0].staff = Some(1);
    plan.lines[1].voice = Some(3);
    let (parts, _) = cast(&music, &plan, &template(WIND));
    assert_eq!(keys(part(&parts, "flute")), [60, 64]);
    assert_eq!(keys(part(&parts, "bassoon")), [64]);
}

#[test]
fn divisions_that_go_with_divisions_stay_within_bounds() {
    let chairs: Vec<String> = (0..60).map(|i| format!("c{i}")).collect();
    let mut cells = vec![cell("c0", vec![line("melody")], vec![])];
    for pair in chairs.windows(2) {
        cells.push(divided(&pair[1], vec![vec![col(&pair[0], 24)], vec![col(&pair[0], -24)]], vec![]));
    }
    let ids: Vec<(&str, &str)> = chairs.iter().map(|c| (c.as_str(), "flute")).collect();
    let (parts, findings) = cast(&tune(), &plan(LINES, vec![passage("A", 1, 4, cells)]), &template(&ids));
    assert_eq!(parts.len(), 60);
    assert!(findings.iter().any(|f| f.rule == "cell-large"));
}

#[test]
fn a_long_piece_for_many_chairs() {
    let tracks: Vec<(String, Vec<Note>)> = (0..60)
        .map(|t| {
            (format!("T{t}"), (0..3200).map(|i| note((i, 2), (1, 2), 60 + ((i + t) % 12) as i16)).collect())
        })
        .collect();
    let named: Vec<(&str, Vec<Note>)> = tracks.iter().map(|(n, notes)| (n.as_str(), notes.clone())).collect();
    let music = score(400, &named);
    let lines: Vec<(&str, &str)> = tracks.iter().map(|(n, _)| (n.as_str(), n.as_str())).collect();
    let passages = (0..50)
        .map(|p| {
            let cells = tracks
                .iter()
                .map(|(n, _)| cell(n, vec![as_written()], vec![playing(Playing::Legato), level(Dynamic::P)]));
            passage(&format!("p{p}"), 8 * p + 1, 8 * p + 8, cells.collect())
        })
        .collect();
    let ids: Vec<(&str, &str)> = tracks.iter().map(|(n, _)| (n.as_str(), "flute")).collect();
    let started = std::time::Instant::now();
    let (parts, findings) = cast(&music, &plan(&lines, passages), &template(&ids));
    println!("{} s", started.elapsed().as_secs_f64());
    assert_eq!(findings, []);
    assert_eq!(parts.iter().map(|p| p.content.notes.len()).sum::<usize>(), 60 * 3200);
}

#[test]
fn instruments_that_read_an_octave_apart_get_advice() {
    let chairs = template(&[
        ("cellos", "cello"),
        ("basses", "double-bass"),
        ("flute", "flute"),
        ("piccolo", "piccolo"),
    ]);
    let with = |octave| {
        plan(
            LINES,
            vec![passage(
                "A",
                1,
                1,
                vec![
                    cell("cellos", vec![line("melody")], vec![]),
                    cell("basses", vec![col("cellos", octave)], vec![]),
                    cell("flute", vec![col("cellos", 0)], vec![]),
                    cell("piccolo", vec![col("flute", -octave)], vec![]),
                ],
            )],
        )
    };
    let (parts, findings) = cast(&tune(), &with(0), &chairs);
    // The same sounding notes.
    assert_eq!(keys(part(&parts, "basses")), keys(part(&parts, "cellos")));
    let advice: Vec<(&str, &str)> = findings.iter().map(|f| (f.rule, f.chair.as_str())).collect();
    assert_eq!(advice, [("col-octave", "basses"), ("col-octave", "piccolo")]);
    assert!(findings[0].remedy.contains("col cellos 8vb") && findings[1].remedy.contains("col flute 8va"));
    assert_eq!(cast(&tune(), &with(-12), &chairs).1, []);
}

#[test]
fn two_may_lead_each_other_in_turn() {
    let from = |turn: ripieno_plan::Turn, bar| ripieno_plan::Turn { from: place(bar, 1.0), ..turn };
    let plan = plan(
        LINES,
        vec![passage(
            "A",
            1,
            4,
            vec![
                cell("flute", vec![line("melody"), from(col("clarinet", 12), 3)], vec![]),
                cell("clarinet", vec![col("flute", -12), from(line("bass"), 3)], vec![]),
            ],
        )],
    );
    let (parts, findings) = cast(&tune(), &plan, &template(WIND));
    assert_eq!(findings, []);
    assert_eq!(keys(part(&parts, "flute")), [60, 62, 64, 65, 67, 65, 64, 62, 50, 51]);
    assert_eq!(keys(part(&parts, "clarinet")), [48, 50, 52, 53, 55, 53, 52, 50, 38, 39]);
}
