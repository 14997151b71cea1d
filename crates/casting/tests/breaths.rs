//! Breaths of cells in the part: commas, parted slurs, held notes taken again.

mod common;

use common::*;
use ripieno_casting::cast;
use ripieno_music::{Mark, Part, Playing};
use ripieno_plan::{CellMark, PlaceWord};

const CHAIRS: &[(&str, &str)] = &[("flute", "flute"), ("oboe", "oboe")];
const LINES: &[(&str, &str)] = &[("melody", "Lead")];

fn breath(places: &[(i32, f64)]) -> CellMark {
    CellMark::Breath(places.iter().map(|(bar, beat)| PlaceWord { bar: *bar, beat: Some(*beat) }).collect())
}

fn commas(part: &Part) -> Vec<f64> {
    part.content.notes.iter().filter(|n| n.marks.has(Mark::BreathAfter)).map(|n| n.end().quarters()).collect()
}

#[test]
fn a_slur_is_parted_and_a_held_note_is_taken_again() {
    let mut notes = crotchets(&[60, 62, 64, 65]);
    notes.push(note((4, 1), (8, 1), 67));
    slur(&mut notes);
    let cue = plan(
        LINES,
        vec![passage(
            "A",
            1,
            3,
            vec![
                cell("flute", vec![line("melody")], vec![breath(&[(1, 3.0), (2, 3.5)])]),
                // It is the flute's own affair.
                cell("oboe", vec![col("flute", 0)], vec![]),
            ],
        )],
    );
    let (parts, findings) = cast(&score(3, &[("Lead", notes)]), &cue, &template(CHAIRS));
    assert_eq!(findings, []);
    let flute = part(&parts, "flute");
    assert_eq!(played(flute), [(0.0, 60), (1.0, 62), (2.0, 64), (3.0, 65), (4.0, 67), (6.5, 67)]);
    assert_eq!(commas(flute), [2.0, 6.5]);
    let slurs: Vec<_> = flute.content.notes.iter().map(|n| (n.slurred, n.slurs_on)).collect();
    let (f, t) = (false, true);
    assert_eq!(slurs, [(f, t), (t, f), (f, t), (t, t), (t, f), (f, f)]);
    let oboe = part(&parts, "oboe");
    assert_eq!(oboe.content.notes.len(), 5);
    assert!(commas(oboe).is_empty());
}

#[test]
fn legato_of_the_cell_ends_at_the_comma_and_a_rest_needs_none() {
    let mut notes = crotchets(&[60, 62, 64, 65]);
    notes.push(note((8, 1), (4, 1), 67));
    let marks = vec![playing(Playing::Legato), breath(&[(1, 2.0), (3, 1.0)])];
    let cue = plan(LINES, vec![passage("A", 1, 3, vec![cell("flute", vec![line("melody")], marks)])]);
    let (parts, findings) = cast(&score(3, &[("Lead", notes)]), &cue, &template(CHAIRS));
    assert_eq!(findings, []);
    let flute = part(&parts, "flute");
    assert_eq!(commas(flute), [1.0, 4.0]);
    assert!(!flute.content.notes[1].slurred && flute.content.notes[2].slurred);
}

#[test]
fn a_place_outside_is_said() {
    let cue = plan(
        LINES,
        vec![passage("A", 1, 2, vec![cell("flute", vec![line("melody")], vec![breath(&[(9, 1.0)])])])],
    );
    let (_, findings) = cast(&score(2, &[("Lead", crotchets(&[60; 8]))]), &cue, &template(CHAIRS));
    assert_eq!(findings.len(), 1, "{findings:?}");
    assert_eq!(findings[0].rule, "place-unknown");
}
