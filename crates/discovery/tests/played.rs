//! Played music and its notated places: what is put off its places at random must come back to them.

use ripieno_discovery::played;
use ripieno_music::{Metre, Note, Score, Spelling, Timeline, Track};
use ripieno_units::{Beats, Chance};

fn score(tracks: Vec<Vec<Note>>, bars: usize) -> Score {
    let tracks = tracks
        .into_iter()
        .enumerate()
        .map(|(i, notes)| {
            let mut track = Track { id: (i + 1).to_string(), name: "Violin 1".into(), ..Track::default() };
            track.content.notes = notes;
            track.content.sort();
            track
        })
        .collect();
    let timeline = Timeline::regular(bars, Metre { beats: 4, unit: 4 }, 96.0);
    Score { title: None, composer: None, timeline, tracks, warnings: Vec::new() }
}

/// Eighths, triplets, sixteenths and a dotted rhythm, four bars of each mixed.
fn rhythms() -> Vec<Note> {
    let mut notes = Vec::new();
    for beat in 0..64i64 {
        let parts: &[(i64, i64)] = match beat % 5 {
            0 => &[(0, 1)],
            1 => &[(0, 1), (1, 2)],
            2 => &[(0, 1), (1, 3), (2, 3)],
            3 => &[(0, 1), (1, 4), (1, 2), (3, 4)],
            _ => &[(0, 1), (3, 4)],
        };
        for (i, (n, d)) in parts.iter().enumerate() {
            let next = parts.get(i + 1).map_or(Beats::whole(1), |p| Beats::new(p.0, p.1));
            let at = Beats::new(*n, *d);
            let key = 60 + ((beat * 7 + i as i64 * 2) % 12) as i16;
            notes.push(Note { velocity: Some(80), ..Note::plain(Beats::whole(beat) + at, next - at, key) });
        }
    }
    notes
}

fn loosely(notes: &[Note], seed: u64, spread: f64) -> Vec<Note> {
    let mut chance = Chance::named(seed, &["played"]);
    notes
        .iter()
        .map(|n| {
            // At 96 quarters a minute a millisecond is 0.0016 quarters.
            let by = chance.normal(spread).clamp(-0.025, 0.025) * 1.6;
            let at = Beats::approximate(n.at.quarters() + by).max(Beats::ZERO);
            Note { at, length: n.length.scaled(9, 10), ..n.clone() }
        })
        .collect()
}

#[test]
fn what_was_played_loosely_comes_back_to_its_places() {
    let written = rhythms();
    let (mut right, mut all) = (0, 0);
    for seed in 0..10 {
        let score = score(vec![loosely(&written, seed, 0.010)], 16);
        assert!(played::is_played_score(&score));
        let (notated, _) = played::notate(&score);
        for note in &notated.tracks[0].content.notes {
            all += 1;
            right += usize::from(
                written
                    .iter()
                    .any(|w| w.at == note.at && w.pitch() == note.pitch() && w.length == note.length),
            );
            assert!(note.played.is_some());
        }
    }
    assert_eq!(all, 10 * written.len());
    assert!(right * 1000 >= 995 * all, "{right} of {all}");
}

/// Fives against sixes lie off every grid too.
#[test]
fn what_is_spelled_was_notated() {
    let mut notes = loosely(&rhythms(), 1, 0.010);
    notes.iter_mut().for_each(|n| n.written = Some(Spelling { step: 0, alter: 0, octave: 4 }));
    assert!(!played::is_played_score(&score(vec![notes], 16)));
}

#[test]
fn what_lies_on_the_grid_is_left_alone() {
    let score = score(vec![rhythms()], 16);
    assert!(!played::is_played_score(&score));
    assert_eq!(played::notate(&score).0, score);
}

#[test]
fn a_grace_note_and_a_trill_are_signs() {
    let second = 1.6;
    let play = |at: f64, length: f64, key: i16| Note {
        velocity: Some(80),
        ..Note::plain(Beats::approximate(at * second), Beats::approximate(length * second), key)
    };
    let mut notes: Vec<Note> =
        (0..12).map(|i| play(0.003 + f64::from(i) * 0.625, 0.5, 67 + (i % 3) as i16)).collect();
    notes.push(play(7.5 - 0.07, 0.07, 74));
    notes.push(play(7.504, 0.5, 72));
    for i in 0..14 {
        notes.push(play(8.753 + f64::from(i) * 0.086, 0.080, if i % 2 == 0 { 71 } else { 72 }));
    }
    let (notated, _) = played::notate(&score(vec![notes], 6));
    let notes = &notated.tracks[0].content.notes;
    let main = notes.iter().find(|n| n.at == Beats::whole(12)).unwrap();
    assert_eq!(main.graces.len(), 1);
    assert_eq!(main.graces[0].pitch.key, 74);
    let trill = notes.iter().find(|n| n.at == Beats::whole(14)).unwrap();
    assert!(trill.ornament.is_some(), "{trill:?}");
    assert_eq!(notes.len(), 14);
}

#[test]
fn low_keys_before_changes_are_switches() {
    let mut notes = rhythms();
    for bar in 0..16i64 {
        let at = Beats::new(bar * 32 - 1, 8).max(Beats::ZERO);
        let key = if bar % 2 == 0 { 24 } else { 25 };
        notes.push(Note { velocity: Some(100), ..Note::plain(at, Beats::new(1, 16), key) });
    }
    let score = score(vec![notes], 16);
    let found = played::switches(&score);
    assert_eq!(found.iter().map(|f| (f.key, f.times)).collect::<Vec<_>>(), [(24, 8), (25, 8)]);
    assert!(found.iter().all(|f| f.before >= 0.8));
}

#[test]
fn tracks_of_one_section_are_one_chair() {
    let mut score = score(vec![rhythms(), rhythms(), rhythms()], 16);
    for (track, name) in score.tracks.iter_mut().zip(["VN1 leg", "VN1 spicc", "Flute 1"]) {
        track.name = name.into();
    }
    let found = played::merges(&score);
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].tracks.iter().map(|t| t.0).collect::<Vec<_>>(), [0, 1]);
    assert_eq!(found[0].tracks[1].1, ["spiccato"]);
}

#[test]
fn a_track_ahead_of_the_beat_is_found() {
    let early: Vec<Note> = loosely(&rhythms(), 3, 0.006)
        .into_iter()
        .map(|n| Note { at: (n.at - Beats::new(16, 100)).max(Beats::ZERO), ..n })
        .collect();
    let score = score(vec![early, loosely(&rhythms(), 4, 0.006)], 16);
    let delay = played::early(&score, &score.tracks[0].content).unwrap();
    assert!((delay - 0.100).abs() < 0.015, "{delay}");
    assert_eq!(played::early(&score, &score.tracks[1].content), None);
}
