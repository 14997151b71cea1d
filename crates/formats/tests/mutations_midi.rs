//! Damaged MIDI files: never a panic, never long, never much memory. `RIPIENO_MUTATIONS` says how many (5000).

use ripieno_formats::midi::{MidiEvent, MidiFile, MidiTrack, read, write};
use ripieno_units::Chance;
use std::time::{Duration, Instant};

fn seed_files(chance: &mut Chance) -> Vec<Vec<u8>> {
    let mut files = Vec::new();
    for count in [0, 3, 40] {
        let mut tracks = Vec::new();
        for t in 0..4u8 {
            let mut events = vec![
                (0, MidiEvent::Metre { beats: 3 + t, unit_power: t }),
                (0, MidiEvent::Tempo(400_000)),
                (0, MidiEvent::Key { fifths: -3, minor: true }),
            ];
            let mut now = 0;
            for _ in 0..count {
                now += chance.below(700) as u64;
                let (channel, key) = (chance.below(16) as u8, chance.below(128) as u8);
                events.push((
                    now,
                    match chance.below(9) {
                        0..3 => MidiEvent::NoteOn { channel, key, velocity: 80 },
                        3..5 => MidiEvent::NoteOff { channel, key, velocity: 64 },
                        5 => MidiEvent::Controller { channel, number: key, value: 12 },
                        6 => MidiEvent::Lyric("la-".into()),
                        7 => MidiEvent::Marker("A".into()),
                        _ => MidiEvent::Metre { beats: 1 + channel, unit_power: chance.below(8) as u8 },
                    },
                ));
            }
            tracks.push(MidiTrack { name: format!("Track {t}"), port: None, events });
        }
        let bytes = write(&MidiFile { ticks_per_quarter: 96, tracks });
        for format in 0..3 {
            let mut bytes = bytes.clone();
            bytes[9] = format;
            files.push(bytes.clone());
            // SMPTE, 30 drop frame.
            bytes[12] = 0xE3;
            files.push(bytes);
        }
    }
    // The same in a wrapper.
    let mut wrapped = b"RIFF\0\0\0\0RMIDdata\0\0\0\0".to_vec();
    wrapped.extend(&files[6]);
    files.push(wrapped);
    files
}

fn mutated(bytes: &[u8], chance: &mut Chance) -> Vec<u8> {
    let mut out = bytes.to_vec();
    for _ in 0..1 + chance.below(6) {
        let at = chance.below(out.len().max(1));
        match chance.below(8) {
            0 => out.truncate(at),
            1 if at < out.len() => out[at] ^= 1 << chance.below(8),
            2 if at < out.len() => out[at] = [0, 0x7F, 0x80, 0xFF, 0xF0, 0x90, 0x2F][chance.below(7)],
            3 => out.insert(at.min(out.len()), chance.bits() as u8),
            4 if at < out.len() => drop(out.remove(at)),
            5 => {
                let to = (at + 1 + chance.below(40)).min(out.len());
                let piece = out[at.min(to)..to].to_vec();
                let place = chance.below(out.len() + 1);
                out.splice(place..place, piece);
            }
            6 => {
                let to = (at + 4).min(out.len());
                out[at.min(to)..to].fill(0xFF);
            }
            _ => {
                // The header is where most can be promised.
                let at = chance.below(out.len().clamp(1, 26));
                if let Some(byte) = out.get_mut(at) {
                    *byte = chance.bits() as u8;
                }
            }
        }
    }
    out
}

#[test]
fn damage_never_panics_and_never_takes_long() {
    let count = std::env::var("RIPIENO_MUTATIONS").ok().and_then(|n| n.parse().ok()).unwrap_or(5000usize);
    let mut chance = Chance::named(2, &["midi", "mutations"]);
    let files = seed_files(&mut chance);
    let (mut good, mut longest) = (0, Duration::ZERO);
    for i in 0..count {
        let bytes = mutated(&files[i % files.len()], &mut chance);
        let from = Instant::now();
        let result = std::panic::catch_unwind(|| read(&bytes));
        let took = from.elapsed();
        longest = longest.max(took);
        let hex = || bytes.iter().map(|b| format!("{b:02x}")).collect::<String>();
        let Ok(result) = result else { panic!("case {i} panics: {}", hex()) };
        assert!(took < Duration::from_secs(2), "case {i} took {took:?}: {}", hex());
        if let Ok(score) = result {
            good += 1;
            let timeline = &score.timeline;
            assert!(!timeline.bars.is_empty() && !timeline.tempi.is_empty(), "case {i}: {}", hex());
            assert!(
                timeline.bars.windows(2).all(|w| w[0].at + w[0].length == w[1].at),
                "case {i}: {}",
                hex()
            );
            let notes = score.tracks.iter().flat_map(|t| &t.content.notes);
            for note in notes {
                assert!(note.length.is_positive() && note.end() <= timeline.end(), "case {i}: {}", hex());
            }
        }
    }
    // A generator that only makes rubbish would test nothing.
    assert!(good * 4 > count, "{good} of {count} were still readable");
    println!("{count} damaged files, {good} of them read in part, the slowest in {longest:?}");
}

/// Large files that are made to be slow: many empty tracks, many short bars, many warnings.
#[test]
fn hostile_sizes_stay_quick() {
    let chunk = |body: &[u8]| [b"MTrk", &(body.len() as u32).to_be_bytes()[..], body].concat();
    let head = |division: u16| [&b"MThd\0\0\0\x06\0\x01\xFF\xFF"[..], &division.to_be_bytes()].concat();
    let many = |n: usize, body: &[u8]| [head(1), chunk(body).repeat(n)].concat();
    let events = |n: usize, event: &[u8]| [head(96), chunk(&event.repeat(n))].concat();
    let cases = [
        many(100_000, &[0, 0xFF, 0x2F, 0]),
        many(100_000, &[0, 0x90, 60]),
        many(100_000, &[0, 0x90, 60, 1, 0]),
        events(300_000, &[0, 0x90, 60, 1]),
        events(300_000, &[1, 0xFF, 0x51, 3, 1, 2, 3]),
        events(100_000, &[1, 0xFF, 0x58, 4, 1, 6, 1, 1, 1, 0xFF, 0x58, 4, 2, 6, 1, 1]),
        events(300_000, &[1, 0xFF, 5, 1, b'a']),
        events(200_000, &[1, 0x90, 60, 1, 0, 0xFF, 5, 1, b'a']),
        // Everything at one tick.
        events(200_000, &[0, 0x90, 60, 1, 0, 0xFF, 5, 1, b'a']),
        [head(96), chunk(&[[0, 0x90, 60, 1].repeat(150_000), [0, 0x80, 60, 1].repeat(150_000)].concat())]
            .concat(),
        // Format 2, each sequence nearly as long as is allowed.
        [&b"MThd\0\0\0\x06\0\x02\xFF\xFF\0\x01"[..], &chunk(&[0x98, 0, 0, 0x90, 60, 1]).repeat(50_000)]
            .concat(),
        [&b"MThd\0\0\0\x06\0\x02\xFF\xFF\0\x01"[..], &chunk(&[0x97, 0x80, 0, 0xFF, 1, 0]).repeat(50_000)]
            .concat(),
        [head(96), b"MTrk\0\0\0\x04\0\x90\x3C\x50".to_vec(), b"MTr".repeat(400_000)].concat(),
        [head(96), b"MTrk\0\0\0\0".repeat(150_000)].concat(),
    ];
    for (i, bytes) in cases.iter().enumerate() {
        let from = Instant::now();
        let _ = read(bytes);
        let took = from.elapsed();
        assert!(took < Duration::from_secs(2), "case {i}: {took:?} for {} bytes", bytes.len());
        println!("case {i}: {} bytes in {took:?}", bytes.len());
    }
}
