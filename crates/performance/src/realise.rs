//! Tremolos, rolls and glissandi as strokes.

use crate::nature::Nature;
use ripieno_music::{Realisation, Stroke};
use ripieno_units::{Chance, Decibels, Seconds};

/// A gesture's frame: when, at which key, how loud.
#[derive(Clone, Copy, Debug)]
pub struct Frame {
    /// Seconds.
    pub onset: f64,
    /// Seconds.
    pub end: f64,
    /// MIDI key.
    pub key: u8,
    /// Level of the attack, dB.
    pub attack: f64,
}

/// Strokes a second of an unmeasured tremolo or roll (strings 8 to 12; timpani 9 to 13, higher drums faster; buzzed
/// snare 20 and more; cymbals 7 to 14; others by their hands).
pub fn rate(nature: Nature, instrument: &str, key: u8) -> f64 {
    match nature {
        Nature::Drum => 9.0 + 4.0 * ((f64::from(key) - 38.0) / 19.0).clamp(0.0, 1.0),
        Nature::Unpitched => match instrument {
            "snare-drum" => 24.0,
            "suspended-cymbal" | "triangle" => 12.0,
            "tam-tam" => 7.0,
            _ => 11.0,
        },
        Nature::Bowed => 11.0,
        Nature::Plucked => 8.0,
        _ => 12.0,
    }
}

/// Even strokes with small unevenness; the stroke after the last would fall on the end: a roll ends on its downbeat.
pub fn strokes(
    frame: Frame,
    other: Option<u8>,
    rate: f64,
    articulation: &str,
    chance: &mut Chance,
) -> Realisation {
    let length = frame.end - frame.onset;
    let count = ((length * rate).round() as usize).clamp(2, 4000);
    let interval = length / count as f64;
    let mut starts: Vec<f64> = (0..count)
        .map(|i| {
            // 5 % unevenness in time; the first stroke is on its beat.
            let uneven = if i == 0 { 0.0 } else { chance.normal(0.05).clamp(-0.15, 0.15) };
            frame.onset + interval * (i as f64 + uneven)
        })
        .collect();
    starts.push(frame.end);
    let strokes = starts
        .windows(2)
        .enumerate()
        .map(|(i, pair)| Stroke {
            onset: Seconds(pair[0]),
            end: Seconds(pair[0] + 0.92 * (pair[1] - pair[0])),
            key: other.filter(|_| i % 2 == 1).unwrap_or(frame.key),
            attack: Decibels(
                frame.attack + chance.normal(1.0).clamp(-2.5, 2.5) - if i == 0 { 0.0 } else { 1.0 },
            ),
            joined: false,
        })
        .collect();
    Realisation { articulation: articulation.to_string(), strokes }
}

/// The steps of a glissando to `target`: it starts after two fifths of the note and moves quickest in the middle.
pub fn glissando(frame: Frame, target: u8, keys: &[u8], articulation: &str, nature: Nature) -> Realisation {
    let mut path: Vec<u8> = if target >= frame.key {
        keys.iter().copied().filter(|k| *k > frame.key && *k < target).collect()
    } else {
        keys.iter().rev().copied().filter(|k| *k < frame.key && *k > target).collect()
    };
    path.insert(0, frame.key);
    let start = frame.onset + 0.4 * (frame.end - frame.onset);
    let span = frame.end - start;
    let steps = path.len() as f64;
    let at = |i: usize| {
        if i == 0 {
            return frame.onset;
        }
        // Eased in and out: the inverse of a smooth step, by halving.
        let y = i as f64 / steps;
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..30 {
            let x: f64 = 0.5 * (low + high);
            if x * x * (3.0 - 2.0 * x) < y { low = x } else { high = x }
        }
        start + span * low
    };
    let strokes = (0..path.len())
        .map(|i| Stroke {
            onset: Seconds(at(i)),
            end: Seconds(if i + 1 < path.len() { at(i + 1) } else { frame.end }),
            key: path[i],
            attack: Decibels(frame.attack - if i == 0 { 0.0 } else { 1.5 }),
            joined: i > 0 && nature.sustains(),
        })
        .collect();
    Realisation { articulation: articulation.to_string(), strokes }
}

/// The bend of a slide by `semitones`: it starts after two fifths of the note, an S in pitch.
pub fn slide_bend(length: f64, semitones: f64) -> Vec<(Seconds, f64)> {
    let start = 0.4 * length;
    let mut points = vec![(Seconds(0.0), 0.0)];
    // Steps of at most 5 cents would be finer than any ear; a point every 10 ms is enough for a straight line between.
    let count = ((length - start) / 0.010).ceil().clamp(2.0, 400.0) as usize;
    for k in 0..=count {
        let x = k as f64 / count as f64;
        points.push((Seconds(start + (length - start) * x), 100.0 * semitones * x * x * (3.0 - 2.0 * x)));
    }
    points
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_roll_fills_its_time_and_ends_on_its_downbeat() {
        let frame = Frame { onset: 1.0, end: 3.0, key: 45, attack: 0.0 };
        let roll =
            strokes(frame, None, rate(Nature::Drum, "timpani", 45), "roll", &mut Chance::named(1, &["r"]));
        let onsets: Vec<f64> = roll.strokes.iter().map(|s| s.onset.0).collect();
        assert!(onsets.windows(2).all(|w| w[1] > w[0]));
        let mean = 2.0 / onsets.len() as f64;
        assert!((3.0 - onsets[onsets.len() - 1] - mean).abs() < 0.2 * mean);
        assert!((9.0..=13.0).contains(&(onsets.len() as f64 / 2.0)));
        assert!(roll.strokes.iter().all(|s| s.end.0 <= 3.0));
    }

    #[test]
    fn a_glissando_takes_its_steps_in_order() {
        let frame = Frame { onset: 0.0, end: 1.0, key: 60, attack: 0.0 };
        let white: Vec<u8> = (0..=127).filter(|k| [0, 2, 4, 5, 7, 9, 11].contains(&(k % 12))).collect();
        let up = glissando(frame, 72, &white, "glissando", Nature::Plucked);
        assert_eq!(up.strokes.iter().map(|s| s.key).collect::<Vec<_>>(), [60, 62, 64, 65, 67, 69, 71]);
        assert!(up.strokes.windows(2).all(|w| w[0].onset.0 < w[1].onset.0));
        let down = glissando(frame, 55, &white, "glissando", Nature::Plucked);
        assert_eq!(down.strokes.iter().map(|s| s.key).collect::<Vec<_>>(), [60, 59, 57]);
        assert!(down.strokes.iter().all(|s| !s.joined), "each string is plucked anew");
        let slide = glissando(frame, 55, &white, "glissando", Nature::Bowed);
        assert!(slide.strokes[1..].iter().all(|s| s.joined));
    }
}
