//! What an orchestrator would judge otherwise than a bare table: misplaced parts, old clefs, bows, hairpins, players who are free.

use crate::bench::*;
use ripieno_music::{DirectionKind, Dynamic, Note, Severity};
use ripieno_units::Beats;

fn quarters(keys: &[i16]) -> Vec<Note> {
    line(&keys.iter().map(|k| (*k, (1, 1))).collect::<Vec<_>>())
}

#[test]
fn a_part_an_octave_off_is_one_finding() {
    // Bassoon from Bb1 (34): half of this lies below, and all of it in the range an octave up.
    let low = [30, 36, 32, 38, 31, 36, 33, 40];
    let mut cue = Cue::of("bassoon", 1, 120.0, quarters(&low), vec![]);
    let found = cue.rule("range");
    let finding = one(&found, Severity::Impossible);
    assert!(finding.message.contains("4 of its 8 notes") && finding.message.contains("an octave too low"));
    assert!(finding.remedy.contains("8va"), "{}", finding.remedy);
    cue.apply(finding.change.as_ref().unwrap());
    assert!(cue.rule("range").is_empty());
    // One that an octave does not mend is judged note by note.
    let wide = [30, 36, 32, 72, 31, 36, 33, 40];
    let found = Cue::of("bassoon", 1, 120.0, quarters(&wide), vec![]).rule("range");
    assert!(!one(&found, Severity::Impossible).message.contains("an octave too low"));
}

#[test]
fn two_notes_do_not_move_a_passage() {
    let mut keys = vec![60; 30];
    keys.extend([99, 100]);
    let found = Cue::of("flute", 1, 120.0, quarters(&keys), vec![]).rule("range");
    assert_eq!(one(&found, Severity::Impossible).change, None);
}

#[test]
fn old_clefs_are_told_where_an_octave_mends_the_note() {
    let cello = |key| {
        let mut keys = vec![60; 12];
        keys.push(key);
        let found = Cue::of("cello", 1, 120.0, quarters(&keys), vec![]).rule("range");
        found.first().map(|f| f.remedy.clone()).unwrap_or_default()
    };
    assert!(cello(91).contains("treble clef an octave lower"), "{}", cello(91));
    assert!(!cello(125).contains("clef"), "{}", cello(125));
    let horn = Cue::of("horn", 1, 120.0, quarters(&[29, 48, 48, 48, 48, 48, 48, 48]), vec![]).rule("range");
    assert!(one(&horn, Severity::Impossible).remedy.contains("bass clef an octave higher"));
}

#[test]
fn a_bow_is_soft_at_any_height_and_low_brass_is_loud() {
    let comfort = |instrument: &str, key, dynamic| {
        let notes = vec![Note::plain(Beats::ZERO, Beats::whole(4), key)];
        Cue::of(instrument, 1, 120.0, notes, vec![mark(0, dynamic)]).rule("range-comfort")
    };
    // Above the comfortable ranges of the table, below the hard ones.
    one(&comfort("violin", 98, Dynamic::Pp), Severity::Advice);
    // What the register cannot be is told by `soft-extreme`.
    assert!(comfort("clarinet", 92, Dynamic::Pp).is_empty());
    one(&comfort("choir-sopranos", 81, Dynamic::Pp), Severity::Hard);
    // A voice that holds the top at p for seven seconds.
    let held = |dynamic| {
        let notes = vec![Note::plain(Beats::ZERO, Beats::whole(7), 83)];
        Cue::of("voice", 1, 60.0, notes, vec![mark(0, dynamic)]).rule("range-comfort")
    };
    one(&held(Dynamic::P), Severity::Hard);
    one(&held(Dynamic::F), Severity::Advice);
    one(&comfort("trumpet", 54, Dynamic::F), Severity::Advice);
}

#[test]
fn a_hairpin_into_the_next_stroke_is_played() {
    let grow = |instrument: &str, notes| {
        let hairpin = DirectionKind::Hairpin { louder: true, to: Beats::whole(2), niente: false };
        Cue::of(instrument, 1, 120.0, notes, vec![direction(0, hairpin)]).rule("dies-away")
    };
    assert!(grow("piano", quarters(&[60, 0, 62])).is_empty());
    one(&grow("piano", line(&[(60, (4, 1))])), Severity::Advice);
    one(&grow("harp", line(&[(60, (4, 1))])), Severity::Hard);
}

#[test]
fn who_rests_is_named_for_the_second_note() {
    let chord = || {
        let mut notes = line(&[(72, (4, 1)), (74, (4, 1))]);
        notes.push(Note::plain(Beats::ZERO, Beats::whole(4), 76));
        notes
    };
    let remedy = |other: &str, notes| {
        let cue = Cue::of("clarinet", 1, 120.0, chord(), vec![]).beside("The other", other, notes);
        let found = cue.rule("one-voice");
        one(&found, Severity::Impossible).remedy.clone()
    };
    let later = || line(&[(0, (4, 1)), (72, (4, 1))]);
    assert!(
        remedy("clarinet", later()).starts_with("The other rests there"),
        "{}",
        remedy("clarinet", later())
    );
    // One who plays, and one of another family, is not.
    assert!(!remedy("clarinet", line(&[(60, (4, 1))])).contains("The other"));
    assert!(!remedy("horn", later()).contains("The other"));
}

#[test]
fn where_marks_have_stopped_nothing_is_said_of_balance() {
    // Sixty bars of four seconds; the violin is marked p in bar 1, the cello later.
    let cue = |at: i64, dynamic: Dynamic| {
        let cue = Cue::of("violin", 1, 60.0, line(&[(72, (4, 1)); 60]), vec![mark(0, Dynamic::P)]);
        let mut cue = cue.beside("Cello", "cello", line(&[(48, (4, 1)); 60]));
        cue.score.tracks[1].content.directions = vec![mark(at, dynamic)];
        cue.read_through("marks-missing")
    };
    let found = cue(40, Dynamic::F);
    let finding = one(&found, Severity::Advice);
    assert_eq!((finding.bar, finding.to_bar), (20, 60));
    assert!(finding.message.contains("Cello f since bar 11"), "{}", finding.message);
    // A contrast that was written at once, the same mark, and marks that go on.
    assert!(cue(0, Dynamic::F).is_empty());
    assert!(cue(40, Dynamic::P).is_empty());
    assert!(cue(140, Dynamic::F).is_empty());
}

#[test]
fn a_repeat_is_told_once() {
    let mut keys = vec![(72, (4, 1)); 20];
    (keys[0], keys[10]) = ((100, (4, 1)), (100, (4, 1)));
    let mut cue = Cue::of("flute", 1, 120.0, line(&keys), vec![]);
    assert_eq!(cue.read_through("range").len(), 2);
    for (i, bar) in cue.score.timeline.bars.iter_mut().enumerate() {
        bar.printed = (i % 10 + 1).to_string();
    }
    let found = cue.read_through("range");
    assert!(one(&found, Severity::Impossible).message.ends_with("; and again in bar 11"), "{found:?}");
}

#[test]
fn the_end_of_a_range_keeps_its_name() {
    // F flat 3 is written beside a D that the instrument lacks: its range begins at E all the same.
    let mut notes = line(&[(52, (2, 1)), (50, (2, 1))]);
    notes[0].written = Some(ripieno_music::Spelling { step: 3, alter: -100, octave: 3 });
    let found = Cue::of("english-horn", 1, 60.0, notes, vec![]).read_through("range");
    let message = &found[0].message;
    assert!(message.contains("has E3 to"), "{message}");
}

#[test]
fn an_octave_begins_where_the_line_breathes() {
    // Half of each passage lies below the flute; the second begins in the middle of a run, or after a rest.
    let cue = |rest: bool| {
        let mut notes = vec![(90, (4, 1)); 3];
        notes.extend([(64, (1, 1)), (62, (1, 1)), (61, (1, 1)), (60, if rest { (1, 2) } else { (1, 1) })]);
        if rest {
            notes.push((0, (1, 2)));
        }
        notes.extend([(57, (1, 1)), (55, (1, 1)), (57, (1, 1)), (59, (1, 1))].repeat(4));
        Cue::of("flute", 1, 120.0, line(&notes), vec![]).split(5).rule("range")
    };
    assert!(cue(true)[0].change.is_some(), "{:?}", cue(true));
    assert!(cue(false)[0].change.is_none(), "{:?}", cue(false));
}
