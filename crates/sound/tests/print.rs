//! Recordings against what the chair does: the delay to a millisecond, and other music is told apart.

mod common;

use common::{Draw, LINES, Line, tune};
use ripieno_music::ChairPerformance;
use ripieno_signal::{Convolver, Noise, Responses, Stereo, measure};
use ripieno_sound::print::{Alignment, Verdict, align};
use ripieno_sound::{Manner, Options, render};
use ripieno_units::{Decibels, Seconds, math};

const RATE: u32 = 48_000;

/// Length of the tunes.
const SECONDS: f64 = 25.0;

const OPTIONS: Options = Options { sample_rate: RATE, tuning: 440.0, seed: 5, manner: Manner::Living };

/// A recording that is `late` seconds late.
fn recording(chair: &ChairPerformance, late: f64, seconds: f64) -> Vec<f32> {
    render(chair, &OPTIONS, Seconds(-late), Seconds(seconds - late))
}

/// Noise so many dB below the sound.
fn with_noise(samples: &[f32], below: f64) -> Vec<f32> {
    let gain = (measure::rms(samples) * math::sqrt(3.0) * Decibels(-below).amplitude()) as f32;
    let mut noise = Noise::seeded(3);
    samples.iter().map(|x| x + gain * noise.sample()).collect()
}

/// In a hall of 2 s whose reverberation is so many dB below the direct sound.
fn in_a_hall(samples: &[f32], below: f64) -> Vec<f32> {
    let mut noise = Noise::seeded(8);
    let frames = RATE as usize * 2;
    let fall = |i: usize| math::exp(-6.9 * i as f64 / frames as f64) as f32;
    let mut tail: Vec<f32> =
        (0..frames).map(|i| if i < 900 { 0.0 } else { noise.sample() * fall(i) }).collect();
    let gain = (Decibels(-below).amplitude() / (measure::rms(&tail) * math::sqrt(frames as f64))) as f32;
    tail.iter_mut().for_each(|x| *x *= gain);
    tail[0] = 1.0;
    let responses =
        Responses { inputs: vec![Stereo { left: tail.clone(), right: tail }], shared: Stereo::default() };
    let (block, mut out) = (16_384, Vec::new());
    let mut convolver = Convolver::new(&responses, block);
    for x in samples.chunks(block) {
        let (mut left, mut right) = (vec![0.0; block], vec![0.0; block]);
        convolver.block(&[x], &mut left, &mut right);
        out.extend(left);
    }
    out
}

fn told(line: &Line, what: &str, found: &Alignment, wanted: f64) {
    println!(
        "{:15} {:10} {what:14} {:8.2} ms  {:?} {:.2}  pitches {:.2} onsets {:.2}",
        line.0,
        line.5,
        1e3 * (found.offset.0 - wanted),
        found.verdict,
        found.confidence,
        found.pitches.unwrap_or(-1.0),
        found.onsets
    );
}

#[test]
fn a_print_is_found_to_a_millisecond_and_fits() {
    let mut wrong = Vec::new();
    for (i, line) in LINES.iter().enumerate() {
        let chair = tune(line, SECONDS, 1, Draw::AsWritten);
        let late = [0.1234, -0.31, 1.0, 2.7177, 0.0, -0.0425, 7.5][i % 7];
        let dry = recording(&chair, late, SECONDS + 2.0);
        // A hall as strong as the instrument blurs where a tone begins.
        for (what, samples, most) in [
            ("dry", dry.clone(), 0.001),
            ("noise", with_noise(&dry, 20.0), 0.001),
            ("near", in_a_hall(&dry, 8.0), 0.001),
            ("far", in_a_hall(&dry, 0.0), 0.003),
        ] {
            let found = align(&samples, &chair, &OPTIONS);
            told(line, what, &found, late);
            // There, a dark instrument may be hard to tell.
            let told = match what {
                "far" => found.verdict != Verdict::OtherNotes,
                _ => found.verdict == Verdict::Fits,
            };
            if (found.offset.0 - late).abs() > most || !told {
                wrong.push((line.0, line.5, what, 1e3 * (found.offset.0 - late), found.verdict));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn other_music_is_told_apart() {
    let mut wrong = Vec::new();
    for line in LINES {
        let chair = tune(line, SECONDS, 1, Draw::AsWritten);
        for (what, draw) in
            [("pitches", Draw::OtherPitches), ("rhythm", Draw::OtherRhythm), ("other", Draw::Other)]
        {
            let samples = recording(&tune(line, SECONDS, 1, draw), 0.2, SECONDS + 2.0);
            let found = align(&samples, &chair, &OPTIONS);
            told(line, what, &found, 0.2);
            // Drums are told by rhythm alone.
            if found.verdict != Verdict::OtherNotes && (line.0, what) != ("timpani", "pitches") {
                wrong.push((line.0, line.5, what, found));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn the_whole_reach_and_other_rates() {
    let line = &LINES[6];
    let chair = tune(line, SECONDS, 1, Draw::AsWritten);
    for (rate, late) in [(44_100, 9.87), (96_000, -9.87), (48_000, 0.00051)] {
        let options = Options { sample_rate: rate, ..OPTIONS };
        let samples = render(&chair, &options, Seconds(-late), Seconds(SECONDS + 2.0));
        let found = align(&samples, &chair, &options);
        assert!(
            (found.offset.0 - late).abs() < 0.001 && found.verdict == Verdict::Fits,
            "{rate} {late}: {found:?}"
        );
    }
}

/// Nothing to hear or nothing to play is not other music, and no sound is too odd.
#[test]
fn too_little_is_doubtful() {
    let chair = tune(&LINES[5], SECONDS, 1, Draw::AsWritten);
    let mut empty = chair.clone();
    empty.gestures.clear();
    let mut lone = chair.clone();
    lone.gestures.truncate(1);
    let tone: Vec<f32> = with_noise(&recording(&chair, 0.0, 3.0), 10.0);
    let odd: Vec<f32> =
        tone.iter().enumerate().map(|(i, x)| if i % 1000 == 0 { f32::NAN } else { *x }).collect();
    for (chair, samples) in [
        (&chair, Vec::new()),
        (&chair, vec![0.0; 100_000]),
        (&chair, vec![f32::NAN; 100_000]),
        (&empty, tone.clone()),
        (&lone, with_noise(&vec![1e-3; 100_000], 0.0)),
        (&chair, odd),
    ] {
        let found = align(&samples, chair, &OPTIONS);
        assert!(found.offset.0.is_finite() && (0.0..=1.0).contains(&found.confidence), "{found:?}");
        assert_ne!(found.verdict, Verdict::Fits, "{found:?}");
    }
    let silence = align(&vec![0.0; 100_000], &chair, &OPTIONS);
    assert_eq!((silence.verdict, silence.confidence), (Verdict::Doubtful, 0.0));
}
