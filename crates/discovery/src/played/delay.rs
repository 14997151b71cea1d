//! How far a track lies ahead of the beat.

use super::grid::{self, Beat};
use ripieno_music::{Content, Score};

/// The furthest that is looked for, in seconds: patches speak up to a third of a second late.
const MOST: f64 = 0.350;
/// Steps of the search, in seconds.
const STEP: f64 = 0.005;
/// Width of the comb's teeth, in seconds.
const WIDTH: f64 = 0.018;
/// Weights of places in the beat: on it, its half, its quarters, its thirds (proposals, in the order of how common they are).
const PLACES: [(f64, f64, f64); 4] = [(1.0, 0.0, 1.0), (2.0, 1.0, 0.6), (4.0, 2.0, 0.3), (3.0, 3.0, 0.25)];
/// What a second of delay must be worth: of two that fit alike, the shorter.
const PER_SECOND: f64 = 0.25;
/// A track is called early from here on, in seconds: less is human.
const LEAST: f64 = 0.030;

/// The time in seconds by which a track's notes must be moved later to lie on the beats best; `None` where they do not lie better
/// than as they are, or too few are there to tell. Only the file's own beat is asked: a delay of a whole subdivision cannot be
/// told from none.
pub fn early(score: &Score, content: &Content) -> Option<f64> {
    if content.notes.len() < 24 {
        return None;
    }
    let beats = grid::beats(&score.timeline);
    let clock = score.timeline.clock();
    let mut onsets: Vec<f64> = content.notes.iter().map(|n| clock.seconds(n.at).0).collect();
    onsets.dedup_by(|a, b| (*a - *b).abs() < 0.010);
    let fit =
        |delay: f64| onsets.iter().map(|o| weight(&beats, o + delay)).sum::<f64>() / onsets.len() as f64;
    let as_is = fit(0.0);
    let steps = (MOST / STEP) as usize;
    let best = (0..=steps)
        .map(|i| i as f64 * STEP)
        .map(|delay| (fit(delay) - PER_SECOND * delay, delay))
        .max_by(|a, b| a.0.total_cmp(&b.0))?;
    (best.1 >= LEAST && best.0 > as_is + 0.08).then_some(best.1)
}

fn weight(beats: &[Beat], at: f64) -> f64 {
    let b = beats.partition_point(|b| b.from <= at).saturating_sub(1);
    let Some(beat) = beats.get(b) else { return 0.0 };
    let length = beat.to - beat.from;
    let x = (at - beat.from) / length;
    let mut most: f64 = 0.0;
    for (parts, _, weight) in PLACES {
        let away = (x * parts - (x * parts).round()).abs() / parts * length / WIDTH;
        most = most.max(weight * ripieno_units::math::exp(-0.5 * away * away));
    }
    most
}
