//! MIDI files out and in, against the crate `midly` and against bytes written by hand after the Standard MIDI Files 1.0
//! specification.

#![allow(clippy::unwrap_used)] // helpers of tests

use midly::{MetaMessage, MidiMessage, Smf, Timing, TrackEventKind};
use proptest::prelude::*;
use ripieno_formats::FormatError;
use ripieno_formats::midi::{MidiEvent, MidiFile, MidiTrack, read, write};
use ripieno_music::{
    Control, ControlKind, DirectionKind, Metre, NoteKind, Score, SyllablePlace, TimeMarkKind,
};
use ripieno_units::Beats;

// ---- out, and in with midly ---------------------------------------------------------------------------------------------

fn any_event() -> impl Strategy<Value = MidiEvent> {
    let (ch, data) = (0u8..16, 0u8..128);
    let text = "[ -~äöüßéèñ‿]{0,12}";
    prop_oneof![
        (ch.clone(), data.clone(), 1u8..128).prop_map(|(channel, key, velocity)| MidiEvent::NoteOn {
            channel,
            key,
            velocity
        }),
        (ch.clone(), data.clone(), data.clone()).prop_map(|(channel, key, velocity)| MidiEvent::NoteOff {
            channel,
            key,
            velocity
        }),
        (ch.clone(), data.clone(), data.clone()).prop_map(|(channel, number, value)| MidiEvent::Controller {
            channel,
            number,
            value
        }),
        (ch.clone(), data).prop_map(|(channel, program)| MidiEvent::Program { channel, program }),
        (ch, -8192i16..8192).prop_map(|(channel, value)| MidiEvent::Bend { channel, value }),
        (1u32..1 << 24).prop_map(MidiEvent::Tempo),
        (1u8..=255, 0u8..7).prop_map(|(beats, unit_power)| MidiEvent::Metre { beats, unit_power }),
        (-7i8..=7, any::<bool>()).prop_map(|(fifths, minor)| MidiEvent::Key { fifths, minor }),
        text.prop_map(MidiEvent::Marker),
        text.prop_map(MidiEvent::Lyric),
        text.prop_map(MidiEvent::Text),
    ]
}

fn any_file() -> impl Strategy<Value = MidiFile> {
    let steps = prop_oneof![Just(0u64), 0u64..300, 0u64..1 << 28];
    let events = prop::collection::vec((steps, any_event()), 0..40).prop_map(|list| {
        let mut now = 0;
        list.into_iter()
            .map(|(step, event)| {
                now += step;
                (now, event)
            })
            .collect::<Vec<_>>()
    });
    let track = ("[ -~äöü]{0,10}", prop::option::of("[a-z]{0,6}"), events)
        .prop_map(|(name, port, events)| MidiTrack { name, port, events });
    (1u16..0x8000, prop::collection::vec(track, 0..5))
        .prop_map(|(ticks_per_quarter, tracks)| MidiFile { ticks_per_quarter, tracks })
}

/// What midly finds, as the type that was written.
fn by_midly(bytes: &[u8]) -> MidiFile {
    let smf = Smf::parse(bytes).unwrap();
    assert_eq!(smf.header.format, midly::Format::Parallel);
    let Timing::Metrical(per_quarter) = smf.header.timing else { panic!("no ticks a quarter") };
    let utf8 = |b: &[u8]| String::from_utf8(b.to_vec()).unwrap();
    let mut file = MidiFile { ticks_per_quarter: per_quarter.as_int(), tracks: Vec::new() };
    for events in &smf.tracks {
        let mut track = MidiTrack::default();
        let (mut now, mut ended) = (0u64, false);
        for event in events {
            assert!(!ended, "an event after the end of the track");
            now += u64::from(event.delta.as_int());
            let one = match event.kind {
                TrackEventKind::Midi { channel, message } => {
                    let channel = channel.as_int();
                    match message {
                        MidiMessage::NoteOn { key, vel } => {
                            MidiEvent::NoteOn { channel, key: key.as_int(), velocity: vel.as_int() }
                        }
                        MidiMessage::NoteOff { key, vel } => {
                            MidiEvent::NoteOff { channel, key: key.as_int(), velocity: vel.as_int() }
                        }
                        MidiMessage::Controller { controller, value } => MidiEvent::Controller {
                            channel,
                            number: controller.as_int(),
                            value: value.as_int(),
                        },
                        MidiMessage::ProgramChange { program } => {
                            MidiEvent::Program { channel, program: program.as_int() }
                        }
                        MidiMessage::PitchBend { bend } => MidiEvent::Bend { channel, value: bend.as_int() },
                        other => panic!("{other:?}"),
                    }
                }
                TrackEventKind::Meta(meta) => match meta {
                    MetaMessage::TrackName(name) => {
                        track.name = utf8(name);
                        continue;
                    }
                    MetaMessage::DeviceName(name) => {
                        track.port = Some(utf8(name));
                        continue;
                    }
                    MetaMessage::EndOfTrack => {
                        ended = true;
                        continue;
                    }
                    MetaMessage::Tempo(micros) => MidiEvent::Tempo(micros.as_int()),
                    MetaMessage::TimeSignature(beats, unit_power, _, _) => {
                        MidiEvent::Metre { beats, unit_power }
                    }
                    MetaMessage::KeySignature(fifths, minor) => MidiEvent::Key { fifths, minor },
                    MetaMessage::Marker(text) => MidiEvent::Marker(utf8(text)),
                    MetaMessage::Lyric(text) => MidiEvent::Lyric(utf8(text)),
                    MetaMessage::Text(text) => MidiEvent::Text(utf8(text)),
                    other => panic!("{other:?}"),
                },
                other => panic!("{other:?}"),
            };
            track.events.push((now, one));
        }
        assert!(ended, "no end of track");
        file.tracks.push(track);
    }
    file
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn written_is_what_midly_reads(file in any_file()) {
        prop_assert_eq!(by_midly(&write(&file)), file);
    }

    /// Every note that is written comes back with its exact place, whatever else stands around it.
    #[test]
    fn written_notes_are_read(
        notes in prop::collection::vec((0u64..5000, 1u64..900, 0u8..128, 1u8..128, 0u8..16), 1..60),
        ticks_per_quarter in 1u16..0x8000,
    ) {
        let mut events = Vec::new();
        let mut expected = Vec::new();
        // One key and channel at a time, so that no rule has to settle anything.
        let mut free = std::collections::BTreeMap::new();
        for (gap, length, key, velocity, channel) in notes {
            let channel = if channel == 9 { 8 } else { channel };
            let from = free.get(&(channel, key)).copied().unwrap_or(0) + gap;
            free.insert((channel, key), from + length);
            events.push((from, 1, MidiEvent::NoteOn { channel, key, velocity }));
            events.push((from + length, 0, MidiEvent::NoteOff { channel, key, velocity: 64 }));
            let at = |t: u64| Beats::new(t as i64, ticks_per_quarter.into());
            expected.push((channel, at(from), at(from + length), i16::from(key), Some(velocity)));
        }
        events.sort_by_key(|(tick, order, _)| (*tick, *order));
        let events = events.into_iter().map(|(tick, _, e)| (tick, e)).collect();
        let track = MidiTrack { name: "x".into(), port: None, events };
        let bytes = write(&MidiFile { ticks_per_quarter, tracks: vec![track] });
        let score = match read(&bytes) {
            Err(FormatError::TooLarge { .. }) => return Ok(()),
            other => other.unwrap(),
        };
        prop_assert_eq!(&score.warnings, &[]);
        let single = score.tracks.len() == 1;
        let mut found = Vec::new();
        for track in &score.tracks {
            for n in &track.content.notes {
                let channel = match track.id.strip_prefix("1-") {
                    Some(channel) => channel.parse::<u8>().unwrap() - 1,
                    None => expected[0].0,
                };
                prop_assert!(single || track.id.starts_with("1-"));
                found.push((channel, n.at, n.end(), n.pitch().unwrap().key, n.velocity));
            }
        }
        expected.sort();
        found.sort();
        prop_assert_eq!(found, expected);
    }
}

#[test]
fn steps_too_long_for_the_format_are_made_in_several() {
    let far = (1u64 << 28) * 3 + 5;
    let events = vec![(far, MidiEvent::Marker("far".into()))];
    let file =
        MidiFile { ticks_per_quarter: 960, tracks: vec![MidiTrack { events, ..MidiTrack::default() }] };
    let found = by_midly(&write(&file));
    assert_eq!(found.tracks[0].events.last(), Some(&(far, MidiEvent::Marker("far".into()))));
    let wild = MidiFile {
        ticks_per_quarter: 0,
        tracks: vec![MidiTrack {
            events: vec![
                (9, MidiEvent::Bend { channel: 99, value: i16::MIN }),
                (3, MidiEvent::Metre { beats: 0, unit_power: 200 }),
                (u64::MAX, MidiEvent::Tempo(u32::MAX)),
                (4, MidiEvent::Key { fifths: 100, minor: true }),
            ],
            ..MidiTrack::default()
        }],
    };
    assert_eq!(
        by_midly(&write(&wild)).tracks[0].events[0],
        (9, MidiEvent::Bend { channel: 15, value: -8192 })
    );
}

// ---- in, from bytes by hand ---------------------------------------------------------------------------------------------

fn smf(format: u16, division: u16, tracks: &[&[u8]]) -> Vec<u8> {
    let mut out = b"MThd\0\0\0\x06".to_vec();
    for word in [format, tracks.len() as u16, division] {
        out.extend(word.to_be_bytes());
    }
    for body in tracks {
        out.extend(b"MTrk");
        out.extend(((body.len() + 4) as u32).to_be_bytes());
        out.extend(*body);
        out.extend([0, 0xFF, 0x2F, 0]);
    }
    out
}

fn b(n: i64, d: i64) -> Beats {
    Beats::new(n, d)
}

/// Onset, end and key of every note of the first track.
fn notes(score: &Score) -> Vec<(Beats, Beats, i16)> {
    score.tracks[0].content.notes.iter().map(|n| (n.at, n.end(), n.pitch().unwrap().key)).collect()
}

fn warned(score: &Score, words: &str) -> bool {
    score.warnings.iter().any(|w| w.message.contains(words))
}

/// The worked example of format 0 in the appendix of the specification (from memory): 96 ticks a quarter, 4/4, 120 a minute,
/// programs 5, 46 and 70, running status.
#[test]
fn the_example_of_the_specification() {
    let body = [
        0x00, 0xFF, 0x58, 0x04, 0x04, 0x02, 0x18, 0x08, 0x00, 0xFF, 0x51, 0x03, 0x07, 0xA1, 0x20, 0x00, 0xC0,
        0x05, 0x00, 0xC1, 0x2E, 0x00, 0xC2, 0x46, 0x00, 0x92, 0x30, 0x60, 0x00, 0x3C, 0x60, 0x60, 0x91, 0x43,
        0x40, 0x60, 0x90, 0x4C, 0x20, 0x81, 0x40, 0x82, 0x30, 0x40, 0x00, 0x3C, 0x40, 0x00, 0x81, 0x43, 0x40,
        0x00, 0x80, 0x4C, 0x40,
    ];
    let score = read(&smf(0, 96, &[&body])).unwrap();
    assert_eq!(score.warnings, []);
    let found: Vec<_> = score
        .tracks
        .iter()
        .map(|t| {
            let notes: Vec<_> = t
                .content
                .notes
                .iter()
                .map(|n| (n.at, n.end(), n.pitch().unwrap().key, n.velocity.unwrap()))
                .collect();
            (t.id.as_str(), t.program, notes)
        })
        .collect();
    let q = Beats::whole;
    assert_eq!(
        found,
        [
            ("1-1", Some(5), vec![(q(2), q(4), 0x4C, 0x20)]),
            ("1-2", Some(46), vec![(q(1), q(4), 0x43, 0x40)]),
            ("1-3", Some(70), vec![(q(0), q(4), 0x30, 0x60), (q(0), q(4), 0x3C, 0x60)]),
        ]
    );
    assert_eq!(score.timeline.bars.len(), 1);
    assert_eq!(score.timeline.tempi[0].micros, 500_000);
}

#[test]
fn a_key_struck_again_ends_the_note_before() {
    // On at 0, on at 10, off at 20, off at 30: the later note keeps its own end.
    let body = [0, 0x90, 60, 90, 10, 60, 80, 10, 60, 0, 10, 60, 0];
    let score = read(&smf(1, 10, &[&body])).unwrap();
    assert_eq!(notes(&score), [(b(0, 1), b(1, 1), 60), (b(1, 1), b(3, 1), 60)]);
    assert!(warned(&score, "struck again") && !warned(&score, "note-off has no note"));
    // The earlier note has no note-off of its own.
    let body = [0, 0x90, 60, 90, 10, 60, 80, 10, 60, 0, 10, 60, 70, 10, 60, 0, 10, 60, 0];
    let score = read(&smf(1, 10, &[&body])).unwrap();
    assert_eq!(notes(&score), [(b(0, 1), b(1, 1), 60), (b(1, 1), b(2, 1), 60), (b(3, 1), b(4, 1), 60)]);
    assert!(warned(&score, "note-off has no note"));
    // A note-off that stands behind the note-on of its tick is the earlier note's.
    let body = [0, 0x90, 60, 90, 10, 60, 80, 0, 60, 0, 10, 60, 0];
    let score = read(&smf(1, 10, &[&body])).unwrap();
    assert_eq!(notes(&score), [(b(0, 1), b(1, 1), 60), (b(1, 1), b(2, 1), 60)]);
    assert!(!warned(&score, "note-off has no note"));
}

#[test]
fn twins_keep_both_their_notes() {
    let body = [0, 0x90, 60, 90, 0, 60, 80, 10, 60, 0, 10, 60, 0];
    let score = read(&smf(1, 10, &[&body])).unwrap();
    assert_eq!(notes(&score), [(b(0, 1), b(1, 1), 60), (b(0, 1), b(2, 1), 60)]);
    assert_eq!(score.warnings, []);
    // One note-off for both; then the key again.
    let body = [0, 0x90, 60, 90, 0, 60, 80, 10, 60, 0, 10, 60, 70, 10, 60, 0];
    let score = read(&smf(1, 10, &[&body])).unwrap();
    assert_eq!(notes(&score), [(b(0, 1), b(1, 1), 60), (b(0, 1), b(1, 1), 60), (b(2, 1), b(3, 1), 60)]);
    assert!(warned(&score, "twice together"));
}

#[test]
fn notes_hang_to_the_end_and_none_is_without_length() {
    let body = [0, 0x90, 60, 90, 0, 61, 90, 0, 61, 0, 20, 62, 90, 10, 0xB1, 7, 9];
    let score = read(&smf(1, 10, &[&body])).unwrap();
    assert_eq!(notes(&score), [(b(0, 1), b(3, 1), 60), (b(0, 1), b(1, 10), 61), (b(2, 1), b(3, 1), 62)]);
    assert!(warned(&score, "no note-off; it was held") && warned(&score, "no length"));
    let counted = score.warnings.iter().find(|w| w.message.contains("no note-off")).unwrap();
    assert!(counted.message.contains("2 times") && counted.place == "track 1, from bar 1", "{counted:?}");
    // Note-offs sorted ahead of note-ons: the note of the second beat has no length, and the next one has its own end.
    let body = [0, 0x90, 60, 90, 5, 60, 0, 5, 60, 0, 0, 60, 80, 40, 60, 70, 10, 60, 0, 0, 61, 0, 0, 61, 80];
    let score = read(&smf(1, 10, &[&body])).unwrap();
    let found =
        [(b(0, 1), b(1, 2), 60), (b(1, 1), b(11, 10), 60), (b(5, 1), b(6, 1), 60), (b(6, 1), b(61, 10), 61)];
    assert_eq!(notes(&score), found);
    assert_eq!(score.warnings.len(), 1, "{:?}", score.warnings);
    // "All notes off" ends what hangs; at the very end a note still has a tick.
    let body = [0, 0x90, 60, 90, 5, 0xB0, 123, 0, 5, 0x90, 61, 90];
    let score = read(&smf(1, 10, &[&body])).unwrap();
    assert_eq!(notes(&score), [(b(0, 1), b(1, 2), 60), (b(1, 1), b(11, 10), 61)]);
}

#[test]
fn running_status_goes_on_after_a_meta_event_with_a_warning() {
    let body = [0, 0x90, 60, 90, 10, 0xFF, 1, 1, b'x', 0, 60, 0];
    let score = read(&smf(1, 10, &[&body])).unwrap();
    assert_eq!(notes(&score), [(b(0, 1), b(1, 1), 60)]);
    assert!(warned(&score, "running status"));
}

#[test]
fn frames_make_an_exact_clock() {
    // 25 frames of 40 ticks: a millisecond a tick. A second is two quarters.
    let body = [0, 0xFF, 0x51, 3, 1, 2, 3, 0x83, 0x74, 0x90, 60, 90, 0x83, 0x74, 60, 0];
    let score = read(&smf(1, 0xE728, &[&body])).unwrap();
    assert_eq!(notes(&score), [(b(1, 1), b(2, 1), 60)]);
    assert_eq!(score.timeline.seconds(Beats::whole(1)).0, 0.5);
    assert!(warned(&score, "tempo was passed over"));
    // 29 is 30 drop frame: 30000/1001 a second, here two ticks a frame; 500 ticks are 250 * 1001/30000 s.
    let body = [0x83, 0x74, 0x90, 60, 90, 0x83, 0x74, 60, 0];
    let score = read(&smf(1, 0xE302, &[&body])).unwrap();
    assert_eq!(notes(&score)[0].0, b(2 * 250 * 1001, 30_000));
}

#[test]
fn sequences_of_format_2_follow_at_barlines() {
    let metre = |beats, power| vec![0, 0xFF, 0x58, 4, beats, power, 24, 8];
    let tempo = [0, 0xFF, 0x51, 3, 0x0F, 0x42, 0x40];
    let first = [metre(3, 2), tempo.to_vec(), vec![0, 0x90, 60, 90, 40, 60, 0]].concat();
    let second = vec![0, 0x90, 62, 90, 10, 62, 0];
    let score = read(&smf(2, 10, &[&first, &second])).unwrap();
    assert_eq!(score.tracks.len(), 2);
    assert_eq!(score.tracks[1].content.notes[0].at, Beats::whole(6));
    let metres: Vec<_> = score.timeline.bars.iter().map(|x| (x.at, x.metre.beats)).collect();
    assert_eq!(metres, [(b(0, 1), 3), (b(3, 1), 3), (b(6, 1), 4)]);
    assert_eq!(score.timeline.tempi.iter().map(|t| t.micros).collect::<Vec<_>>(), [1_000_000, 500_000]);
    assert!(warned(&score, "format 2"));
}

#[test]
fn the_time_axis_is_that_of_the_file() {
    let conductor = [
        &[0u8, 0xFF, 3, 5][..],
        b"Cue 1",
        &[0, 0xFF, 0x58, 4, 4, 2, 24, 8, 0, 0xFF, 0x59, 2, 0xFD, 1],
        &[60, 0xFF, 0x58, 4, 3, 3, 24, 8, 0, 0xFF, 0x51, 3, 0x0F, 0x42, 0x40],
        &[5, 0xFF, 6, 1, b'A', 0, 0xFF, 7, 1, 0xE4],
    ]
    .concat();
    let part = [&[0u8, 0xFF, 3, 4][..], b"Caf\xE9", &[0, 0x90, 60, 90, 70, 60, 0]].concat();
    let score = read(&smf(1, 10, &[&conductor, &part])).unwrap();
    assert_eq!(score.title.as_deref(), Some("Cue 1"));
    assert_eq!((score.tracks[0].name.as_str(), score.tracks[0].id.as_str()), ("Café", "2"));
    let bars: Vec<_> = score.timeline.bars.iter().map(|x| (x.at, x.length, x.number)).collect();
    assert_eq!(bars, [(b(0, 1), b(4, 1), 1), (b(4, 1), b(2, 1), 2), (b(6, 1), b(3, 2), 3)]);
    assert_eq!(score.timeline.bars[2].metre, Metre { beats: 3, unit: 8 });
    assert!(warned(&score, "cut short by a change of metre"));
    let tempi: Vec<_> = score.timeline.tempi.iter().map(|t| (t.at, t.micros)).collect();
    assert_eq!(tempi, [(b(0, 1), 500_000), (b(6, 1), 1_000_000)]);
    assert_eq!(score.timeline.keys.iter().map(|k| (k.fifths, k.minor)).collect::<Vec<_>>(), [(-3, true)]);
    let marks: Vec<_> = score.timeline.marks.iter().map(|m| (m.at, m.kind, m.text.as_str())).collect();
    assert_eq!(marks, [(b(13, 2), TimeMarkKind::Marker, "A"), (b(13, 2), TimeMarkKind::Cue, "ä")]);
}

/// The bytes C9 BD are a letter in UTF-8 and two in Latin-1: the other texts of the file decide.
#[test]
fn texts_of_a_file_are_of_one_kind() {
    let named =
        |name: &[u8]| [&[0u8, 0xFF, 3, 2, 0xC9, 0xBD, 0, 0xFF, 6, 2], name, &[0, 0x90, 60, 1]].concat();
    assert_eq!(read(&smf(1, 10, &[&named(b"\xC3\xA4")])).unwrap().tracks[0].name, "ɽ");
    assert_eq!(read(&smf(1, 10, &[&named(b"\xE4x")])).unwrap().tracks[0].name, "É½");
}

#[test]
fn percussion_lyrics_and_curves() {
    let body = [
        &[0u8, 0xC0, 52, 0, 0xB0, 1, 40, 0, 0xE0, 0, 0x60, 0, 0xFF, 5, 4][..],
        b"Al- ",
        &[0, 0x90, 60, 90, 0, 0x99, 38, 70, 0, 36, 70, 0, 33, 70, 10, 0x80, 60, 0, 0, 0xFF, 5, 3],
        b"le ",
        &[0, 0x90, 62, 90, 0, 0x89, 38, 0, 0, 36, 0, 0, 33, 0, 10, 0x80, 62, 0, 0, 0xFF, 1, 5],
        b"pizz.",
    ]
    .concat();
    let score = read(&smf(0, 10, &[&body])).unwrap();
    assert_eq!(score.warnings, []);
    let [voice, drums] = &score.tracks[..] else { panic!("{:?}", score.tracks) };
    assert!(drums.percussion && !voice.percussion);
    assert_eq!((drums.id.as_str(), voice.program), ("1-10", Some(52)));
    let strokes: Vec<_> = drums
        .content
        .notes
        .iter()
        .map(|n| match &n.kind {
            NoteKind::Unpitched { stroke } => stroke.as_str(),
            NoteKind::Pitched(_) => panic!("pitched"),
        })
        .collect();
    // Acoustic snare 38, bass drum 36 (General MIDI Level 1 percussion map); 33 has no name in it.
    assert_eq!(strokes, ["snare-drum", "bass-drum", "key-33"]);
    let sung: Vec<_> =
        voice.content.notes.iter().map(|n| n.syllable.as_ref().map(|s| (s.text.as_str(), s.place))).collect();
    assert_eq!(sung, [Some(("Al", SyllablePlace::Begin)), Some(("le", SyllablePlace::End))]);
    assert_eq!(
        voice.content.controls,
        [
            Control { at: Beats::ZERO, kind: ControlKind::Program, value: 52 },
            Control { at: Beats::ZERO, kind: ControlKind::Controller(1), value: 40 },
            Control { at: Beats::ZERO, kind: ControlKind::Bend, value: 4096 },
        ]
    );
    assert_eq!(voice.content.directions[0].kind, DirectionKind::Words("pizz.".into()));
}

#[test]
fn a_damaged_tail_is_read_up_to_the_damage() {
    let whole = smf(1, 10, &[&[0, 0x90, 60, 90, 10, 60, 0], &[0, 0x91, 62, 90, 10, 62, 0]]);
    for cut in 0..whole.len() {
        match read(&whole[..cut]) {
            Ok(score) => {
                assert!(cut > 25 && !score.warnings.is_empty(), "cut at {cut}");
                assert!(score.tracks.is_empty() || notes(&score)[0].2 == 60);
            }
            Err(FormatError::Damaged { place, .. }) => assert!(place.starts_with("byte "), "{place}"),
            // Of less than four bytes nobody can tell that they were MIDI.
            Err(FormatError::NotMidi { .. }) => assert!(cut < 4, "cut at {cut}"),
            Err(other) => panic!("{other}"),
        }
    }
    // A bad status in the first track: its notes so far and the whole second track.
    let broken = smf(1, 10, &[&[0, 0x90, 60, 90, 10, 60, 0xC0, 1, 2], &[0, 0x91, 62, 90, 10, 62, 0]]);
    let score = read(&broken).unwrap();
    assert_eq!(score.tracks.len(), 2);
    assert!(warned(&score, "status byte stands where a value") && warned(&score, "no note-off"));
    assert!(score.warnings.iter().any(|w| w.place == "track 1, byte 28"), "{:?}", score.warnings);
}

#[test]
fn lengths_that_lie() {
    // The first track claims to reach over the second.
    let mut bytes = smf(1, 10, &[&[0, 0x90, 60, 90, 10, 60, 0], &[0, 0x91, 62, 90, 10, 62, 0]]);
    bytes[21] = 200;
    assert_eq!(read(&bytes).unwrap().tracks.len(), 2);
    bytes[18..22].copy_from_slice(&[0xFF; 4]);
    assert_eq!(read(&bytes).unwrap().tracks.len(), 2);
    // A header that counts 65,535 tracks; a text of 256 MB.
    bytes[10..12].copy_from_slice(&[0xFF; 2]);
    assert!(warned(&read(&bytes).unwrap(), "65535 tracks are announced"));
    let text = [0, 0x90, 60, 90, 0, 0xFF, 1, 0xFF, 0xFF, 0xFF, 0x7F];
    assert!(warned(&read(&smf(0, 10, &[&text])).unwrap(), "longer than its track"));
}

#[test]
fn wrapped_in_riff() {
    let plain = smf(0, 10, &[&[0, 0x90, 60, 90, 10, 60, 0]]);
    let mut wrapped = b"RIFF\0\0\0\0RMIDLIST\x03\0\0\0abc\0data".to_vec();
    wrapped.extend((plain.len() as u32).to_le_bytes());
    wrapped.extend(&plain);
    assert_eq!(read(&wrapped).unwrap(), read(&plain).unwrap());
    let wave = read(b"RIFF\0\0\0\0WAVEfmt ").unwrap_err().to_string();
    assert!(wave.contains("this is no MIDI file: it is a sound recording (WAV)"), "{wave}");
}

#[test]
fn what_cannot_be_music_is_refused() {
    assert!(matches!(read(b""), Err(FormatError::NotMidi { .. })));
    assert!(matches!(read(&smf(1, 0, &[&[]])), Err(FormatError::Damaged { .. })));
    assert!(matches!(read(&smf(1, 10, &[])), Err(FormatError::Damaged { .. })));
    let far = [0xFF, 0xFF, 0xFF, 0x7F, 0x90, 60, 90, 1, 60, 0];
    let error = read(&smf(1, 1, &[&far])).unwrap_err();
    assert!(matches!(error, FormatError::TooLarge { limit: 100_000, .. }), "{error}");
    assert!(matches!(read(&smf(2, 1, &[&far, &far])), Err(FormatError::TooLarge { .. })));
}

#[test]
fn many_tracks_through_many_bars_are_refused() {
    // One note each, and a marker behind bar 15,000.
    let marker = [0x83, 0xD4, 0x60, 0xFF, 6, 1, b'x'];
    let one = [0, 0x90, 60, 90, 1, 60, 0];
    let with = |tracks: usize| {
        let mut all: Vec<&[u8]> = vec![&marker];
        all.resize(tracks + 1, &one);
        read(&smf(1, 1, &all)).map(|score| score.tracks.len())
    };
    assert_eq!(with(60), Ok(60));
    let error = with(70).unwrap_err();
    assert!(matches!(error, FormatError::TooLarge { limit: 4_000_000, .. }), "{error}");
    assert!(error.to_string().contains("empty tracks"));
}

#[test]
fn controllers_and_lyrics_of_their_own_track_find_their_player() {
    let notes = [0, 0x90, 60, 90, 10, 60, 0];
    let curve = [5, 0xB0, 11, 99];
    let words = [0, 0xFF, 5, 2, b'l', b'a'];
    let score = read(&smf(1, 10, &[&words, &notes, &curve])).unwrap();
    assert_eq!(score.tracks.len(), 1);
    let content = &score.tracks[0].content;
    assert_eq!(content.controls, [Control { at: b(1, 2), kind: ControlKind::Controller(11), value: 99 }]);
    assert_eq!(content.notes[0].syllable.as_ref().unwrap().text, "la");
    assert_eq!(score.warnings.len(), 2);
}

#[test]
fn of_two_tempi_at_one_place_the_earlier_track_rules() {
    let tempo = |c| [0, 0xFF, 0x51, 3, 1, 0, c];
    let score = read(&smf(1, 10, &[&tempo(1), &tempo(2)])).unwrap();
    assert_eq!(score.timeline.tempi.iter().map(|t| t.micros).collect::<Vec<_>>(), [0x010001]);
    assert!(warned(&score, "earlier track"));
    // A map without notes is as long as its tracks, and has a bar at least.
    assert_eq!(score.timeline.bars.len(), 1);
}
