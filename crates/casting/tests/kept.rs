//! `marks as written` and `rhythm as written`: what a chair keeps of its own line while it goes with another.

mod common;

use common::*;
use ripieno_casting::cast;
use ripieno_music::{Direction, DirectionKind, Dynamic, Mark, Part, Score};
use ripieno_plan::{CellMark, Kept};
use ripieno_units::Beats;

const LINES: &[(&str, &str)] = &[("flute", "Flute"), ("clarinet", "Clarinet")];
const CHAIRS: &[(&str, &str)] = &[("flute", "flute"), ("clarinet", "clarinet")];

/// The clarinet has crotchets; the flute has minims under a slur, the second with an accent, and a rest in bar 2.
fn duet() -> Score {
    let mut own = vec![note((0, 1), (2, 1), 84), note((2, 1), (2, 1), 86)];
    slur(&mut own);
    own[1].marks.add(Mark::Accent);
    let mut led = crotchets(&[60, 62, 64, 65, 67, 65, 64, 62]);
    led.iter_mut().for_each(|n| n.marks.add(Mark::Staccato));
    let mut score = score(2, &[("Flute", own), ("Clarinet", led)]);
    let put = |dynamic| Direction {
        at: Beats::ZERO,
        staff: None,
        voice: None,
        kind: DirectionKind::Dynamic(dynamic),
    };
    score.tracks[0].content.directions.push(put(Dynamic::P));
    score.tracks[1].content.directions.push(put(Dynamic::F));
    score
}

fn flute(kept: Kept) -> Part {
    let cells = vec![
        cell("flute", vec![col("clarinet", 12)], vec![CellMark::AsWritten(kept)]),
        cell("clarinet", vec![as_written()], vec![]),
    ];
    let (parts, findings) = cast(&duet(), &plan(LINES, vec![passage("A", 1, 2, cells)]), &template(CHAIRS));
    assert_eq!(findings, []);
    part(&parts, "flute").clone()
}

#[test]
fn marks_are_its_own_where_it_has_a_note() {
    let part = flute(Kept::Marks);
    assert_eq!(keys(&part), [72, 74, 76, 77, 79, 77, 76, 74]);
    let marks: Vec<(bool, bool)> =
        part.content.notes.iter().map(|n| (n.marks.has(Mark::Staccato), n.marks.has(Mark::Accent))).collect();
    assert_eq!(marks[..4], [(false, false), (true, false), (false, true), (true, false)]);
    // Its slur went from its first note to its second, and another note lies between now.
    assert!(part.content.notes.iter().all(|n| !n.slurred && !n.slurs_on));
    let levels: Vec<&DirectionKind> = part.content.directions.iter().map(|d| &d.kind).collect();
    assert_eq!(levels, [&DirectionKind::Dynamic(Dynamic::P)]);
}

#[test]
fn rhythm_is_its_own_and_the_pitches_are_the_leaders() {
    let part = flute(Kept::Rhythm);
    assert_eq!(played(&part), [(0.0, 72), (2.0, 76)]);
    let notes = &part.content.notes;
    assert!(notes.iter().all(|n| n.length == Beats::whole(2)));
    assert!(notes[0].slurs_on && notes[1].slurred && notes[1].marks.has(Mark::Accent));
}

#[test]
fn of_a_chord_it_takes_the_note_that_the_octave_of_the_cell_brings_nearest() {
    let own = vec![note((0, 1), (4, 1), 50)];
    let chord = [50, 57, 62].map(|key| note((0, 1), (2, 1), key)).to_vec();
    let score = score(1, &[("Flute", own), ("Clarinet", chord)]);
    for (octave, expected) in [(0, 50), (-12, 50), (-24, 38)] {
        let cells = vec![
            cell("flute", vec![col("clarinet", octave)], vec![CellMark::AsWritten(Kept::Rhythm)]),
            cell("clarinet", vec![as_written()], vec![]),
        ];
        let (parts, _) = cast(&score, &plan(LINES, vec![passage("A", 1, 1, cells)]), &template(CHAIRS));
        assert_eq!(played(part(&parts, "flute")), [(0.0, expected)], "{octave}");
    }
}
