//! A SoundFont beside the house orchestra: `cargo run --release -p ripieno-sound --example font -- FILE.sf2 [SECONDS]`.
//!
//! For each tune: how fast it plays, how its level differs from the house orchestra's, and what the alignment of prints says of
//! it: as it is, later by 123.4 ms, and with other notes. Programs are those of General MIDI.

#![allow(clippy::disallowed_methods)] // printed figures only

#[path = "../tests/common/mod.rs"]
mod common;

use common::{Draw, LINES, tune};
use ripieno_music::ChairPerformance;
use ripieno_signal::measure::rms;
use ripieno_sound::font::{Font, FontSetup, FontVoice, Preset};
use ripieno_sound::print::align;
use ripieno_sound::{Manner, Options, render};
use ripieno_units::Seconds;
use std::time::Instant;

const OPTIONS: Options = Options { sample_rate: 48_000, tuning: 440.0, seed: 5, manner: Manner::Living };

fn program(instrument: &str, articulation: &str) -> u8 {
    match (instrument, articulation) {
        (_, "pizzicato") => 45,
        ("violin", _) => 48,
        ("cello", _) => 42,
        ("double-bass", _) => 43,
        ("flute", _) => 73,
        ("clarinet", _) => 71,
        ("bassoon", _) => 70,
        ("horn", _) => 60,
        ("trumpet", _) => 56,
        ("choir-sopranos", _) => 52,
        ("harp", _) => 46,
        ("timpani", _) => 47,
        ("glockenspiel", _) => 9,
        _ => 0,
    }
}

fn play(font: &std::sync::Arc<Font>, chair: &ChairPerformance, late: f64, seconds: f64) -> Vec<f32> {
    let articulation = chair.gestures.first().map_or("", |g| g.articulation.as_str());
    let preset = Preset { bank: 0, program: program(&chair.instrument, articulation) };
    let setup = FontSetup { presets: vec![(String::new(), preset)], ..FontSetup::default() };
    let mut samples = vec![0.0; (seconds * 48_000.0) as usize];
    match FontVoice::new(font, chair, &setup, &OPTIONS, Seconds(-late)) {
        Ok(mut voice) => voice.samples(&mut samples),
        Err(error) => println!("{}: {error}", chair.chair),
    }
    samples
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::args().nth(1).ok_or("name an .sf2 file")?;
    let start = Instant::now();
    let font = Font::read(&mut std::fs::File::open(path)?)?;
    println!("read in {:.2} s", start.elapsed().as_secs_f64());
    let seconds: f64 = std::env::args().nth(2).map_or(Ok(60.0), |s| s.parse())?;
    for line in LINES {
        let chair = tune(line, seconds, 1, Draw::AsWritten);
        let start = Instant::now();
        let plain = play(&font, &chair, 0.0, seconds);
        let took = start.elapsed().as_secs_f64();
        let house = render(&chair, &OPTIONS, Seconds(0.0), Seconds(seconds));
        let start = Instant::now();
        let found = align(&plain, &chair, &OPTIONS);
        let aligned = start.elapsed().as_secs_f64();
        let later = align(&play(&font, &chair, 0.1234, seconds), &chair, &OPTIONS);
        println!(
            "{:15} {:10} {:4.0} x real time, level {:+5.1} dB, {:?} {:.2} at {:+6.1} ms in {aligned:.2} s, moved {:+.2} ms wrong",
            line.0,
            line.5,
            seconds / took,
            20.0 * (rms(&plain) / rms(&house)).log10(),
            found.verdict,
            found.confidence,
            1e3 * found.offset.0,
            1e3 * (later.offset.0 - found.offset.0 - 0.1234),
        );
        for (what, draw) in
            [("pitches", Draw::OtherPitches), ("rhythm", Draw::OtherRhythm), ("notes", Draw::Other)]
        {
            let found = align(&play(&font, &tune(line, seconds, 1, draw), 0.0, seconds), &chair, &OPTIONS);
            println!(
                "    other {what}: {:?} {:.2} ({:?}, {:.2})",
                found.verdict, found.confidence, found.pitches, found.onsets
            );
        }
    }
    Ok(())
}
