//! A played track through its card: calls are gone and name what follows, what speaks late stands where it is heard.

use ripieno_music::{Mark, Metre, Note, NoteKind, Score, Timeline, Track};
use ripieno_patches::read_back::{Ground, PlayedTrack};
use ripieno_plan::{ArticulationCard, Call, CallKind, KeyMode, PatchCard};
use ripieno_units::Beats;

/// Sustain called by C0 (key 12), staccato by C#0 (13).
fn card() -> PatchCard {
    let mut card = PatchCard::plain("flute");
    let plain = card.articulations[0].clone();
    let called = |name: &str, key: u8| ArticulationCard {
        name: name.into(),
        calls: vec![Call { kind: CallKind::Key { key, mode: KeyMode::Latch, velocity: 100 } }],
        ..plain.clone()
    };
    card.articulations = vec![called("sustain", 12), called("staccato", 13)];
    card
}

fn score(notes: Vec<Note>) -> Score {
    let mut track = Track { id: "1".into(), name: "Flute".into(), channel: Some(1), ..Track::default() };
    track.content.notes = notes;
    track.content.sort();
    let timeline = Timeline::regular(4, Metre { beats: 4, unit: 4 }, 120.0);
    Score { title: None, composer: None, timeline, tracks: vec![track], warnings: Vec::new() }
}

fn note(quarters: (i64, i64), key: i16) -> Note {
    Note { velocity: Some(80), ..Note::plain(Beats::new(quarters.0, quarters.1), Beats::new(1, 2), key) }
}

fn read_back(score: &Score, played: &PlayedTrack<'_>) -> ripieno_patches::read_back::ReadBack {
    let ground = Ground { spread: 0.012, likely: &|_| 0.0 };
    ripieno_patches::read_back::read_back(score, std::slice::from_ref(played), &ground)
}

fn read(notes: Vec<Note>, card: &PatchCard, before: Option<usize>) -> ripieno_patches::read_back::ReadBack {
    let played = PlayedTrack { tracks: vec![0], card, before, unpitched: false, holds: true };
    read_back(&score(notes), &played)
}

#[test]
fn calls_name_the_notes_after_them_and_are_gone() {
    let played = vec![note((0, 1), 13), note((1, 16), 72), note((2, 1), 12), note((33, 16), 74)];
    let found = read(played, &card(), None);
    assert_eq!((found.calls, found.undecided, found.outside), (2, 0, 0));
    let notes = &found.content.notes;
    assert_eq!(notes.iter().filter_map(|n| n.pitch().map(|p| p.key)).collect::<Vec<_>>(), [72, 74]);
    assert!(notes[0].marks.has(Mark::Staccato) && !notes[1].marks.has(Mark::Staccato));
    assert_eq!(notes[1].named.as_deref(), Some("sustain"));
}

#[test]
fn before_any_call_the_track_says_what_it_plays() {
    let found = read(vec![note((0, 1), 72)], &card(), Some(1));
    assert!(found.content.notes[0].marks.has(Mark::Staccato));
}

#[test]
fn what_speaks_late_stands_where_it_is_heard() {
    let mut card = PatchCard::plain("flute");
    let delays = ripieno_plan::DelayCurve { pairs: vec![(64, 100.0)] };
    card.articulations[0].delays.first = delays.clone();
    card.articulations[0].delays.joined = delays;
    // 100 ms before the third quarter, at 120 a minute.
    let found = read(vec![note((9, 5), 72)], &card, None);
    assert!((found.content.notes[0].at.quarters() - 2.0).abs() < 0.003);
}

#[test]
fn keys_that_do_not_sound_are_counted_and_kept() {
    let mut card = PatchCard::plain("flute");
    card.sounding = Some((60, 96));
    let found = read(vec![note((0, 1), 30), note((1, 1), 60), note((2, 1), 96)], &card, None);
    assert_eq!((found.outside, found.content.notes.len()), (1, 3));
}

#[test]
fn nothing_played_is_nothing_read() {
    let found = read(Vec::new(), &card(), None);
    assert!(found.content.notes.is_empty() && found.calls == 0);
    let away = PlayedTrack { tracks: vec![7], card: &card(), before: Some(1), unpitched: true, holds: false };
    assert!(read_back(&score(vec![note((0, 1), 72)]), &away).content.notes.is_empty());
}

/// Channel 10 may be one of a patch's channels; only a chair without pitch has drums on it.
#[test]
fn a_chair_with_pitch_has_pitches_on_the_percussion_channel_too() {
    let stroke = |key: u8| NoteKind::Unpitched { stroke: ripieno_formats::midi::percussion_stroke(key) };
    // A muted triangle and an open one are one stroke.
    let struck = |at, key: u8| Note { kind: stroke(key), struck: Some(key), ..note((at, 1), 60) };
    let mut score = score(vec![struck(0, 67), struck(1, 80), struck(2, 81)]);
    score.tracks[0].channel = Some(10);
    let card = card();
    let played =
        |unpitched| PlayedTrack { tracks: vec![0], card: &card, before: Some(0), unpitched, holds: true };
    let found = read_back(&score, &played(false));
    let keys: Vec<i16> = found.content.notes.iter().filter_map(|n| Some(n.pitch()?.key)).collect();
    assert_eq!(keys, [67, 80, 81]);
    let found = read_back(&score, &played(true));
    assert_eq!(found.content.notes[0].kind, stroke(67));
}

/// Notes that each end where the next begins, by either delay: a held instrument joins them, what dies away strikes each anew.
#[test]
fn what_dies_away_is_never_joined() {
    let mut card = PatchCard::plain("patch");
    card.articulations[0].name = "legato".into();
    let delay = |ms: f64| ripieno_plan::DelayCurve { pairs: vec![(64, ms)] };
    card.articulations[0].delays.first = delay(140.0);
    card.articulations[0].delays.joined = delay(20.0);
    let line = || (0..6).map(|i| note((i, 2), 60 + i as i16)).collect::<Vec<Note>>();
    let at = |holds: bool| {
        let played = PlayedTrack { tracks: vec![0], card: &card, before: Some(0), unpitched: false, holds };
        let found = read_back(&score(line()), &played);
        found.content.notes.iter().map(|n| (n.at.quarters() * 500.0).round() as i64).collect::<Vec<_>>()
    };
    // In ms at 120 a minute: sent every 250 ms.
    assert!(at(true)[1..].iter().zip(1..).all(|(t, i)| *t == 250 * i + 20), "{:?}", at(true));
    assert!(at(false).iter().zip(0..).all(|(t, i)| *t == 250 * i + 140), "{:?}", at(false));
}

/// Pairs whose second note speaks an eighth later were sent at one time each. Which came first, the velocities say: whoever knows
/// the patch sends those of the card where a delay hangs on them.
#[test]
fn the_cards_own_velocities_tell_what_was_joined() {
    let mut card = PatchCard::plain("patch");
    card.articulations[0].name = "legato".into();
    card.articulations[0].delays.first = ripieno_plan::DelayCurve { pairs: vec![(64, 20.0)] };
    let joined = ripieno_plan::DelayCurve { pairs: vec![(64, 270.0), (100, 260.0)] };
    card.articulations[0].delays.joined = joined;
    let keys = |card: &PatchCard, swapped: bool| {
        let pair = |i: i64| {
            let at = Beats::new(i, 1) + Beats::new(460, 500);
            let one = |key: i16, velocity: u8| Note {
                velocity: Some(velocity),
                ..Note::plain(at, Beats::new(1, 2), key)
            };
            if swapped { [one(60, 64), one(64, 71)] } else { [one(60, 71), one(64, 64)] }
        };
        let notes = (0..8).flat_map(pair).collect();
        let found = read(notes, card, Some(0));
        found.content.notes.iter().filter_map(|n| Some(n.pitch()?.key)).collect::<Vec<i16>>()
    };
    assert_eq!(keys(&card, false), [60, 64].repeat(8));
    assert_eq!(keys(&card, true), [64, 60].repeat(8));
    // Where the velocity is the dynamic, it tells nothing.
    card.dynamics.velocity = true;
    assert_ne!(keys(&card, false), [60, 64].repeat(8));
    assert_ne!(keys(&card, true), [64, 60].repeat(8));
}
