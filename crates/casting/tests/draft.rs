//! The texts of a draft, read again and cast.

mod common;

use common::*;
use ripieno_casting::{Draft, DraftOptions, cast, draft};
use ripieno_music::{Bar, Metre, Note, Reading, Score, TimeMark, TimeMarkKind};
use ripieno_plan::{Plan, Template};
use ripieno_units::Beats;
use std::path::Path;

fn drafted(score: &Score) -> (Draft, Plan, Template) {
    let options =
        DraftOptions { title: None, music: "my \"piece\".mid".into(), template: "template.toml".into() };
    let draft = draft(score, &Reading::default(), &options);
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
    let (_, plan, template) = drafted(score);
    let (parts, findings) = cast(score, &plan, &template);
    assert!(findings.is_empty(), "{name}: {findings:?}");
    let sources: Vec<_> = score.tracks.iter().filter(|t| !t.content.notes.is_empty()).collect();
    assert_eq!(parts.len(), sources.len(), "{name}");
    for (part, track) in parts.iter().zip(&sources) {
        assert_eq!(part.content.notes.len(), track.content.notes.len(), "{name}: {}", track.name);
        let mut source = track.content.clone();
        source.sort();
        for (a, b) in part.content.notes.iter().zip(&source.notes) {
            assert_eq!(a, b, "{name}: {}", track.name);
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
