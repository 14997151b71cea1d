//! What comes again: turns of melody, told by their steps and the relations of their lengths, in any key and at any speed.

use super::lines::{Tone, Units};

/// A turn is so many tones long.
const TURN: usize = 5;
/// Occurrences as near as this (in bars) say nothing about each other: a sequence, an ostinato, an imitation.
const NEAR: usize = 2;

/// One occurrence of a turn.
#[derive(Clone, Copy, Debug)]
struct Place {
    bar: usize,
    track: usize,
    /// Index of its first tone.
    tone: usize,
}

/// All turns of a score.
#[derive(Debug)]
pub(super) struct Themes {
    turns: Vec<Vec<Place>>,
}

/// Letters of the scale between two tones, about: a third is a third, major or minor.
fn step(interval: i16) -> i64 {
    const LETTERS: [i64; 13] = [0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6, 7];
    let size = interval.unsigned_abs().min(12) as usize;
    LETTERS[size] * i64::from(interval.signum())
}

/// Shorter, as long, or longer: 0, 1, 2.
fn longer(a: f64, b: f64) -> i64 {
    if b < a * 0.8 {
        0
    } else if b > a * 1.25 {
        2
    } else {
        1
    }
}

impl Themes {
    pub fn of(lines: &[Vec<Tone>], units: &Units) -> Self {
        let mut keyed: Vec<(i64, Place)> = Vec::new();
        for (track, tones) in lines.iter().enumerate() {
            let mut unit = 0;
            for (i, turn) in tones.windows(TURN).enumerate() {
                while unit + 1 < units.count() && units.edges[unit + 1] <= turn[0].at {
                    unit += 1;
                }
                // A rest of more than two quarters, or of more than the notes before it, ends a turn.
                let broken = turn.windows(2).any(|p| p[1].at - p[0].end > 2.0);
                let still = turn.windows(2).all(|p| p[0].key == p[1].key);
                if broken || still {
                    continue;
                }
                let mut word = 0i64;
                for pair in turn.windows(2) {
                    word = word * 15 + step(pair[1].key - pair[0].key) + 7;
                }
                for three in turn.windows(3) {
                    word = word * 3 + longer(three[1].at - three[0].at, three[2].at - three[1].at);
                }
                keyed.push((word, Place { bar: units.bar[unit], track, tone: i }));
            }
        }
        keyed.sort_by_key(|(word, p)| (*word, p.bar, p.track, p.tone));
        let mut turns: Vec<Vec<Place>> = Vec::new();
        let mut last = None;
        for (word, place) in keyed {
            if last == Some(word)
                && let Some(turn) = turns.last_mut()
            {
                turn.push(place);
            } else {
                turns.push(vec![place]);
                last = Some(word);
            }
        }
        Self { turns }
    }

    /// For each tone of each track: how much its turns come again elsewhere (log of the number of separate places).
    pub fn recurrence(&self, lines: &[Vec<Tone>]) -> Vec<Vec<f64>> {
        let mut marks = blank(lines);
        for turn in &self.turns {
            let mut places = 0;
            let mut last: Option<usize> = None;
            for place in turn {
                if last.is_none_or(|bar| place.bar > bar + NEAR) {
                    places += 1;
                    last = Some(place.bar);
                }
            }
            if places < 2 {
                continue;
            }
            let value = ripieno_units::math::log2(f64::from(places.min(16)));
            for place in turn {
                spread(&mut marks, *place, value);
            }
        }
        average(marks)
    }
}

fn blank(lines: &[Vec<Tone>]) -> Vec<Vec<(f64, f64)>> {
    lines.iter().map(|l| vec![(0.0, 0.0); l.len()]).collect()
}

fn spread(marks: &mut [Vec<(f64, f64)>], place: Place, value: f64) {
    for mark in marks[place.track].iter_mut().skip(place.tone).take(TURN) {
        *mark = (mark.0 + value, mark.1 + 1.0);
    }
}

fn average(marks: Vec<Vec<(f64, f64)>>) -> Vec<Vec<f64>> {
    marks
        .into_iter()
        .map(|l| l.into_iter().map(|(sum, n)| if n > 0.0 { sum / n } else { 0.0 }).collect())
        .collect()
}
