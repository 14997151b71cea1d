//! How fast dense chairs of plucked and struck voices render: `cargo run --release -p ripieno-sound --example dense`.

#![allow(clippy::disallowed_methods)] // printed figures only

use ripieno_music::{ChairPerformance, Curve, Gesture};
use ripieno_sound::{Manner, Options, render};
use ripieno_units::{Decibels, Seconds};

const LENGTH: f64 = 120.0;

/// Chords of so many notes, so many a second, over a whole range, the pedal down for two seconds at a time.
fn chair(instrument: &str, notes: u8, rate: f64, low: u8, high: u8, players: u16) -> ChairPerformance {
    let mut gestures = Vec::new();
    for i in 0..(LENGTH * rate) as usize {
        let onset = i as f64 / rate;
        for voice in 0..notes {
            let span = usize::from(high - low);
            let key = low + ((7 * i + 5 * usize::from(voice)) % span.max(1)) as u8;
            gestures.push(Gesture {
                articulation: if players > 1 { "pizzicato".into() } else { "sustain".into() },
                attack: Decibels(6.0),
                voice: voice.into(),
                players,
                ..Gesture::plain(onset, onset + 0.9 / rate, key)
            });
        }
    }
    ChairPerformance {
        chair: instrument.into(),
        instrument: instrument.into(),
        players,
        gestures,
        level: Curve::flat(6.0),
        kept: Vec::new(),
        pedal: (0..(LENGTH / 2.0) as usize)
            .map(|i| (Seconds(2.0 * i as f64), Seconds(2.0 * i as f64 + 1.9)))
            .collect(),
        sticks: Curve::default(),
    }
}

fn main() {
    let chairs = [
        ("harp", 2, 8.0, 28, 96, 1),
        ("harp", 4, 8.0, 28, 96, 1),
        ("piano", 2, 8.0, 36, 96, 1),
        ("piano", 5, 8.0, 28, 100, 1),
        ("harpsichord", 4, 8.0, 36, 84, 1),
        ("hammered-dulcimer", 2, 10.0, 50, 86, 1),
        ("violin", 2, 5.0, 55, 88, 16),
        ("timpani", 1, 11.0, 38, 57, 1),
        ("vibraphone", 4, 6.0, 53, 89, 1),
        ("suspended-cymbal", 1, 12.0, 0, 0, 1),
        ("tam-tam", 1, 2.0, 0, 0, 1),
        ("snare-drum", 1, 24.0, 0, 0, 1),
        ("mark-tree", 1, 0.5, 0, 0, 1),
    ];
    for (id, notes, rate, low, high, players) in chairs {
        let chair = chair(id, notes, rate, low, high, players);
        let options = Options { sample_rate: 48_000, tuning: 440.0, seed: 1, manner: Manner::Living };
        let start = std::time::Instant::now();
        let samples = render(&chair, &options, Seconds(0.0), Seconds(LENGTH));
        let seconds = start.elapsed().as_secs_f64();
        let peak = samples.iter().fold(0.0_f32, |a, b| a.max(b.abs()));
        println!(
            "{id:18} {:4.0} notes a second {:7.0} times real time, peak {:6.1} dB",
            f64::from(notes) * rate,
            LENGTH / seconds,
            20.0 * peak.log10()
        );
    }
}
