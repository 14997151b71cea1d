//! What each track does, on small scores that are written here: the textures of the textbooks.

use ripieno_discovery::read;
use ripieno_music::{Metre, Note, Role, Score, Syllable, SyllablePlace, Timeline, Track};
use ripieno_units::Beats;

const BARS: i64 = 8;

/// A melody of mixed lengths, mostly by step.
fn melody(up: i16) -> Vec<Note> {
    let bar: [&[(i64, i64, i16)]; 4] = [
        &[(0, 3, 72), (3, 1, 74), (4, 2, 76), (6, 2, 74)],
        &[(0, 4, 72), (4, 1, 71), (5, 1, 69), (6, 2, 71)],
        &[(0, 3, 72), (3, 1, 77), (4, 3, 76), (7, 1, 74)],
        &[(0, 2, 76), (2, 1, 74), (3, 1, 72), (4, 4, 67)],
    ];
    let mut notes = Vec::new();
    for b in 0..BARS {
        for (at, length, key) in bar[(b % 4) as usize] {
            let key = if b >= 4 && *at == 0 { key + 2 } else { *key };
            notes.push(Note::plain(
                Beats::whole(4 * b) + Beats::new(*at, 2),
                Beats::new(*length, 2),
                key + up,
            ));
        }
    }
    notes
}

/// The chord of each bar, from the bass.
fn chord(bar: i64) -> [i16; 3] {
    [[48, 52, 55], [53, 57, 60], [55, 59, 62], [48, 52, 55]][(bar % 4) as usize]
}

/// Notes in eighths within a bar: place, length, key.
fn each_bar(notes: impl Fn(i64) -> Vec<(i64, i64, i16)>) -> Vec<Note> {
    let one = |b: i64| notes(b).into_iter().map(move |n| (b, n));
    (0..BARS)
        .flat_map(one)
        .map(|(b, (at, length, key))| {
            Note::plain(Beats::whole(4 * b) + Beats::new(at, 2), Beats::new(length, 2), key)
        })
        .collect()
}

fn score(tracks: Vec<(&str, Vec<Note>)>) -> Score {
    let tracks = tracks
        .into_iter()
        .enumerate()
        .map(|(i, (name, notes))| {
            let mut track = Track { id: format!("P{i}"), name: name.into(), ..Track::default() };
            track.content.notes = notes;
            track.content.sort();
            track
        })
        .collect();
    let timeline = Timeline::regular(BARS as usize, Metre { beats: 4, unit: 4 }, 100.0);
    Score { title: None, composer: None, timeline, tracks, warnings: Vec::new() }
}

fn roles(score: &Score) -> Vec<Role> {
    let reading = read(score);
    assert_eq!(reading.passages.len(), 1, "{:?}", reading.passages);
    reading.passages[0].roles.iter().map(|r| r.role).collect()
}

fn held(voice: usize, up: i16) -> Vec<Note> {
    each_bar(|b| vec![(0, 8, chord(b)[voice] + up)])
}

fn bass() -> Vec<Note> {
    each_bar(|b| vec![(0, 4, chord(b)[0] - 12), (4, 4, chord(b)[2] - 24)])
}

#[test]
fn alberti_bass_is_a_figure() {
    let alberti = each_bar(|b| {
        let c = chord(b);
        (0..8).map(|i| (i, 1, c[[0, 2, 1, 2][(i % 4) as usize]])).collect()
    });
    let found =
        roles(&score(vec![("Violin 1", melody(0)), ("Viola", alberti.clone()), ("Violoncello", bass())]));
    assert_eq!(found, [Role::Tune, Role::Figure, Role::Bass]);
    let found = roles(&score(vec![("Flute", melody(0)), ("Piano", alberti)]));
    assert_eq!(found, [Role::Tune, Role::Figure]);
}

/// A song: the piano plays the livelier line above, and the voice has the words.
#[test]
fn a_lone_singer_has_the_tune() {
    let song = |words: bool| {
        let mut voice = each_bar(|b| vec![(0, 4, chord(b)[0] + 7), (4, 3, chord(b)[1]), (7, 1, chord(b)[2])]);
        for note in voice.iter_mut().filter(|_| words) {
            note.syllable =
                Some(Syllable { text: "la".into(), place: SyllablePlace::Single, extends: false, verse: 1 });
        }
        roles(&score(vec![("Alto", voice), ("Piano", melody(0))]))[0]
    };
    assert_eq!(song(true), Role::Tune);
    assert_ne!(song(false), Role::Tune);
}

/// A trio sonata: the walking bass has figures under its notes, which nobody sings.
#[test]
fn figures_under_a_bass_are_not_sung() {
    let trio = |text: &str| {
        let mut walking = each_bar(|b| {
            let c = chord(b);
            (0..4).map(|i| (2 * i, 2, c[[0, 1, 2, 1][i as usize]] - 12)).collect()
        });
        for note in &mut walking {
            let place = SyllablePlace::Single;
            note.syllable = Some(Syllable { text: text.into(), place, extends: false, verse: 1 });
        }
        roles(&score(vec![("Violino I", melody(0)), ("Violino II", held(2, 12)), ("Violone", walking)]))
    };
    for figures in ["6", "7 6", "\u{266f}", "4-3", "b7", "V", "IV6"] {
        assert_eq!(trio(figures)[0], Role::Tune, "{figures}");
    }
    assert_eq!(trio("la")[2], Role::Tune);
}

/// One key again and again is no tune, however high it lies.
#[test]
fn a_repeated_note_is_no_tune() {
    let repeated = each_bar(|_| (0..8).map(|i| (i, 1, 72)).collect());
    let found = roles(&score(vec![
        ("Violin 1", repeated),
        ("Viola", held(1, 0)),
        ("Violoncello", melody(-17)),
        ("Contrabass", held(0, -24)),
    ]));
    assert_eq!(found[2], Role::Tune, "{found:?}");
    assert_ne!(found[0], Role::Tune);
}

#[test]
fn held_chords_have_their_voices() {
    let score = score(vec![
        ("Oboe", melody(0)),
        ("Violin 1", held(2, 0)),
        ("Violin 2", held(1, 0)),
        ("Viola", held(0, 0)),
        ("Violoncello", bass()),
    ]);
    assert_eq!(roles(&score), [Role::Tune, Role::Held, Role::Held, Role::Held, Role::Bass]);
    let reading = read(&score);
    let voices: Vec<Option<(u8, u8)>> =
        reading.passages[0].roles.iter().map(|r| r.chord.map(|c| (c.voice, c.of))).collect();
    assert_eq!(voices, [None, Some((1, 3)), Some((2, 3)), Some((3, 3)), None]);
}

#[test]
fn a_doubling_in_octaves_is_the_tune_too() {
    let score = score(vec![
        ("Flute", melody(12)),
        ("Violin 1", melody(0)),
        ("Viola", held(1, 0)),
        ("Violoncello", melody(-24).into_iter().take(0).chain(bass()).collect()),
        ("Bassoon", melody(-12)),
    ]);
    assert_eq!(roles(&score), [Role::Tune, Role::Tune, Role::Held, Role::Bass, Role::Tune]);
}

#[test]
fn plucked_bass_notes_are_the_bass_and_offbeats_a_figure() {
    let plucked = each_bar(|b| vec![(0, 1, chord(b)[0] - 12), (4, 1, chord(b)[2] - 12)]);
    let offbeats = each_bar(|b| {
        [1, 3, 5, 7].iter().flat_map(|at| [(*at, 1, chord(b)[1]), (*at, 1, chord(b)[2])]).collect()
    });
    let strokes = vec![
        Note::plain(Beats::whole(4), Beats::new(1, 2), 67),
        Note::plain(Beats::whole(20), Beats::new(1, 2), 67),
    ];
    let score = score(vec![
        ("Clarinet in C", melody(0)),
        ("Violin 2", offbeats),
        ("Violoncello", plucked),
        ("Trumpet in C", strokes),
        ("Horn in F", Vec::new()),
    ]);
    assert_eq!(roles(&score), [Role::Tune, Role::Figure, Role::Bass, Role::Punctuation, Role::Silence]);
}

#[test]
fn a_pedal_is_held_and_drums_have_no_tune() {
    let pedal = each_bar(|_| vec![(0, 8, 67)]);
    let mut drum = each_bar(|_| vec![(0, 1, 60), (4, 1, 60)]);
    for note in &mut drum {
        note.kind = ripieno_music::NoteKind::Unpitched { stroke: "bass-drum".into() };
    }
    let score = score(vec![
        ("Violin 1", melody(12)),
        ("Horn in F", pedal),
        ("Violoncello", bass()),
        ("Bass Drum", drum),
    ]);
    let found = roles(&score);
    assert_eq!(found[..3], [Role::Tune, Role::Held, Role::Bass]);
    assert!(matches!(found[3], Role::Figure | Role::Punctuation), "{found:?}");
    for span in read(&score).tune {
        assert_eq!(span.track, 0);
    }
}

#[test]
fn a_second_melody_is_one() {
    let counter = each_bar(|b| {
        let steps: [&[(i64, i64, i16)]; 4] = [
            &[(1, 2, 64), (3, 4, 65), (7, 1, 67)],
            &[(1, 3, 69), (5, 3, 67)],
            &[(1, 1, 65), (2, 3, 67), (5, 2, 69)],
            &[(1, 4, 67), (5, 1, 65), (6, 2, 64)],
        ];
        steps[(b % 4) as usize].to_vec()
    });
    let score = score(vec![
        ("Violin 1", melody(7)),
        ("Horn in F", counter.into_iter().map(|n| n.moved(-5)).collect()),
        ("Viola", held(1, 0)),
        ("Contrabass", bass()),
    ]);
    assert_eq!(roles(&score), [Role::Tune, Role::Counter, Role::Held, Role::Bass]);
}

#[test]
fn a_tune_below_is_found() {
    // The cellos sing under held violins.
    let score = score(vec![
        ("Violin 1", held(2, 24)),
        ("Violin 2", held(1, 24)),
        ("Violoncello", melody(-14)),
        ("Contrabass", held(0, -12)),
    ]);
    assert_eq!(roles(&score), [Role::Held, Role::Held, Role::Tune, Role::Bass]);
}

#[test]
fn strange_scores_are_read_without_a_fault() {
    let empty = score(Vec::new());
    assert_eq!(read(&empty).tune, []);
    let silent = score(vec![("Flute", Vec::new()), ("", Vec::new())]);
    let reading = read(&silent);
    assert!(reading.tune.is_empty());
    assert_eq!(reading.passages[0].roles.len(), 2);
    // Notes before the first bar, after the last, and out of any range.
    let wild = score(vec![(
        "Flute",
        vec![
            Note::plain(Beats::whole(-40), Beats::whole(2), -300),
            Note::plain(Beats::whole(3), Beats::whole(4000), 300),
            Note::plain(Beats::whole(9000), Beats::new(1, 999_983), 60),
        ],
    )]);
    assert_eq!(read(&wild).passages.iter().map(|p| p.to_bar).max(), Some(BARS as i32));
    let mut bare = score(vec![("Flute", melody(0))]);
    bare.timeline.bars.clear();
    assert!(read(&bare).passages.is_empty());
}
