//! Random parts are written and read again by another reader of the project: every pitch, onset and duration comes back.

// A test that cannot go on fails.
#![allow(clippy::unwrap_used)]

use proptest::prelude::*;
use ripieno_formats::musicxml;
use ripieno_instruments::{Instrument, by_id};
use ripieno_music::{Content, DirectionKind, Grace, Key, Mark, Metre, Note, Part, Pitch, Playing, Timeline};
use ripieno_notation::{Piece, Pitched, Player, part, score};
use ripieno_units::Beats;

type Heard = (Beats, Beats, i16, i16);

fn heard(notes: &[Note]) -> Vec<Heard> {
    let mut all: Vec<Heard> =
        notes.iter().filter_map(|n| n.pitch().map(|p| (n.at, n.length, p.key, p.cents))).collect();
    all.sort_unstable();
    all
}

fn piece<'a>(
    timeline: &'a Timeline,
    parts: &'a [Part],
    on: &[&'static Instrument],
    pitched: Pitched,
) -> Piece<'a> {
    let players = parts
        .iter()
        .zip(on)
        .map(|(part, instrument)| Player {
            part,
            instrument,
            name: instrument.name().into(),
            short: "x".into(),
            words: Vec::new(),
        })
        .collect();
    Piece {
        title: "A <piece> & more".into(),
        composer: None,
        date: None,
        about: String::new(),
        timeline,
        marks: Vec::new(),
        players,
        pitched,
    }
}

const METRES: [(u16, u16); 8] = [(4, 4), (3, 4), (6, 8), (2, 2), (5, 4), (7, 8), (12, 8), (3, 8)];
const IDS: [&str; 8] =
    ["flute", "clarinet", "horn", "double-bass", "harp", "contrabass-clarinet", "guitar", "clarinet-eb"];

fn music() -> impl Strategy<Value = Vec<(i64, i64, i64, i16, u16)>> {
    let lengths = prop_oneof![
        6 => (1i64..9, prop::sample::select(vec![1i64, 2, 4, 8])),
        3 => (1i64..7, prop::sample::select(vec![3i64, 6, 5, 7, 12])),
        1 => (1i64..300, prop::sample::select(vec![480i64, 211, 9, 15, 64, 128])),
    ];
    prop::collection::vec((lengths, 0i64..3, 30i16..100, 1u16..3), 1..40)
        .prop_map(|v| v.into_iter().map(|((n, d), gap, key, voice)| (n, d, gap, key, voice)).collect())
}

fn content(music: &[(i64, i64, i64, i16, u16)], overlapping: bool) -> Content {
    let mut content = Content::default();
    let mut at = Beats::ZERO;
    for (num, den, gap, key, voice) in music {
        let length = Beats::new(*num, *den);
        content.notes.push(Note { voice: *voice, ..Note::plain(at, length, *key) });
        if !(overlapping && gap % 2 == 1) {
            at += length;
            at += Beats::new(*gap, *den);
        }
    }
    content.sort();
    // One key cannot sound twice at once: a tie would not know which it belongs to.
    let mut kept: Vec<Note> = Vec::new();
    for note in content.notes {
        if !kept.iter().any(|k| k.kind == note.kind && k.at < note.end() && note.at < k.end()) {
            kept.push(note);
        }
    }
    Content { notes: kept, ..Content::default() }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]
    #[test]
    fn every_note_comes_back(
        one in music(), two in music(), metre in 0usize..8, fifths in -7i8..8, which in 0usize..8, overlapping: bool
    ) {
        let metre = Metre { beats: METRES[metre].0, unit: METRES[metre].1 };
        let mut timeline = Timeline::regular(4, metre, 97.0);
        timeline.keys.push(Key { at: Beats::ZERO, fifths, minor: fifths % 2 == 0 });
        let parts = [one, two].map(|m| Part { chair: "x".into(), content: content(&m, overlapping), cells: Vec::new() });
        let on = [by_id(IDS[which]).unwrap(), by_id("clarinet-a").unwrap()];
        for pitched in [Pitched::Concert, Pitched::Transposed] {
            let piece = piece(&timeline, &parts, &on, pitched);
            let text = score(&piece);
            let read = musicxml::read(text.as_bytes()).unwrap();
            for (track, part) in read.tracks.iter().zip(&parts) {
                prop_assert_eq!(heard(&track.content.notes), heard(&part.content.notes));
            }
            prop_assert_eq!(read.timeline.tempi[0].micros, timeline.tempi[0].micros);
            prop_assert_eq!(&score(&piece), &text);
        }
        let piece = piece(&timeline, &parts, &on, Pitched::Concert);
        for (i, whole) in parts.iter().enumerate() {
            let read = musicxml::read(part(&piece, i).unwrap().as_bytes()).unwrap();
            prop_assert_eq!(heard(&read.tracks[0].content.notes), heard(&whole.content.notes));
        }
    }
}

/// Every instrument of the table: its part is read back as it sounds, by the transposition that stands in it.
#[test]
fn every_instrument_sounds_where_it_should() {
    let timeline = Timeline::regular(4, Metre { beats: 4, unit: 4 }, 120.0);
    for instrument in ripieno_instruments::table().iter().filter(|i| !i.unpitched) {
        let notes =
            (48..52).map(|k| Note::plain(Beats::whole(i64::from(k) - 48), Beats::whole(1), k)).collect();
        let parts = [Part { content: Content { notes, ..Content::default() }, ..Part::default() }];
        let piece = piece(&timeline, &parts, &[instrument], Pitched::Transposed);
        let text = part(&piece, 0).unwrap();
        let read = musicxml::read(text.as_bytes()).unwrap();
        assert_eq!(heard(&read.tracks[0].content.notes), heard(&parts[0].content.notes), "{}", instrument.id);
        // A clef with an 8 transposes by itself; all else says so.
        let said = read.tracks[0].transpositions.first().map_or(0, |t| t.1.semitones);
        let by_clef = text.contains("<clef-octave-change>-1</clef-octave-change>");
        assert!(
            said == instrument.transposition || (by_clef && instrument.transposition == -12),
            "{}",
            instrument.id
        );
        assert!(part(&piece, 1).is_none());
    }
}

/// Eight chords in crotchets, of which some ring: how often the sign and the words stand, and what is read back.
fn ringing(rings: impl Fn(i64) -> bool) -> (usize, usize, usize, Vec<bool>) {
    let timeline = Timeline::regular(2, Metre { beats: 4, unit: 4 }, 90.0);
    let mut content = Content::default();
    for i in 0..8 {
        for key in [60, 64] {
            let mut note = Note::plain(Beats::whole(i), Beats::whole(1), key);
            if rings(i) {
                note.marks.add(Mark::LetRing);
            }
            content.notes.push(note);
        }
    }
    content.sort();
    let parts = [Part { content, ..Part::default() }];
    let text = part(&piece(&timeline, &parts, &[by_id("harp").unwrap()], Pitched::Concert), 0).unwrap();
    let read = musicxml::read(text.as_bytes()).unwrap();
    let content = &read.tracks[0].content;
    // Rings by its own sign or by the last word before it.
    let rung = |note: &Note| {
        let word = content.directions.iter().rev().find_map(|d| match &d.kind {
            DirectionKind::Playing(p @ (Playing::LetRing | Playing::Damp)) if d.at <= note.at => {
                Some(*p == Playing::LetRing)
            }
            _ => None,
        });
        note.marks.has(Mark::LetRing) || word == Some(true)
    };
    let signs = text.matches("let-ring").count();
    (
        signs,
        text.matches(">l.v. sempre<").count(),
        text.matches(">non l.v.<").count(),
        content.notes.iter().map(rung).collect(),
    )
}

#[test]
fn what_rings_on_and_on_is_said_once() {
    let all = |rings: fn(i64) -> bool| (0..8).flat_map(|i| [rings(i); 2]).collect::<Vec<_>>();
    for (rings, signs, word, end) in [
        ((|_| true) as fn(i64) -> bool, 0, 1, 0),
        (|i| i < 5, 0, 1, 1),
        (|i| i % 2 == 0, 8, 0, 0),
        (|i| !(2..7).contains(&i), 6, 0, 0),
        (|_| false, 0, 0, 0),
    ] {
        assert_eq!(ringing(rings), (signs, word, end, all(rings)));
    }
}

fn graces(values: impl IntoIterator<Item = Beats>) -> String {
    let timeline = Timeline::regular(1, Metre { beats: 4, unit: 4 }, 100.0);
    let grace = |value| Grace {
        pitch: Pitch { key: 72, cents: 0 },
        written: None,
        slashed: false,
        value,
        slurred: false,
    };
    let mut note = Note::plain(Beats::ZERO, Beats::whole(4), 60);
    note.graces = values.into_iter().map(grace).collect();
    let mut content = Content::default();
    content.notes.push(note);
    let parts = [Part { content, ..Part::default() }];
    part(&piece(&timeline, &parts, &[by_id("flute").unwrap()], Pitched::Concert), 0).unwrap()
}

#[test]
fn grace_notes_of_one_value_are_beamed() {
    let beams = |values: &[i64]| {
        let text = graces(values.iter().map(|v| Beats::new(1, *v)));
        ["begin", "continue", "end"].map(|b| text.matches(&format!(">{b}</beam>")).count())
    };
    assert_eq!(beams(&[4, 4, 4, 4]), [2, 4, 2]);
    assert_eq!(beams(&[2, 2]), [1, 0, 1]);
    assert_eq!(beams(&[2, 4, 4]), [0, 0, 0]);
    assert_eq!(beams(&[4]), [0, 0, 0]);
}

#[test]
fn many_grace_notes_take_a_moment() {
    let start = std::time::Instant::now();
    let text = graces(vec![Beats::new(1, 4); 100_000]);
    let seconds = start.elapsed().as_secs_f64();
    assert_eq!(text.matches("<grace ").count(), 100_000);
    assert!(seconds < 10.0, "{seconds} s");
}
