//! Breath, stamina, speeds, changes, pages, the conductor.

use crate::bench::*;
use ripieno_music::{DirectionKind, Dynamic, Metre, Note, Playing, Severity, Tremolo};
use ripieno_units::Beats;

fn held(key: i16, quarters: i64) -> Vec<Note> {
    vec![Note::plain(Beats::ZERO, Beats::whole(quarters), key)]
}

#[test]
fn a_note_longer_than_a_breath_and_where_to_breathe() {
    // Flute at ff: 4 litres at 0.55 a second last 7.3 s, its hold is 7 s.
    let at = |quarters| Cue::of("flute", 1, 60.0, held(74, quarters), vec![mark(0, Dynamic::Ff)]);
    assert!(at(6).rule("breath").is_empty());
    let mut cue = at(16);
    let found = cue.rule("breath");
    let finding = one(&found, Severity::Impossible);
    assert!(finding.message.contains("D5") && finding.message.contains("16 s"), "{}", finding.message);
    assert!(finding.remedy.contains("Breathe before bar"), "{}", finding.remedy);
    cue.apply(finding.change.as_ref().unwrap());
    assert!(cue.rule("breath").is_empty(), "{:?}", cue.rule("breath"));
    // It is performed: each piece ends a quarter of a second or more before the next, and no note is lost.
    let (parts, performance) = cue.played();
    assert!(parts[0].content.notes.len() >= 3);
    let whole: f64 = parts[0].content.notes.iter().map(|n| n.length.quarters()).sum();
    assert_eq!(whole, 16.0);
    for pair in performance.chairs[0].gestures.windows(2) {
        assert!(pair[1].onset.0 - pair[0].end.0 >= 0.25 - 1e-9, "{pair:?}");
        assert!(!pair[1].joined);
    }
}

#[test]
fn softer_lasts_longer_and_sections_breathe_in_turn() {
    // At p the hold is 20 s.
    let soft = Cue::of("flute", 1, 60.0, held(74, 16), vec![mark(0, Dynamic::P)]);
    assert!(soft.rule("breath").is_empty());
    let two = Cue::of("flute", 2, 60.0, held(74, 16), vec![mark(0, Dynamic::Ff)]);
    assert!(two.rule("breath").is_empty());
    let solo = Cue::of("flute", 2, 60.0, held(74, 16), vec![mark(0, Dynamic::Ff), word(0, Playing::Solo)]);
    one(&solo.rule("breath"), Severity::Impossible);
    assert!(Cue::of("choir-sopranos", 8, 60.0, held(74, 60), vec![]).rule("breath").is_empty());
    assert!(Cue::of("violin", 1, 60.0, held(74, 60), vec![]).rule("breath").is_empty());
}

#[test]
fn a_slur_longer_than_a_breath_is_parted_and_rests_are_used() {
    let scale: Vec<(i16, (i64, i64))> = (0..16).map(|i| (72 + (i % 5), (1, 1))).collect();
    let mut cue = Cue::of("flute", 1, 60.0, slur(line(&scale)), vec![mark(0, Dynamic::Ff)]);
    let found = cue.rule("breath");
    let finding = one(&found, Severity::Hard);
    cue.apply(finding.change.as_ref().unwrap());
    assert!(cue.rule("breath").is_empty(), "{:?}", cue.rule("breath"));
    let (parts, _) = cue.played();
    assert_eq!(parts[0].content.notes.len(), 16);
    // The same without slurs: every player finds a place.
    assert!(Cue::of("flute", 1, 60.0, line(&scale), vec![mark(0, Dynamic::Ff)]).rule("breath").is_empty());
    // With a rest in the middle of each half.
    let rests: Vec<(i16, (i64, i64))> = (0..16).map(|i| (if i % 6 == 5 { 0 } else { 72 }, (1, 1))).collect();
    assert!(Cue::of("flute", 1, 60.0, line(&rests), vec![mark(0, Dynamic::Ff)]).rule("breath").is_empty());
}

#[test]
fn a_breath_takes_a_held_note_again() {
    let text = "breath (bar 2)";
    let cue = Cue::of("flute", 1, 60.0, held(74, 8), vec![]).cell(&format!("as written, {text}"));
    let (parts, _) = cue.played();
    assert_eq!(parts[0].content.notes.len(), 2);
    assert_eq!(parts[0].content.notes[1].at, Beats::whole(4));
}

#[test]
fn lips_in_the_top() {
    // Trumpet: comfortable to G5, the top from F5 (77).
    let bars = |high: i64| {
        let mut notes = Vec::new();
        for i in 0..40 {
            notes.push((if i % 10 < high { 78 } else { 67 }, (4, 1)));
            if i % 4 == 3 {
                notes.push((0, (4, 1)));
            }
        }
        Cue::of("trumpet", 1, 120.0, line(&notes), vec![]).rule("stamina")
    };
    assert!(bars(3).is_empty(), "{:?}", bars(3));
    one(&bars(6), Severity::Advice);
    one(&bars(10), Severity::Hard);
    assert!(bars(10)[0].remedy.contains("own judgement"));
}

#[test]
fn lips_without_a_rest() {
    let notes = |bars: i64| line(&vec![(60, (4, 1)); bars as usize]);
    // 150 s: bars of 2 s.
    assert!(Cue::of("horn", 1, 120.0, notes(74), vec![]).rule("stamina").is_empty());
    one(&Cue::of("horn", 1, 120.0, notes(80), vec![]).rule("stamina"), Severity::Advice);
    assert!(Cue::of("cello", 1, 120.0, notes(80), vec![]).rule("stamina").is_empty());
}

fn repeated(instrument: &str, players: u16, a_second: f64, n: usize) -> Vec<ripieno_music::Finding> {
    // Crotchets at so many a minute.
    Cue::of(instrument, players, 60.0 * a_second, line(&vec![(60, (1, 1)); n]), vec![]).rule("repeat-speed")
}

#[test]
fn tongues() {
    // Horn: 7 single, 10 double.
    assert!(repeated("horn", 1, 7.0, 40).is_empty());
    one(&repeated("horn", 1, 9.0, 40), Severity::Advice);
    assert!(repeated("horn", 1, 9.0, 8).is_empty());
    one(&repeated("horn", 1, 11.0, 8), Severity::Hard);
    one(&repeated("horn", 1, 14.0, 8), Severity::Hard);
    one(&repeated("horn", 1, 16.0, 8), Severity::Impossible);
    assert!(repeated("horn", 1, 16.0, 4).is_empty());
    // A tremolo of strings is as quick.
    assert!(repeated("violin", 14, 14.0, 40).is_empty());
}

#[test]
fn strokes_through_the_stem_are_tongued() {
    let strokes = |tempo| {
        let mut notes = held(60, 4);
        notes[0].tremolo = Some(Tremolo { strokes: 2, with: None });
        Cue::of("horn", 1, tempo, notes, vec![]).rule("repeat-speed")
    };
    // Semiquavers.
    assert!(strokes(120.0).is_empty());
    one(&strokes(170.0), Severity::Hard);
}

#[test]
fn scales_by_articulation() {
    let scale = |instrument: &str, a_second: f64, slurred: bool| {
        let notes = line(&(0..12).map(|i| (60 + i, (1, 1))).collect::<Vec<_>>());
        let notes = if slurred { slur(notes) } else { notes };
        Cue::of(instrument, 1, 60.0 * a_second, notes, vec![]).rule("scale-speed")
    };
    assert!(scale("clarinet", 13.0, true).is_empty());
    one(&scale("clarinet", 15.0, true), Severity::Hard);
    assert!(scale("bassoon", 10.0, true).is_empty());
    // The oboe's tongue: 8, doubled 10.
    one(&scale("oboe", 11.0, false), Severity::Hard);
    assert!(scale("oboe", 11.0, true).is_empty());
    one(&scale("trombone", 8.0, true), Severity::Hard);
}

#[test]
fn mutes_want_a_rest() {
    let cue = |rest: i64| {
        let notes = line(&[(60, (4, 1)), (0, (rest, 1)), (62, (4, 1))]);
        Cue::of("trumpet", 1, 60.0, notes, vec![word(4 + rest, Playing::ConSord)]).rule("mute-time")
    };
    assert!(cue(3).is_empty());
    one(&cue(2), Severity::Hard);
    let none = line(&[(60, (4, 1)), (62, (4, 1))]);
    let directions = vec![word(4, Playing::ConSord)];
    one(
        &Cue::of("trumpet", 1, 60.0, none.clone(), directions.clone()).rule("mute-time"),
        Severity::Impossible,
    );
    one(&Cue::of("viola", 12, 60.0, none.clone(), directions.clone()).rule("mute-time"), Severity::Hard);
    assert!(Cue::of("flute", 1, 60.0, none, directions).rule("mute-time").is_empty());
}

#[test]
fn from_bow_to_finger() {
    let cue = |a_second: f64, instrument: &str| {
        let notes = line(&[(60, (1, 1)), (62, (1, 1)), (64, (1, 1)), (65, (1, 1))]);
        Cue::of(instrument, 12, 60.0 * a_second, notes, vec![word(2, Playing::Pizz)]).rule("pluck-time")
    };
    assert!(cue(2.0, "viola").is_empty());
    one(&cue(3.0, "viola"), Severity::Hard);
}

#[test]
fn another_instrument() {
    let cue = |rest: i64, text: &str| {
        let notes = line(&[(72, (4, 1)), (0, (rest, 1)), (74, (4, 1))]);
        let words = direction(4, DirectionKind::Words(text.into()));
        Cue::of("flute", 1, 60.0, notes, vec![words]).rule("change-instrument")
    };
    assert!(cue(8, "muta in Ottavino").is_empty());
    one(&cue(4, "muta in Ottavino"), Severity::Hard);
    one(&cue(2, "muta in Ottavino"), Severity::Impossible);
    assert!(cue(2, "muta Sol in La").is_empty());
}

#[test]
fn pages() {
    let cue = |bars: i64, players, hole: bool| {
        let mut notes = vec![(60, (4, 1)); bars as usize];
        if hole {
            notes[bars as usize / 2] = (0, (4, 1));
        }
        Cue::of("bassoon", players, 120.0, line(&notes), vec![]).rule("page-turn")
    };
    assert!(cue(100, 1, false).is_empty());
    one(&cue(140, 1, false), Severity::Advice);
    assert!(cue(140, 1, true).is_empty());
    assert!(cue(140, 6, false).is_empty());
    // What is played again is on the same page.
    let mut again = Cue::of("bassoon", 1, 120.0, line(&[(60, (4, 1)); 140]), vec![]);
    for (i, bar) in again.score.timeline.bars.iter_mut().enumerate() {
        bar.printed = (i % 70 + 1).to_string();
    }
    assert!(again.rule("page-turn").is_empty());
}

#[test]
fn a_conductor_in_changing_metres() {
    let cue = |changes: usize| {
        let mut cue = Cue::of("flute", 1, 120.0, line(&[(72, (4, 1)); 24]), vec![]);
        let mut at = Beats::ZERO;
        for (i, bar) in cue.score.timeline.bars.iter_mut().enumerate() {
            bar.metre =
                Metre { beats: if (8..8 + changes).contains(&i) && i % 2 == 0 { 3 } else { 4 }, unit: 4 };
            (bar.at, bar.length) = (at, bar.metre.bar());
            at += bar.length;
        }
        cue.rule("conductor")
    };
    assert!(cue(4).is_empty(), "{:?}", cue(4));
    one(&cue(6), Severity::Advice);
}
