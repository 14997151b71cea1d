//! The click: two pitched strokes, the downbeat higher, from the first bar of the lead-in to the last of the piece.

use ripieno_music::{Metre, Timeline};
use ripieno_units::{Beats, Seconds, math};

/// One click.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Click {
    /// Seconds from bar 1.
    pub at: Seconds,
    /// Where in the score; before zero in the lead-in.
    pub beat: Beats,
    /// The first of its bar.
    pub downbeat: bool,
}

/// Frequencies of the downbeat and of the other beats, hertz: apart by a fourth, where the ear is keen and the orchestra thin
/// (own choice).
pub const HERTZ: [f64; 2] = [1760.0, 1320.0];
/// Highest sample: moderate, for headphones worn for hours (own choice, -12 dBFS).
pub const PEAK: f64 = 0.25;
/// A click's length, and the time in which it falls by half, seconds (own choice).
const LENGTH: f64 = 0.05;
const HALF: f64 = 0.006;
/// Its attack, seconds: heard as one with its onset.
const ATTACK: f64 = 0.0005;

/// The beats that are clicked: of compound metres (6/8, 9/8, 12/8) the dotted ones.
fn step(metre: Metre) -> Beats {
    let compound = metre.unit >= 8 && metre.beats > 3 && metre.beats.is_multiple_of(3);
    metre.beat() * if compound { 3 } else { 1 }
}

/// All clicks, in order. So many whole bars of lead-in are counted in the metre of bar 1; a pick-up falls into them.
pub fn clicks(timeline: &Timeline, lead_in_bars: u32) -> Vec<Click> {
    let clock = timeline.clock();
    let first = timeline.bar_at(Beats::ZERO).metre;
    let bars = (1..=i64::from(lead_in_bars)).rev().map(|n| (-(first.bar() * n), first.bar(), first));
    let written = timeline.bars.iter().filter(|b| b.at >= Beats::ZERO).map(|b| (b.at, b.length, b.metre));
    let mut out = Vec::new();
    for (at, length, metre) in bars.chain(written) {
        let step = step(metre);
        let mut beat = Beats::ZERO;
        while beat < length && step.is_positive() {
            let place = at + beat;
            out.push(Click { at: clock.seconds(place), beat: place, downbeat: beat.is_zero() });
            beat += step;
        }
    }
    out
}

/// The sound of a click at this sample rate; its first sample is its onset.
pub fn sound(downbeat: bool, rate: u32) -> Vec<f32> {
    let rate = f64::from(rate);
    let hertz = HERTZ[usize::from(!downbeat)];
    let frames = (LENGTH * rate) as usize;
    let sample = |i: usize| {
        let t = i as f64 / rate;
        let attack = (t / ATTACK).min(1.0);
        let end = ((LENGTH - t) / 0.005).clamp(0.0, 1.0);
        let fall = math::exp(-core::f64::consts::LN_2 * t / HALF);
        (PEAK * attack * end * fall * math::sin(2.0 * core::f64::consts::PI * hertz * t)) as f32
    };
    (0..frames).map(sample).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bars_are_counted() {
        let timeline = Timeline::regular(2, Metre { beats: 6, unit: 8 }, 60.0);
        let found: Vec<(f64, bool)> = clicks(&timeline, 1).iter().map(|c| (c.at.0, c.downbeat)).collect();
        let wanted = [(-3.0, true), (-1.5, false), (0.0, true), (1.5, false), (3.0, true), (4.5, false)];
        assert_eq!(found, wanted);
        let four = Timeline::regular(1, Metre { beats: 4, unit: 4 }, 120.0);
        assert_eq!(clicks(&four, 0).iter().map(|c| c.at.0).collect::<Vec<_>>(), [0.0, 0.5, 1.0, 1.5]);
        let seven = Timeline::regular(1, Metre { beats: 7, unit: 8 }, 120.0);
        assert_eq!(clicks(&seven, 0).len(), 7);
    }

    #[test]
    fn the_sound_is_moderate_and_ends() {
        for downbeat in [true, false] {
            let sound = sound(downbeat, 48_000);
            let peak = sound.iter().fold(0.0_f32, |p, x| p.max(x.abs()));
            assert!((0.15..=0.25).contains(&peak), "{peak}");
            assert!(sound[sound.len() - 1].abs() < 1e-4);
        }
    }
}
