//! Recordings against what the chair does: the delay to a millisecond, and other music is told apart.

use ripieno_music::{ChairPerformance, Curve, Gesture, Place};
use ripieno_signal::{Convolver, Noise, Responses, Stereo, measure};
use ripieno_sound::print::{Alignment, Verdict, align};
use ripieno_sound::{Manner, Options, render};
use ripieno_units::{Chance, Decibels, Seconds, math};

const RATE: u32 = 48_000;

const OPTIONS: Options = Options { sample_rate: RATE, tuning: 440.0, seed: 5, manner: Manner::Living };

/// What is written: instrument, players, lowest key, span in semitones, notes together, articulation.
type Line = (&'static str, u16, u8, usize, usize, &'static str);

const LINES: &[Line] = &[
    ("violin", 14, 62, 17, 1, "legato"),
    ("violin", 14, 62, 17, 1, "detache"),
    ("cello", 10, 45, 14, 1, "legato"),
    ("double-bass", 6, 31, 12, 1, "detache"),
    ("violin", 14, 60, 17, 1, "pizzicato"),
    ("flute", 1, 66, 17, 1, "legato"),
    ("clarinet", 1, 58, 17, 1, "staccato"),
    ("bassoon", 1, 40, 14, 1, "legato"),
    ("horn", 4, 50, 14, 2, "sustain"),
    ("trumpet", 1, 62, 12, 1, "marcato"),
    ("choir-sopranos", 12, 62, 12, 1, "legato"),
    ("harp", 1, 45, 30, 2, "sustain"),
    ("piano", 1, 40, 40, 3, "sustain"),
    ("timpani", 1, 41, 12, 1, "sustain"),
    ("glockenspiel", 1, 80, 20, 1, "sustain"),
];

#[derive(Clone, Copy, PartialEq)]
enum Draw {
    AsWritten,
    OtherPitches,
    OtherRhythm,
    Other,
}

fn gesture(onset: f64, end: f64, key: u8, articulation: &str, players: u16) -> Gesture {
    Gesture {
        onset: Seconds(onset),
        end: Seconds(end),
        place: Place { bar: 1, beat: 1.0 },
        key,
        cents: 0.0,
        stroke: None,
        articulation: articulation.into(),
        colour: None,
        joined: false,
        joins_on: false,
        attack: Decibels(0.0),
        realisation: None,
        glide: Seconds(0.02),
        bend: Vec::new(),
        sung: None,
        voice: 1,
        players,
    }
}

/// A tune in C major of halves, quarters and eighths at 100 a minute.
fn tune(line: &Line, seconds: f64, seed: u64, draw: Draw) -> ChairPerformance {
    let (instrument, players, low, span, together, articulation) = *line;
    let other = |is: bool| if is { seed + 1000 } else { seed };
    let pitches = other(matches!(draw, Draw::OtherPitches | Draw::Other));
    let rhythm = other(matches!(draw, Draw::OtherRhythm | Draw::Other));
    let mut pitch = Chance::named(pitches, &["pitch", instrument]);
    let mut time = Chance::named(rhythm, &["rhythm", instrument]);
    let scale: Vec<u8> =
        (low..low + span as u8).filter(|k| [0, 2, 4, 5, 7, 9, 11].contains(&(k % 12))).collect();
    let mut gestures: Vec<Gesture> = Vec::new();
    let (mut at, mut degree) = (0.5, scale.len() / 2);
    let mut slurred = 0;
    while at < seconds - 1.5 {
        let length = 0.3 * [1.0, 1.0, 2.0, 2.0, 2.0, 4.0][time.below(6)];
        let sounding = if articulation == "staccato" { 0.5 * length } else { length - 0.01 };
        let steps = 1 + pitch.below(3);
        let up = degree < steps || (degree + steps < scale.len() && pitch.unit() < 0.5);
        degree = if up { (degree + steps).min(scale.len() - 1) } else { degree - steps };
        slurred += 1;
        for i in 0..together {
            let key = scale[(degree + 2 * i) % scale.len()];
            if gestures.iter().rev().take(i).any(|g| g.key == key) {
                continue;
            }
            let mut new = gesture(at, at + sounding, key, articulation, players);
            new.joined = articulation == "legato" && slurred % 5 != 1;
            new.joins_on = articulation == "legato" && slurred % 5 != 0;
            if new.joins_on {
                new.end = Seconds(at + length);
            }
            new.voice = i as u16 + 1;
            gestures.push(new);
        }
        at += length;
    }
    gestures.sort_by(|a, b| a.onset.total_cmp(&b.onset).then(a.key.cmp(&b.key)));
    let level = Curve { points: vec![(0.0, -8.0), (0.4 * seconds, 5.0), (seconds, -5.0)] };
    ChairPerformance {
        chair: instrument.into(),
        instrument: instrument.into(),
        players,
        gestures,
        level,
        kept: Vec::new(),
        pedal: Vec::new(),
    }
}

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
        let chair = tune(line, 40.0, 1, Draw::AsWritten);
        let late = [0.1234, -0.31, 1.0, 2.7177, 0.0, -0.0425, 7.5][i % 7];
        let dry = recording(&chair, late, 42.0);
        // A hall as strong as the instrument blurs where a tone begins.
        for (what, samples, most) in [
            ("dry", dry.clone(), 0.001),
            ("noise", with_noise(&dry, 20.0), 0.001),
            ("near", in_a_hall(&dry, 8.0), 0.001),
            ("far", in_a_hall(&dry, 0.0), 0.003),
        ] {
            let found = align(&samples, &chair, &OPTIONS);
            told(line, what, &found, late);
            if (found.offset.0 - late).abs() > most || found.verdict != Verdict::Fits {
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
        let chair = tune(line, 40.0, 1, Draw::AsWritten);
        for (what, draw) in
            [("pitches", Draw::OtherPitches), ("rhythm", Draw::OtherRhythm), ("other", Draw::Other)]
        {
            let samples = recording(&tune(line, 40.0, 1, draw), 0.2, 42.0);
            let found = align(&samples, &chair, &OPTIONS);
            told(line, what, &found, 0.2);
            if found.verdict != Verdict::OtherNotes {
                wrong.push((line.0, line.5, what, found));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}
