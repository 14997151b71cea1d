//! Sound files: what was written is read, and damaged files never panic. `RIPIENO_MUTATIONS` says how many (2000).
//!
//! The files in `sounds/` were made by ffmpeg 5.1 (`aevalsrc`, bit-exact): 0.1 s at 44.1 kHz, 441 Hz at half of full scale on
//! the left and 882 Hz at a quarter on the right; FLAC with 16 bits, AIFF with 24, WAV with floats, Ogg Vorbis at quality 5,
//! and a WAV file with ADPCM, which is not read.
#![allow(clippy::unwrap_used)]

use proptest::prelude::*;
use ripieno_formats::audio::{AudioError, Reader, read};
use ripieno_formats::wav::{SampleFormat, Wav, write};
use ripieno_units::{Chance, math};
use std::f64::consts::TAU;
use std::io::Cursor;
use std::time::{Duration, Instant};

const FLAC: &[u8] = include_bytes!("sounds/tones.flac");
const AIFF: &[u8] = include_bytes!("sounds/tones.aiff");
const OGG: &[u8] = include_bytes!("sounds/tones.ogg");
const FLOATS: &[u8] = include_bytes!("sounds/tones.wav");
const CODED: &[u8] = include_bytes!("sounds/coded.wav");

/// Every sample against the sine that it should be.
fn furthest(wav: &Wav) -> f64 {
    let mut furthest = 0.0_f64;
    for (channel, (hertz, amplitude)) in wav.channels.iter().zip([(441.0, 0.5), (882.0, 0.25)]) {
        for (i, x) in channel.iter().enumerate() {
            let wanted = amplitude * math::sin(TAU * hertz * i as f64 / 44_100.0);
            furthest = furthest.max((f64::from(*x) - wanted).abs());
        }
    }
    furthest
}

#[test]
fn the_same_tones_from_every_kind_of_file() {
    for (bytes, step) in [(FLOATS, 1e-6), (AIFF, 2.0 / 8_388_608.0), (FLAC, 2.0 / 32_768.0), (OGG, 0.06)] {
        let wav = read(Cursor::new(bytes), 10.0).unwrap();
        assert_eq!(wav.sample_rate, 44_100);
        assert_eq!(wav.channels.len(), 2);
        assert_eq!(wav.channels[0].len(), 4410, "{:?}", &bytes[..4]);
        assert!(furthest(&wav) <= step, "{:?}: {}", &bytes[..4], furthest(&wav));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]
    #[test]
    fn what_is_written_is_read(
        samples in prop::collection::vec(-1.0_f32..1.0, 0..5000),
        channels in 1_usize..9,
        rate in prop::sample::select(vec![8000_u32, 44_100, 48_000, 96_000]),
    ) {
        let channels: Vec<Vec<f32>> = (0..channels)
            .map(|c| samples.iter().map(|x| x * 0.9_f32.powi(c as i32)).collect())
            .collect();
        let wav = Wav { sample_rate: rate, channels };
        for (format, step) in [(SampleFormat::Float32, 0.0), (SampleFormat::Int24, 1.0 / 8_000_000.0), (SampleFormat::Int16, 2.0 / 32_000.0)] {
            let mut reader = Reader::open(Cursor::new(write(&wav, format))).unwrap();
            prop_assert_eq!(reader.shape().frames, Some(samples.len() as u64));
            let mut at = 0;
            while let Some(block) = reader.next_block().unwrap() {
                for (channel, wanted) in block.iter().zip(&wav.channels) {
                    for (x, wanted) in channel.iter().zip(&wanted[at..]) {
                        prop_assert!((x - wanted).abs() <= step, "{x} {wanted}");
                    }
                }
                at += block[0].len();
            }
            prop_assert_eq!(at, samples.len());
        }
    }
}

#[test]
fn what_is_no_sound_says_what_it_is_and_what_to_do() {
    let error = |bytes: &[u8]| read(Cursor::new(bytes.to_vec()), 10.0).unwrap_err();
    for (bytes, says) in [
        (&b""[..], "empty"),
        (b"MThd\0\0\0\x06", "a MIDI file"),
        (b"ID3\x04rest", "an MP3 file"),
        (b"[cue]\ntitle = 1", "begins with \"[cue\""),
    ] {
        let message = error(bytes).to_string();
        assert!(message.contains(says) && message.contains("Export it as WAV"), "{message}");
    }
    assert!(matches!(error(CODED), AudioError::Codec { .. }), "{:?}", error(CODED));
    for cut in [&FLAC[..4000], &FLOATS[..30], &AIFF[..3000]] {
        assert!(matches!(error(cut), AudioError::Damaged { .. }), "{:?}", error(cut));
    }
    assert_eq!(read(Cursor::new(FLOATS), 0.05).unwrap_err(), AudioError::TooLong { limit: 0.05 });
    let many = Wav { sample_rate: 48_000, channels: vec![vec![0.0; 10]; 17] };
    let many = error(&write(&many, SampleFormat::Int16));
    assert!(matches!(many, AudioError::Channels { found: 17, .. }), "{many:?}");
}

/// A bounce that was stopped gives what it has, to the last sample, and then the error.
#[test]
fn a_file_cut_off_gives_what_it_has() {
    let mut reader = Reader::open(Cursor::new(&FLOATS[..FLOATS.len() - 8 * 1000])).unwrap();
    let error = loop {
        match reader.next_block() {
            Ok(Some(_)) => {}
            Ok(None) => panic!("no error"),
            Err(error) => break error,
        }
    };
    assert_eq!(reader.position(), 3410);
    assert!(matches!(error, AudioError::Damaged { .. }), "{error}");
    assert!(reader.next_block().unwrap().is_none());
}

/// Written into a pipe, a WAV file has no length in its head.
#[test]
fn a_stream_of_unknown_length_is_read_to_its_end() {
    let mut bytes = FLOATS.to_vec();
    bytes[4..8].fill(0xff);
    let data = bytes.windows(4).position(|w| w == b"data").unwrap();
    bytes[data + 4..data + 8].fill(0xff);
    let mut reader = Reader::open(Cursor::new(bytes)).unwrap();
    assert_eq!(reader.shape().frames, Some(4410));
    while reader.next_block().unwrap().is_some() {}
    assert_eq!(reader.position(), 4410);
}

#[test]
fn damaged_files_never_panic_and_stay_small() {
    let count = std::env::var("RIPIENO_MUTATIONS").ok().and_then(|n| n.parse().ok()).unwrap_or(2000);
    let mut chance = Chance::named(1, &["sounds"]);
    for i in 0..count {
        let seed = [FLAC, AIFF, OGG, FLOATS, CODED][i % 5];
        let mut bytes = seed.to_vec();
        for _ in 0..1 + chance.below(5) {
            // Mostly in the head, where the lengths are.
            let reach = if chance.below(3) == 0 { bytes.len() } else { 120.min(bytes.len()) };
            let at = chance.below(reach.max(1));
            match chance.below(5) {
                0 => bytes.truncate(at.max(12)),
                1 => bytes[at] ^= 1 << chance.below(8),
                2 => bytes[at] = [0, 0x7f, 0x80, 0xff][chance.below(4)],
                3 => bytes.insert(at, chance.bits() as u8),
                _ => bytes[at] = chance.bits() as u8,
            }
        }
        let start = Instant::now();
        if let Ok(mut reader) = Reader::open(Cursor::new(bytes)) {
            let mut most = 0;
            while let Ok(Some(block)) = reader.next_block() {
                assert!(block.iter().flatten().all(|x| x.is_finite()));
                most = most.max(block.len() * block[0].len());
            }
            assert!(most < 4_000_000, "{most}");
            assert!(reader.position() < 10_000_000, "{}", reader.position());
        }
        assert!(start.elapsed() < Duration::from_secs(2));
    }
}
