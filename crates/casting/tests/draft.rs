//! The texts of a draft, read again and cast.

mod common;

use common::*;
use ripieno_casting::{Draft, DraftOptions, cast, chairs_of, draft};
use ripieno_music::{
    Bar, Direction, DirectionKind, Doubling, Dynamic, Metre, Note, Reading, Score, Syllable, SyllablePlace,
    TimeMark, TimeMarkKind,
};
use ripieno_plan::{Plan, Template};
use ripieno_units::Beats;
use std::path::Path;

fn drafted(score: &Score) -> (Draft, Plan, Template) {
    drafted_from(score, &Reading::default())
}

fn drafted_from(score: &Score, reading: &Reading) -> (Draft, Plan, Template) {
    let options = DraftOptions {
        title: None,
        music: "my \"piece\".mid".into(),
        template: "template.toml".into(),
        within: None,
    };
    let draft = draft(score, reading, &options);
    let (template, faults) = Template::parse("template.toml", &draft.template);
    assert!(faults.is_empty(), "{faults:?}\n{}", draft.template);
    let (plan, faults) = Plan::parse("cue.toml", &draft.cue);
    assert!(faults.is_empty(), "{faults:?}\n{}", draft.cue);
    let faults = plan.check_against(&template, "cue.toml", &draft.cue);
    assert!(faults.is_empty(), "{faults:?}\n{}", draft.cue);
    (draft, plan, template)
}

/// Casting the draft gives every track's notes back.
fn law(name: &str, score: &Score) -> usize {
    law_of(name, score, &Reading::default())
}

fn law_of(name: &str, score: &Score, reading: &Reading) -> usize {
    let (_, plan, template) = drafted_from(score, reading);
    let (parts, findings) = cast(score, &plan, &template);
    assert!(findings.is_empty(), "{name}: {findings:?}");
    let sources: Vec<_> = score.tracks.iter().filter(|t| !t.content.notes.is_empty()).collect();
    assert_eq!(parts.len(), sources.len(), "{name}");
    for (part, track) in parts.iter().zip(&sources) {
        assert_eq!(part.content.notes.len(), track.content.notes.len(), "{name}: {}", track.name);
        let mut source = track.content.clone();
        source.sort();
        let sorted = |notes: &[Note]| {
            let mut notes = notes.to_vec();
            notes.sort_by_key(|n| (n.at, n.pitch(), n.length));
            notes
        };
        for (a, b) in sorted(&part.content.notes).iter().zip(&sorted(&source.notes)) {
            if reading.doublings.is_empty() {
                assert_eq!(a, b, "{name}: {}", track.name);
            } else {
                // A follower reads from its leader's line: the same but for the place on paper.
                assert!(a.plays_as(b), "{name}: {}: {a:?} {b:?}", track.name);
            }
        }
    }
    parts.iter().map(|p| p.content.notes.len()).sum()
}

fn quartet() -> Score {
    let part = |low: i16| -> Vec<Note> {
        (0..72).map(|i| note((i - 1, 1), (1, 1), low + [0, 2, 4, 5, 7][i as usize % 5])).collect()
    };
    let names = ["Violin I", "Violin II", "Viola", "Cello", "Cello", "", "Grzmot 3", "solo"];
    let tracks: Vec<(&str, Vec<Note>)> =
        names.iter().enumerate().map(|(i, n)| (*n, part(76 - 6 * i as i16))).collect();
    let mut score = score(18, &tracks);
    let metre = Metre { beats: 4, unit: 4 };
    let (at, length) = (Beats::whole(-1), Beats::whole(1));
    score.timeline.bars.insert(0, Bar { at, length, metre, number: 0, printed: "0".into() });
    let mark = |at, kind, text: &str| TimeMark { at: Beats::whole(at), kind, text: text.into() };
    score.timeline.marks = vec![
        mark(16, TimeMarkKind::Rehearsal, "The \"storm\"\\\n begins"),
        mark(40, TimeMarkKind::Rehearsal, "B"),
        mark(60, TimeMarkKind::DoubleBar, ""),
    ];
    // The last comes in late.
    score.tracks[7].content.notes.retain(|n| n.at >= Beats::whole(40));
    score
}

#[test]
fn the_texts_are_a_plan_and_a_template() {
    let score = quartet();
    let (draft, plan, template) = drafted(&score);
    assert_eq!(plan.title, "my \"piece\"");
    let passages: Vec<(&str, i32, i32)> =
        plan.passages.iter().map(|p| (p.name.as_str(), p.from_bar, p.to_bar)).collect();
    assert_eq!(
        passages,
        [("Bars 1 to 4", 0, 4), ("The \"storm\"\\ begins", 5, 10), ("B", 11, 15), ("Bars 16 to 18", 16, 18)]
    );
    let ids: std::collections::BTreeSet<&str> = template.chairs.iter().map(|c| c.id.as_str()).collect();
    assert_eq!(ids.len(), 8, "{ids:?}");
    assert_eq!(template.chairs[2].instrument, "viola");
    // A name that says nothing is a doubt, beside the chair and in the list.
    assert!(draft.doubts.iter().any(|d| d.contains("Grzmot 3")), "{:?}", draft.doubts);
    assert!(draft.template.contains("# unsure: no instrument is known by the name \"Grzmot 3\""));
    // Two tracks of one name are told apart by their ids.
    let cellos: Vec<&str> =
        plan.lines.iter().filter(|l| l.track.starts_with('P')).map(|l| l.track.as_str()).collect();
    assert_eq!(cellos, ["P4", "P5", "P6"]);
    // The chair that comes in late is not named before.
    assert_eq!(plan.passages.iter().map(|p| p.cells.len()).collect::<Vec<_>>(), [7, 7, 8, 8]);
    assert_eq!(law("quartet", &score), score.tracks.iter().map(|t| t.content.notes.len()).sum::<usize>());
}

#[test]
fn what_has_no_name_is_named_by_what_it_is() {
    let sung = |keys: &[i16]| {
        let mut notes = crotchets(keys);
        for note in &mut notes {
            let text = "la".to_owned();
            note.syllable = Some(Syllable { text, place: SyllablePlace::Single, extends: false, verse: 1 });
        }
        notes
    };
    let found = |tracks: &[(&str, Vec<Note>)], program: u8| {
        let mut score = score(2, tracks);
        score.tracks[0].program = Some(program);
        chairs_of(&score).into_iter().map(|c| (c.id, c.name, c.instrument, c.players)).collect::<Vec<_>>()
    };
    let of = |id: &str, name: &str, instrument: &str, players| {
        (id.into(), name.into(), instrument.into(), players)
    };
    let piano = ("Piano", crotchets(&[48, 52]));
    // The name that a program gives to what has none; General MIDI 53 is a choir, 1 a piano.
    let tune = [65, 69, 72];
    for (name, program) in [("MusicXML Part", 52), ("", 52), ("Staff 1", 0)] {
        let all = found(&[(name, sung(&tune)), piano.clone()], program);
        assert_eq!(all[0], of("voice", "Voice", "voice", 1), "{name}");
    }
    assert_eq!(found(&[("MusicXML Part", crotchets(&tune))], 0), [of("piano", "Piano", "piano", 1)]);
    // A name that says choir is one; so is what sings in several parts, or in chords.
    assert_eq!(found(&[("Choir", sung(&tune)), piano.clone()], 52)[0].2, "mixed-choir");
    assert_eq!(found(&[("", sung(&tune)), ("", sung(&[53, 57]))], 52)[0].2, "mixed-choir");
    let chord = [sung(&tune), sung(&[60, 64, 67])].concat();
    assert_eq!(found(&[("", chord), piano], 52)[0].2, "mixed-choir");
}

/// Runs where the folder of real scores stands beside the project.
#[test]
fn real_scores_come_back_whole() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/scores");
    let Ok(entries) = std::fs::read_dir(&folder) else {
        println!("no folder of real scores beside the project: not run");
        return;
    };
    let mut files: Vec<_> = entries.flatten().map(|e| e.path()).collect();
    files.retain(|p| p.extension().is_some_and(|e| e == "mxl"));
    files.sort();
    let mut total = 0;
    for file in &files {
        let name = file.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
        let bytes = std::fs::read(file).expect("a score");
        let score = ripieno_formats::read_score(&bytes).unwrap_or_else(|e| panic!("{name}: {e}"));
        total += law(&name, &score);
        law_of(&name, &score, &ripieno_discovery::read(&score));
    }
    println!("{} scores, {total} notes", files.len());
    assert!(files.is_empty() || total > 0);
}

#[test]
fn ids_tell_staves_of_one_section_from_numbered_sections() {
    let notes = || crotchets(&[60, 62, 64, 65]);
    let names = ["Flute", "Violin", "Violin", "Violin 1", "Violin 2", "Viola"];
    let tracks: Vec<(&str, Vec<Note>)> = names.iter().map(|n| (*n, notes())).collect();
    let (_, _, template) = drafted(&score(1, &tracks));
    let ids: Vec<&str> = template.chairs.iter().map(|c| c.id.as_str()).collect();
    assert_eq!(ids, ["flute", "violins", "violins-b", "violins-1", "violins-2", "violas"]);
    // Two staves share the players of their section.
    assert!(template.chairs[1].players < template.chairs[3].players);
    assert_eq!(template.chairs[1].players, template.chairs[2].players);
}

#[test]
fn a_quartet_has_four_players() {
    let tracks: Vec<(&str, Vec<Note>)> =
        ["Violin 1", "Violin 2", "Viola", "Violoncello"].iter().map(|n| (*n, crotchets(&[60, 62]))).collect();
    let (_, _, template) = drafted(&score(1, &tracks));
    let chairs: Vec<(&str, u16)> = template.chairs.iter().map(|c| (c.id.as_str(), c.players)).collect();
    assert_eq!(chairs, [("violin-1", 1), ("violin-2", 1), ("viola", 1), ("cello", 1)]);
}

/// Sixteen bars of a tune in crotchets; never the same bar twice in a row.
fn tune(low: i16) -> Vec<Note> {
    (0..64).map(|i| note((i, 1), (1, 1), low + [0, 2, 4, 5, 7, 4, 2][i as usize % 7])).collect()
}

fn doubling(track: usize, of: usize, semitones: i16, bars: (i32, i32)) -> Doubling {
    let (from_bar, to_bar) = bars;
    Doubling {
        track,
        of,
        semitones,
        from_bar,
        to_bar,
        share: 1.0,
        exact: true,
        simplified: None,
        coincides: false,
    }
}

fn cell(plan: &Plan, passage: usize, chair: &str) -> String {
    let cells = &plan.passages[passage].cells;
    cells.iter().find(|c| c.chair == chair).map_or_else(String::new, |c| c.text.clone())
}

#[test]
fn a_doubling_at_the_octave_is_a_col() {
    let score = score(16, &[("Violin 1", tune(60)), ("Flute", tune(72)), ("Cello", tune(36))]);
    let reading = Reading { doublings: vec![doubling(1, 0, 12, (1, 16))], ..Reading::default() };
    let (draft, plan, _) = drafted_from(&score, &reading);
    assert_eq!(cell(&plan, 0, "flute"), "col violins-1 8va");
    assert!(draft.cue.contains("# 100 %"), "{}", draft.cue);
    // Nobody said that the cello goes along.
    assert_eq!(cell(&plan, 0, "cellos"), "as written");
    law_of("octave", &score, &reading);
}

#[test]
fn a_singer_goes_with_no_accompaniment() {
    let mut words = tune(72);
    for note in &mut words {
        let text = "la".to_owned();
        note.syllable = Some(Syllable { text, place: SyllablePlace::Single, extends: false, verse: 1 });
    }
    let score = score(16, &[("Soprano", words), ("Flute", tune(72))]);
    // Found the other way round: the singer leads all the same.
    for reading in [doubling(0, 1, 0, (1, 16)), doubling(1, 0, 0, (1, 16))] {
        let reading = Reading { doublings: vec![reading], ..Reading::default() };
        let (_, plan, template) = drafted_from(&score, &reading);
        assert_eq!(cell(&plan, 0, &template.chairs[0].id), "as written");
        assert_eq!(cell(&plan, 0, "flute"), format!("col {}", template.chairs[0].id));
        law_of("sung", &score, &reading);
    }
}

#[test]
fn a_doubling_may_begin_and_end_within_a_passage() {
    let mut flute = tune(72);
    for n in flute.iter_mut().filter(|n| n.at < Beats::whole(18) || n.at >= Beats::whole(48)) {
        *n = n.clone().moved(-3);
    }
    let score = score(16, &[("Violin 1", tune(60)), ("Flute", flute)]);
    let reading = Reading { doublings: vec![doubling(1, 0, 12, (5, 12))], ..Reading::default() };
    let (_, plan, _) = drafted_from(&score, &reading);
    assert_eq!(cell(&plan, 0, "flute"), "as written; from 5.3 col violins-1 8va; from 13 as written");
    law_of("within", &score, &reading);
}

#[test]
fn what_a_col_would_change_is_kept_as_written() {
    // Every other note is longer and the next left out: a simplified doubling.
    let mut plain = tune(72);
    let mut nth = 0;
    plain.retain(|_| {
        nth += 1;
        nth % 2 == 1
    });
    plain.iter_mut().for_each(|n| n.length = Beats::whole(2));
    let mut slurred = tune(60);
    for (i, n) in slurred.iter_mut().enumerate() {
        (n.slurs_on, n.slurred) = (i % 2 == 0, i % 2 == 1);
    }
    let score = score(16, &[("Violin 1", tune(60)), ("Flute", plain), ("Oboe", slurred)]);
    let simplified =
        Doubling { simplified: Some("in a slower rhythm".into()), ..doubling(1, 0, 12, (1, 16)) };
    let reading = Reading { doublings: vec![simplified, doubling(2, 0, 0, (1, 16))], ..Reading::default() };
    let (draft, plan, _) = drafted_from(&score, &reading);
    assert_eq!(cell(&plan, 0, "flute"), "col violins-1 8va, rhythm as written");
    assert_eq!(cell(&plan, 0, "oboe"), "col violins-1, marks as written");
    assert!(draft.cue.contains("100 % in a slower rhythm"), "{}", draft.cue);
    law_of("simplified", &score, &reading);
}

#[test]
fn a_chair_keeps_its_own_dynamics() {
    let mut score = score(16, &[("Violin 1", tune(60)), ("Flute", tune(72))]);
    let mark = |at, kind| Direction { at: Beats::whole(at), staff: None, voice: None, kind };
    score.tracks[0].content.directions = vec![mark(0, DirectionKind::Dynamic(Dynamic::F))];
    score.tracks[1].content.directions = vec![
        mark(0, DirectionKind::Dynamic(Dynamic::P)),
        mark(16, DirectionKind::Hairpin { louder: true, to: Beats::whole(32), niente: false }),
        mark(32, DirectionKind::Dynamic(Dynamic::Mf)),
    ];
    let reading = Reading { doublings: vec![doubling(1, 0, 12, (1, 16))], ..Reading::default() };
    let (_, plan, _) = drafted_from(&score, &reading);
    assert_eq!(cell(&plan, 0, "flute"), "col violins-1 8va, p, p (bar 5) < mf (bar 9)");
    law_of("dynamics", &score, &reading);
}

#[test]
fn two_that_lead_each_other_make_no_circle() {
    let score = score(16, &[("Violin 1", tune(60)), ("Flute", tune(60)), ("Oboe", tune(60))]);
    let doublings = vec![
        doubling(1, 0, 0, (1, 6)),
        doubling(0, 1, 0, (7, 10)),
        doubling(2, 1, 0, (7, 16)),
        doubling(0, 2, 0, (11, 16)),
    ];
    let reading = Reading { doublings, ..Reading::default() };
    let (_, plan, _) = drafted_from(&score, &reading);
    let cols = plan.passages[0].cells.iter().filter(|c| c.text.starts_with("col ")).count();
    assert_eq!(cols, 2, "{:?}", plan.passages[0].cells);
    law_of("circle", &score, &reading);
}

#[test]
fn who_leads_may_change_within_a_passage() {
    // Crotchets, and the first of every two as a minim.
    let key = |i: i64| 60 + ((i * 5) % 12) as i16;
    let full = |from: i64| (from..from + 16).map(move |i| note((i, 1), (1, 1), key(i)));
    let half = |from: i64| (from / 2..from / 2 + 8).map(move |i| note((2 * i, 1), (2, 1), key(2 * i)));
    let violin: Vec<Note> = full(0).chain(half(16)).collect();
    let flute: Vec<Note> = half(0).chain(full(16)).collect();
    let score = score(8, &[("Violin 1", violin), ("Flute", flute)]);
    let reading = Reading {
        doublings: vec![doubling(1, 0, 0, (1, 4)), doubling(0, 1, 0, (5, 8))],
        ..Reading::default()
    };
    let (_, plan, _) = drafted_from(&score, &reading);
    assert_eq!(cell(&plan, 0, "flute"), "col violins-1; from 5 as written, rhythm as written");
    assert_eq!(cell(&plan, 0, "violins-1"), "as written; from 5 col flute, rhythm as written");
    law_of("in turn", &score, &reading);
}

#[test]
fn the_reading_names_the_passages() {
    let score = score(16, &[("Violin 1", tune(60)), ("Flute", tune(72))]);
    let found = |name: &str, from_bar, to_bar, because: &str| ripieno_music::PassageFound {
        name: name.into(),
        from_bar,
        to_bar,
        because: vec![because.into()],
        roles: Vec::new(),
    };
    let passages = vec![found("A", 1, 6, "the start"), found("A", 7, 16, "the winds\nenter")];
    let mut reading = Reading { passages, ..Reading::default() };
    let (draft, plan, _) = drafted_from(&score, &reading);
    let names: Vec<(&str, i32, i32)> =
        plan.passages.iter().map(|p| (p.name.as_str(), p.from_bar, p.to_bar)).collect();
    assert_eq!(names, [("A", 1, 6), ("A (2)", 7, 16)]);
    assert!(draft.cue.contains("# the winds enter"), "{}", draft.cue);
    // A reading with a gap is none.
    reading.passages[1].from_bar = 9;
    assert_ne!(drafted_from(&score, &reading).1.passages[0].to_bar, 6);
}

#[test]
fn chairs_of_one_name_are_told_apart() {
    let mut score = quartet();
    let more = score.tracks.clone();
    score.tracks.extend(more.clone());
    score.tracks.extend(more);
    let (_, _, template) = drafted(&score);
    let mut names: Vec<&str> = template.chairs.iter().filter_map(|c| c.name.as_deref()).collect();
    let said = names.len();
    names.sort_unstable();
    names.dedup();
    // Tracks without a name are called by their instruments.
    assert_eq!((names.len(), said), (said, score.tracks.len()), "{names:?}");
    law("three quartets", &score);
}
