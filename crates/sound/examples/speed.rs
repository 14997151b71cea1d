//! How fast a chair renders: `cargo run --release -p ripieno-sound --example speed`.

#![allow(clippy::disallowed_methods)] // printed figures only

use ripieno_music::{ChairPerformance, Curve, Gesture, Place};
use ripieno_sound::{Manner, Options, render};
use ripieno_units::{Decibels, Seconds};

fn chair(instrument: &str, players: u16, key: u8, every: f64, length: f64) -> ChairPerformance {
    let count = (170.0 / every) as usize;
    let gestures = (0..count)
        .map(|i| {
            let onset = i as f64 * every;
            Gesture {
                onset: Seconds(onset),
                end: Seconds(onset + length),
                place: Place { bar: 1, beat: 1.0 },
                key: key + [0, 2, 4, 5, 7, 9, 7, 4][i % 8],
                cents: 0.0,
                stroke: None,
                articulation: "legato".into(),
                colour: None,
                joined: i % 4 != 0,
                joins_on: i % 4 != 3,
                attack: Decibels(0.0),
                realisation: None,
                glide: Seconds(0.02),
                bend: Vec::new(),
                sung: None,
                voice: 1,
                players,
            }
        })
        .collect();
    ChairPerformance {
        chair: instrument.into(),
        instrument: instrument.into(),
        players,
        gestures,
        level: Curve { points: vec![(0.0, -12.0), (80.0, 8.0), (170.0, -6.0)] },
        kept: Vec::new(),
        pedal: Vec::new(),
        sticks: Curve::default(),
    }
}

fn main() {
    let chairs = [
        ("violin", 14, 67),
        ("double-bass", 6, 36),
        ("flute", 1, 74),
        ("oboe", 1, 67),
        ("trumpet", 1, 65),
        ("choir-sopranos", 12, 64),
        ("harp", 1, 48),
        ("piano", 1, 48),
        ("timpani", 1, 41),
        ("glockenspiel", 1, 84),
        ("suspended-cymbal", 1, 49),
    ];
    let mut total = 0.0;
    for (id, players, key) in chairs {
        let chair = chair(id, players, key, 0.4, 0.4);
        let options = Options { sample_rate: 48_000, tuning: 440.0, seed: 1, manner: Manner::Living };
        let start = std::time::Instant::now();
        let samples = render(&chair, &options, Seconds(0.0), Seconds(170.0));
        let seconds = start.elapsed().as_secs_f64();
        total += seconds;
        let peak = samples.iter().fold(0.0_f32, |a, b| a.max(b.abs()));
        println!("{id:18} {:7.0} times real time, peak {:6.1} dB", 170.0 / seconds, 20.0 * peak.log10());
    }
    println!("{} chairs of 170 s on one core: {:.1} times real time in all", chairs.len(), 170.0 / total);
}
