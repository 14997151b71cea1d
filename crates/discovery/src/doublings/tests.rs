//! Small scores whose doublings are plain to see, and laws for all scores.

use super::*;
use proptest::prelude::*;
use ripieno_music::{Metre, Note, Timeline, Track};
use ripieno_units::Beats;

const TUNE: [i16; 8] = [60, 62, 64, 65, 67, 65, 64, 62];

fn score(bars: usize, tracks: Vec<Vec<Note>>) -> Score {
    let tracks = tracks.into_iter().enumerate().map(|(i, notes)| {
        let mut track = Track { id: format!("P{i}"), ..Track::default() };
        track.content.notes = notes;
        track.content.sort();
        track
    });
    let timeline = Timeline::regular(bars, Metre { beats: 4, unit: 4 }, 100.0);
    Score { title: None, composer: None, timeline, tracks: tracks.collect(), warnings: Vec::new() }
}

/// Crotchets from a bar on.
fn crotchets(bar: i64, keys: impl IntoIterator<Item = i16>) -> Vec<Note> {
    let at = |i: usize| Beats::whole(4 * (bar - 1) + i as i64);
    keys.into_iter().enumerate().map(|(i, k)| Note::plain(at(i), Beats::whole(1), k)).collect()
}

fn tune(bars: usize) -> Vec<i16> {
    TUNE.iter().cycle().take(4 * bars).copied().collect()
}

fn brief(score: &Score) -> Vec<(usize, usize, i16, i32, i32)> {
    find(score).iter().map(|d| (d.track, d.of, d.semitones, d.from_bar, d.to_bar)).collect()
}

#[test]
fn unison_and_octaves_are_named_after_one_leader() {
    let up = |by: i16| crotchets(1, tune(4).into_iter().map(move |k| k + by));
    let score = score(4, vec![up(0), up(12), up(0), up(-24), up(4), up(-9)]);
    assert_eq!(brief(&score), [(1, 0, 12, 1, 4), (2, 0, 0, 1, 4), (3, 0, -24, 1, 4)]);
    assert!(find(&score).iter().all(|d| d.exact && d.share == 1.0 && d.simplified.is_none()));
}

/// Names decide which of two with the same notes leads.
fn named(mut score: Score, names: &[&str]) -> Score {
    for (track, name) in score.tracks.iter_mut().zip(names) {
        track.name = (*name).into();
    }
    score
}

#[test]
fn a_line_leads_before_one_voice_coincidess() {
    let up = |by: i16| crotchets(1, tune(4).into_iter().map(move |k| k + by));
    let chords = [up(0), up(4), up(7), up(12)].concat();
    let all = named(
        score(4, vec![chords, up(-12), up(0), up(-24)]),
        &["Harp", "Tuba", "Violoncello", "Double Bass"],
    );
    // The tuba has the lowest notes of the harp; cellos and basses go with the tuba.
    assert_eq!(brief(&all), [(1, 0, -12, 1, 4), (2, 1, 12, 1, 4), (3, 1, -12, 1, 4)]);
    assert_eq!(find(&all).iter().map(|d| d.coincides).collect::<Vec<_>>(), [true, false, false]);
    // Of two notes the one is half.
    let sixths = score(4, vec![[up(0), up(9)].concat(), up(0)]);
    assert!(find(&sixths).iter().all(|d| !d.coincides) && find(&sixths).len() == 1);
}

#[test]
fn a_root_under_a_figure_is_no_line_of_it() {
    let quavers = |keys: &dyn Fn(usize) -> i16| -> Vec<Note> {
        (0..32).map(|i| Note::plain(Beats::new(i as i64, 2), Beats::new(1, 2), keys(i))).collect()
    };
    let root = |i: usize| TUNE[i / 8];
    let held: Vec<Note> =
        (0..4).map(|i| Note::plain(Beats::whole(4 * i as i64), Beats::whole(4), root(8 * i))).collect();
    let broken = score(4, vec![quavers(&|i| root(i) + [0, 7, 12, 7][i % 4]), held.clone()]);
    let repeated = score(4, vec![quavers(&root), held]);
    let found = |score: &Score| find(score).iter().map(|d| (d.track, d.coincides)).collect::<Vec<_>>();
    assert_eq!(found(&broken), [(1, true)]);
    assert_eq!(found(&repeated), [(1, false)]);
}

#[test]
fn who_sings_leads_then_who_sustains() {
    let line = || crotchets(1, tune(4));
    let mut sung = line();
    for note in &mut sung {
        let place = ripieno_music::SyllablePlace::Single;
        note.syllable = Some(ripieno_music::Syllable { text: "la".into(), place, extends: false, verse: 1 });
    }
    let all = named(score(4, vec![line(), line(), sung]), &["Harp", "Violin", "Soprano"]);
    assert_eq!(brief(&all), [(0, 2, 0, 1, 4), (1, 2, 0, 1, 4)]);
    let played = named(score(4, vec![line(), line()]), &["Celesta", "Violin"]);
    assert_eq!(brief(&played), [(0, 1, 0, 1, 4)]);
}

#[test]
fn thirds_and_rhythm_alone_are_none() {
    let thirds = [64, 65, 67, 69, 71, 69, 67, 65];
    let rhythm = [48, 55, 52, 55, 48, 53, 52, 50];
    let line = |keys: &[i16]| crotchets(1, keys.iter().cycle().take(16).copied().collect::<Vec<_>>());
    assert_eq!(brief(&score(4, vec![line(&TUNE), line(&thirds), line(&rhythm)])), []);
}

#[test]
fn it_starts_and_stops_inside_a_passage() {
    let mut second = crotchets(1, tune(8).into_iter().map(|k| k - 5));
    // From the third beat of bar 3 to the end of bar 6.
    for (i, note) in second.iter_mut().enumerate().take(24).skip(10) {
        *note = Note::plain(note.at, note.length, tune(8)[i]);
    }
    let score = score(8, vec![crotchets(1, tune(8)), second]);
    // 14 of the 16 notes of bars 3 to 6 would be too few.
    assert_eq!(brief(&score), [(1, 0, 0, 4, 6)]);
}

#[test]
fn a_simplified_chair_follows_the_fuller_line() {
    let first_and_third = |notes: Vec<Note>| -> Vec<Note> {
        notes.into_iter().step_by(2).map(|n| Note { length: Beats::whole(2), ..n }).collect()
    };
    let slow = score(4, vec![first_and_third(crotchets(1, tune(4))), crotchets(1, tune(4))]);
    let found = find(&slow);
    assert_eq!(brief(&slow), [(0, 1, 0, 1, 4)]);
    assert_eq!(found[0].simplified.as_deref(), Some("in a slower rhythm"));
    assert!(!found[0].exact);
    // Quavers between the beats are ornaments of it.
    let mut ornate = crotchets(1, tune(4));
    let passing: Vec<Note> = ornate
        .iter_mut()
        .step_by(3)
        .map(|n| {
            n.length = Beats::new(3, 4);
            Note::plain(n.at + Beats::new(3, 4), Beats::new(1, 4), 71)
        })
        .collect();
    ornate.extend(passing);
    let found = find(&score(4, vec![ornate, crotchets(1, tune(4))]));
    assert_eq!((found[0].track, found[0].simplified.as_deref()), (1, Some("without ornaments")));
}

#[test]
fn a_rest_of_the_chair_parts_and_a_general_pause_does_not() {
    let gap = |from: usize, to: usize| {
        let mut notes = crotchets(1, tune(10));
        notes.retain(|n| n.at < Beats::whole(from as i64) || n.at >= Beats::whole(to as i64));
        notes
    };
    let parted = score(10, vec![crotchets(1, tune(10)), gap(16, 20)]);
    assert_eq!(brief(&parted), [(1, 0, 0, 1, 4), (1, 0, 0, 6, 10)]);
    let pause = score(10, vec![gap(16, 20), gap(16, 20)]);
    assert_eq!(brief(&pause), [(1, 0, 0, 1, 10)]);
    let rest = score(10, vec![gap(16, 28), gap(16, 28)]);
    assert_eq!(brief(&rest), [(1, 0, 0, 1, 4), (1, 0, 0, 8, 10)]);
}

#[test]
fn one_voice_of_a_divided_leader() {
    let mut divided = crotchets(1, tune(4));
    divided.extend(crotchets(1, tune(4).into_iter().map(|k| k - 4)));
    let score = score(4, vec![divided, crotchets(1, tune(4).into_iter().map(|k| k + 8))]);
    assert_eq!(brief(&score), [(1, 0, 12, 1, 4)]);
}

#[test]
fn a_pedal_point_and_three_notes_are_too_little() {
    let pedal = || crotchets(1, [60, 60, 60, 60, 67, 67, 60, 60]);
    assert_eq!(brief(&score(2, vec![pedal(), pedal()])), []);
    let three = || crotchets(1, [60, 62, 64]);
    assert_eq!(brief(&score(2, vec![three(), three()])), []);
}

#[test]
fn a_last_note_held_through_a_bar_by_both() {
    let held = || {
        let mut notes = crotchets(1, tune(3));
        notes[11].length = Beats::whole(5);
        notes
    };
    assert_eq!(brief(&score(5, vec![held(), held()])), [(1, 0, 0, 1, 4)]);
}

#[test]
fn a_large_score_takes_a_moment() {
    // 60 chairs, 400 bars of quavers, a third of them in octaves of one line.
    let line = |seed: usize| -> Vec<Note> {
        let mut state = seed as u64 * 2_654_435_761 + 1;
        (0..3200)
            .map(|i| {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                Note::plain(Beats::new(i, 2), Beats::new(1, 2), 48 + (state >> 59) as i16)
            })
            .collect()
    };
    let tracks = (0..60).map(|t| line(if t % 3 == 0 { 0 } else { t })).collect();
    let score = score(400, tracks);
    let start = std::time::Instant::now();
    let found = find(&score);
    println!("60 chairs, 400 bars, 192,000 notes: {:?}", start.elapsed());
    assert_eq!(found.len(), 19);
    assert!(found.iter().all(|d| d.of == 0 && (d.from_bar, d.to_bar) == (1, 400)));
}

#[test]
fn many_that_move_together_take_a_moment() {
    let score = score(4, vec![crotchets(1, tune(4)); 1000]);
    let start = std::time::Instant::now();
    let found = find(&score);
    let seconds = start.elapsed().as_secs_f64();
    assert_eq!(found.len(), 999);
    assert!(found.iter().all(|d| d.of == 0 && (d.from_bar, d.to_bar) == (1, 4)));
    assert!(seconds < 10.0, "{seconds} s");
}

fn any_track() -> impl Strategy<Value = Vec<Note>> {
    // Few pitches and few places, so that much meets.
    let note = (0i64..48, 1i64..9, 0i16..5, any::<bool>());
    proptest::collection::vec(note, 0..60).prop_map(|notes| {
        notes
            .into_iter()
            .map(|(at, length, key, up)| {
                let key = 60 + 2 * key + if up { 12 } else { 0 };
                Note::plain(Beats::new(at, 1), Beats::new(length, 2), key)
            })
            .collect()
    })
}

proptest! {
    /// What is told is so, counted note by note; nobody goes with himself; the order is kept.
    #[test]
    fn every_doubling_is_one(tracks in proptest::collection::vec(any_track(), 0..6)) {
        let score = score(12, tracks);
        let found = find(&score);
        let places: Vec<_> = found.iter().map(|d| (d.from_bar, d.track)).collect();
        prop_assert!(places.is_sorted());
        for doubling in &found {
            let tones = |track: usize, by: i16| {
                let inside = |n: &&Note| {
                    let bar = score.timeline.bar_at(n.at).number;
                    (doubling.from_bar..=doubling.to_bar).contains(&bar)
                };
                let notes = score.tracks[track].content.notes.iter().filter(inside);
                notes.map(|n| (n.at, n.pitch().unwrap().key + by)).collect::<std::collections::BTreeSet<_>>()
            };
            let (mine, theirs) = (tones(doubling.track, 0), tones(doubling.of, doubling.semitones));
            let shared: Vec<_> = mine.intersection(&theirs).collect();
            let pitches: std::collections::BTreeSet<i16> = shared.iter().map(|s| s.1).collect();
            prop_assert!(doubling.track != doubling.of);
            prop_assert!(shared.len() >= 4 && pitches.len() >= 3);
            prop_assert!(shared.len() * 10 >= mine.len() * 9);
            prop_assert!((doubling.share - shared.len() as f64 / mine.len() as f64).abs() < 1e-12);
        }
    }
}
