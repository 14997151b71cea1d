//! Tunes for instruments, and the same tunes changed.

use ripieno_music::{ChairPerformance, Curve, Gesture};
use ripieno_units::{Chance, Seconds};

/// What is written: instrument, players, lowest key, span in semitones, notes together, articulation.
pub type Line = (&'static str, u16, u8, usize, usize, &'static str);

/// One for each kind of voice.
pub const LINES: &[Line] = &[
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

/// What is changed.
#[derive(Clone, Copy, PartialEq)]
pub enum Draw {
    AsWritten,
    OtherPitches,
    OtherRhythm,
    Other,
}

fn gesture(onset: f64, end: f64, key: u8, articulation: &str, players: u16) -> Gesture {
    Gesture {
        articulation: articulation.into(),
        glide: Seconds(0.02),
        players,
        ..Gesture::plain(onset, end, key)
    }
}

/// A tune in C major of halves, quarters and eighths at 100 a minute.
pub fn tune(line: &Line, seconds: f64, seed: u64, draw: Draw) -> ChairPerformance {
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
    ChairPerformance { players, level, ..ChairPerformance::plain(instrument, gestures) }
}
