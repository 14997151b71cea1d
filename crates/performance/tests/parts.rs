//! Whole parts performed: what is heard of slurs, dots, words, rolls, swells, breaths and text.

use ripieno_instruments::{Instrument, by_id};
use ripieno_music::{
    ChairPerformance, Content, Direction, DirectionKind, Dynamic, Grace, Mark, Metre, Note, NoteKind,
    Ornament, OrnamentKind, Part, Pitch, Playing, Syllable, SyllablePlace, Timeline, Tremolo,
};
use ripieno_performance::{Options, Performer, perform};
use ripieno_units::{Beats, Seconds};

fn instrument(id: &str) -> &'static Instrument {
    by_id(id).unwrap_or_else(|| panic!("{id} is in the table"))
}

fn part(chair: &str, notes: Vec<Note>, directions: Vec<Direction>) -> Part {
    let mut content = Content { notes, directions, controls: Vec::new() };
    content.sort();
    Part { chair: chair.into(), content, cells: Vec::new() }
}

fn word(at: i64, playing: Playing) -> Direction {
    Direction { at: Beats::whole(at), staff: None, voice: None, kind: DirectionKind::Playing(playing) }
}

/// One quarter is one second.
fn timeline() -> Timeline {
    Timeline::regular(16, Metre { beats: 4, unit: 4 }, 60.0)
}

fn exact() -> Options {
    Options { asynchrony: 0.0, intonation: 0.0, ..Options::default() }
}

fn one(part: &Part, id: &str, players: u16, options: &Options) -> ChairPerformance {
    let performer = Performer { part, instrument: instrument(id), players };
    let performed = perform(&timeline(), &[performer], &[("A".into(), Beats::ZERO)], options);
    let chair = performed.performance.chairs.first().expect("the chair plays");
    ChairPerformance::clone(chair)
}

fn quarter(at: i64, key: i16) -> Note {
    Note::plain(Beats::whole(at), Beats::whole(1), key)
}

fn names(chair: &ChairPerformance) -> Vec<&str> {
    chair.gestures.iter().map(|g| g.articulation.as_str()).collect()
}

#[test]
fn a_slur_is_connected_and_a_dot_is_short() {
    let mut notes: Vec<Note> = (0..4).map(|i| quarter(i, 70 + i as i16)).collect();
    for (i, note) in notes.iter_mut().enumerate().take(3) {
        note.slurred = i > 0;
        note.slurs_on = i < 2;
    }
    notes[3].marks.add(Mark::Staccato);
    let chair = one(&part("violins-1", notes, vec![]), "violin", 16, &exact());
    assert_eq!(names(&chair), ["legato", "legato", "legato", "staccato"]);
    let joined: Vec<bool> = chair.gestures.iter().map(|g| g.joined).collect();
    assert_eq!(joined, [false, true, true, false]);
    assert_eq!(chair.gestures[0].end, chair.gestures[1].onset);
    // Staccato sounds 40 % of its interval (Bresin and Battel 2000).
    assert!((chair.gestures[3].end.0 - 3.4).abs() < 1e-9);
}

#[test]
fn words_change_the_playing() {
    let notes = (0..8).map(|i| quarter(i, 60)).collect();
    let directions = vec![
        word(0, Playing::ConSord),
        word(2, Playing::Pizz),
        word(4, Playing::Arco),
        word(4, Playing::SenzaSord),
        word(6, Playing::Trem(true)),
    ];
    let chair = one(&part("violas", notes, directions), "viola", 12, &exact());
    let colours: Vec<Option<&str>> = chair.gestures.iter().map(|g| g.colour.map(|c| c.word())).collect();
    assert_eq!(colours[0], Some("con-sord"));
    assert_eq!(names(&chair)[2..4], ["pizzicato", "pizzicato"]);
    assert_eq!(colours[5], None);
    assert_eq!(names(&chair)[6..8], ["tremolo", "tremolo"]);
    let strokes = chair.gestures[6].realisation.as_ref().expect("a tremolo is realised").strokes.len();
    assert!((8..=16).contains(&strokes), "{strokes} strokes in a second");
}

#[test]
fn counted_tremolo_is_notes_and_quick_tremolo_is_one_gesture() {
    let mut counted = quarter(0, 50);
    counted.tremolo = Some(Tremolo { strokes: 1, with: None });
    let mut quick = quarter(1, 50);
    quick.tremolo = Some(Tremolo { strokes: 3, with: Some(Pitch::of_key(57)) });
    let chair = one(&part("cellos", vec![counted, quick], vec![]), "cello", 10, &exact());
    assert_eq!(names(&chair), ["detache", "detache", "tremolo"]);
    assert!((chair.gestures[1].onset.0 - 0.5).abs() < 1e-9);
    let keys: Vec<u8> =
        chair.gestures[2].realisation.as_ref().unwrap().strokes.iter().map(|s| s.key).collect();
    assert_eq!(keys[..4], [50, 57, 50, 57]);
}

#[test]
fn a_timpani_roll_becomes_strokes() {
    let notes = (0..4).map(|i| quarter(i, 45)).collect();
    let directions = vec![word(0, Playing::Roll), word(2, Playing::Strokes)];
    let chair = one(&part("timpani", notes, directions), "timpani", 1, &exact());
    assert_eq!(names(&chair), ["roll", "roll", "sustain", "sustain"]);
    let roll = chair.gestures[1].realisation.as_ref().unwrap();
    let last = roll.strokes.last().unwrap();
    assert!(last.onset.0 < 2.0 && last.onset.0 > 1.8, "the stroke after the last is the downbeat");
}

#[test]
fn a_swell_peaks_on_its_barline() {
    let mut note = Note::plain(Beats::whole(2), Beats::new(5, 2), 60);
    note.kind = NoteKind::Unpitched { stroke: "suspended-cymbal".into() };
    let directions = vec![
        Direction { at: Beats::ZERO, staff: None, voice: None, kind: DirectionKind::Dynamic(Dynamic::F) },
        word(0, Playing::Swell),
    ];
    let chair = one(&part("cymbal", vec![note], directions), "suspended-cymbal", 1, &Options::default());
    assert_eq!(names(&chair), ["swell"]);
    assert_eq!(chair.gestures[0].end, Seconds(8.0), "the barline after its end");
    let peak = chair.level.at(Seconds(8.0));
    for k in 0..600 {
        assert!(chair.level.at(Seconds(2.0 + 0.01 * f64::from(k))) <= peak + 1e-9);
    }
}

#[test]
fn a_lone_player_breathes_and_a_section_does_not() {
    let notes = || {
        (0..16)
            .map(|i| Note::plain(Beats::whole(2 * i), Beats::whole(2), 72))
            .map(|mut n| {
                n.marks.add(Mark::Tenuto);
                n
            })
            .collect::<Vec<_>>()
    };
    let gaps = |players: u16| {
        let chair = one(&part("flute", notes(), vec![]), "flute", players, &exact());
        chair.gestures.windows(2).filter(|w| w[1].onset.0 - w[0].end.0 > 0.2).count()
    };
    assert!(gaps(1) >= 2, "32 s of held notes in one breath");
    assert_eq!(gaps(3), 0, "three players breathe in turn");
}

#[test]
fn text_falls_with_its_vowel_on_the_beat() {
    let sung = |at: i64, text: &str, extends: bool| {
        let mut note = quarter(at, 67);
        note.syllable = Some(Syllable { text: text.into(), place: SyllablePlace::Single, extends, verse: 1 });
        note
    };
    let mut notes = vec![sung(0, "sta", false), sung(1, "bat", true), quarter(2, 69), sung(3, "ma", false)];
    notes[2].slurred = false;
    let chair = one(&part("women", notes, vec![]), "women", 16, &exact());
    let first = chair.gestures[0].sung.as_ref().unwrap();
    // "sta" at 60: s 110 ms and t 70 ms before the beat.
    assert!((first.consonant.0 + 0.180).abs() < 1e-9);
    assert_eq!(chair.gestures[0].onset, Seconds(0.0));
    assert!(chair.gestures[2].joined, "a melisma is carried on");
    assert!(!chair.gestures[3].joined);
}

#[test]
fn ornaments_and_graces_take_their_time_from_the_note_before() {
    let mut main = quarter(1, 72);
    main.graces = vec![Grace {
        pitch: Pitch::of_key(74),
        written: None,
        slashed: true,
        value: Beats::new(1, 2),
        slurred: true,
    }];
    let mut trilled = quarter(2, 72);
    trilled.ornament =
        Some(Ornament { kind: OrnamentKind::Trill, above: Some(Pitch::of_key(73)), below: None });
    let chair = one(&part("oboe", vec![quarter(0, 71), main, trilled], vec![]), "oboe", 1, &exact());
    let keys: Vec<u8> = chair.gestures.iter().map(|g| g.key).collect();
    assert_eq!(keys, [71, 74, 72, 72]);
    assert!(chair.gestures[1].onset.0 < 1.0 && chair.gestures[2].onset == Seconds(1.0));
    assert!(chair.gestures[0].end.0 <= chair.gestures[1].onset.0);
    assert_eq!(chair.gestures[3].articulation, "trill-1");
}

#[test]
fn one_pitch_sounds_once() {
    // Two voices of one staff meet on a unison: struck once, as long as the longer; then again while it sounds.
    let mut notes = vec![quarter(0, 60), Note::plain(Beats::ZERO, Beats::whole(3), 60), quarter(2, 60)];
    notes[1].voice = 2;
    let chair = one(&part("harp", notes, vec![]), "harp", 1, &exact());
    assert_eq!(chair.gestures.len(), 2);
    assert!(chair.gestures[0].end <= chair.gestures[1].onset);
}

#[test]
fn another_chair_changes_nothing() {
    let notes = || (0..20).map(|i| quarter(i, 60 + (i % 5) as i16)).collect::<Vec<_>>();
    let (violas, cellos) = (part("violas", notes(), vec![]), part("cellos", notes(), vec![]));
    let performers = [
        Performer { part: &violas, instrument: instrument("viola"), players: 12 },
        Performer { part: &cellos, instrument: instrument("cello"), players: 10 },
    ];
    let passages = [("A".to_string(), Beats::ZERO), ("B".to_string(), Beats::whole(8))];
    let both = perform(&timeline(), &performers, &passages, &Options::default());
    let alone = perform(&timeline(), &performers[1..], &passages, &Options::default());
    assert_eq!(both.performance.chairs[1], alone.performance.chairs[0]);
    let other = perform(&timeline(), &performers, &passages, &Options { seed: 2, ..Options::default() });
    assert_ne!(both.performance, other.performance, "another seed, another evening");
}

#[test]
fn unmarked_midi_is_inferred_and_says_when_there_is_no_evidence() {
    let notes: Vec<Note> = (0..16)
        .map(|i| {
            let mut note = quarter(i, 60 + (i % 7) as i16);
            note.velocity = Some(60 + (i % 3) as u8 * 10);
            note
        })
        .collect();
    let line = part("clarinet", notes, vec![]);
    let performer = Performer { part: &line, instrument: instrument("clarinet"), players: 1 };
    let performed = perform(&timeline(), &[performer], &[], &exact());
    assert!(performed.remarks.iter().any(|r| r.contains("nothing tells")), "{:?}", performed.remarks);
    let chair = &performed.performance.chairs[0];
    assert!(names(chair).iter().all(|n| *n == "legato"));
    assert!(chair.level.at(Seconds(0.5)) != chair.level.at(Seconds(1.5)), "velocities are dynamics");
}

#[test]
fn quick_repeats_in_midi_are_one_tremolo_of_the_very_notes() {
    let notes: Vec<Note> = (0..16)
        .map(|i| {
            let mut note = Note::plain(Beats::new(i, 11), Beats::new(1, 11), 60);
            note.velocity = Some(70);
            note
        })
        .collect();
    let chair = one(&part("violas", notes, vec![]), "viola", 12, &exact());
    assert_eq!(names(&chair)[0], "tremolo");
    let written: usize =
        chair.gestures.iter().map(|g| g.realisation.as_ref().map_or(1, |r| r.strokes.len())).sum();
    assert_eq!(written, 16, "as many strokes as there were notes");
    assert!(chair.gestures.len() <= 2);
}
