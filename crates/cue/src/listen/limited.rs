//! The level of what is heard: one gain, and a limiter for what would still be too high.

use ripieno_mix::{AHEAD, Peaks, gains};
use ripieno_signal::measure::true_peaks;
use ripieno_units::Decibels;

/// Frames on each side of a point between samples that it is made of, and some to spare.
pub const NEIGHBOURS: usize = 16;

/// Milliseconds that the limiter remembers: it lets go with a time constant of 150 ms.
const REMEMBERED: usize = 2000;

/// A hundredth of a dB more than the ceiling asks: gains change between samples.
const MARGIN_DB: f64 = 0.05;

/// What was given last: a block that begins where it ended is limited as if both were one.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Past {
    /// Frame after the last.
    pub end: i64,
    /// The first hop that is remembered, and its peaks to where the next block begins.
    first: i64,
    peaks: Vec<f32>,
}

/// Frames of a hop.
pub fn hop(rate: u32) -> usize {
    (rate / 1000).max(1) as usize
}

/// Frames that must be known after those that are limited.
pub fn ahead(rate: u32) -> usize {
    (AHEAD + 2) * hop(rate) + NEIGHBOURS
}

/// Frames that must be known before: the hop that a block begins in, and its neighbours.
pub fn before(rate: u32) -> usize {
    hop(rate) + NEIGHBOURS
}

/// Limits the frames from `from` to `to` of a sound of which more is known: `known` is the frame of its first. Gives them, by how
/// many dB they were turned down at most, and what to remember.
pub fn limit(
    sound: &[Vec<f32>; 2],
    known: i64,
    (from, to): (i64, i64),
    rate: u32,
    ceiling_db: f64,
    past: Option<&Past>,
) -> ([Vec<f32>; 2], f64, Past) {
    let size = hop(rate) as i64;
    let peaks: Vec<Vec<f32>> = sound.iter().map(|side| true_peaks(side, f64::from(rate))).collect();
    let length = sound[0].len() as i64;
    let first = from.div_euclid(size);
    let last = to.div_euclid(size) + AHEAD as i64 + 1;
    let of_hop = |h: i64| {
        let (a, b) = ((h * size - known).clamp(0, length), ((h + 1) * size - known).clamp(0, length));
        peaks.iter().flat_map(|side| &side[a as usize..b as usize]).fold(0.0_f32, |m, x| m.max(*x))
    };
    let mut values: Vec<f32> = (first..last).map(of_hop).collect();
    let mut start = first;
    if let Some(past) = past.filter(|p| p.end == from && p.first + p.peaks.len() as i64 == first) {
        values.splice(0..0, past.peaks.iter().copied());
        start = past.first;
    }
    let ceiling = Decibels(ceiling_db - MARGIN_DB).amplitude();
    let all = gains(&Peaks { hop: size as usize, values: values.clone() }, 1.0, ceiling);
    let gain_at = |frame: i64| {
        let place = frame - start * size;
        let (h, x) = (place.div_euclid(size) as usize, place.rem_euclid(size) as f32 / size as f32);
        let at = |i: usize| all.get(i).copied().unwrap_or(1.0);
        at(h) + x * (at(h + 1) - at(h))
    };
    let mut lowest = 1.0_f32;
    let mut out = [Vec::new(), Vec::new()];
    let track: Vec<f32> = (from..to).map(gain_at).collect();
    for (out, side) in out.iter_mut().zip(sound) {
        out.extend(
            track.iter().zip(from..).map(|(gain, frame)| {
                gain * side.get((frame - known).max(0) as usize).copied().unwrap_or(0.0)
            }),
        );
    }
    for gain in &track {
        lowest = lowest.min(*gain);
    }
    // To where the next block begins.
    let kept = (to.div_euclid(size) - start).max(0) as usize;
    values.truncate(kept);
    let dropped = values.len().saturating_sub(REMEMBERED);
    values.drain(..dropped);
    let past = Past { end: to, first: start + dropped as i64, peaks: values };
    (out, -Decibels::from_amplitude(f64::from(lowest)).0, past)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noise(frames: usize) -> [Vec<f32>; 2] {
        let mut noise = ripieno_signal::Noise::seeded(4);
        let mut side = || -> Vec<f32> {
            (0..frames).map(|i| noise.sample() * if i / 9000 % 3 == 1 { 3.0 } else { 0.3 }).collect()
        };
        [side(), side()]
    }

    fn blocks(sound: &[Vec<f32>; 2], sizes: &[usize]) -> [Vec<f32>; 2] {
        let total = sound[0].len() as i64;
        let (mut from, mut past) = (0, None);
        let mut out = [Vec::new(), Vec::new()];
        for size in sizes.iter().cycle() {
            let to = (from + *size as i64).min(total);
            let a = (from - before(48_000) as i64).max(0);
            let b = (to + ahead(48_000) as i64).min(total);
            let known = [0, 1].map(|s| sound[s][a as usize..b as usize].to_vec());
            let (block, _, next) = limit(&known, a, (from, to), 48_000, -1.0, past.as_ref());
            out.iter_mut().zip(block).for_each(|(o, b)| o.extend(b));
            past = Some(next);
            from = to;
            if from >= total {
                break;
            }
        }
        out
    }

    #[test]
    fn no_peak_passes_and_blocks_join_without_a_step() {
        let sound = noise(60_000);
        let whole = blocks(&sound, &[60_000]);
        let cut = blocks(&sound, &[12_000, 7_001, 333]);
        for side in 0..2 {
            assert_eq!(cut[side].len(), 60_000);
            let peak = true_peaks(&cut[side], 48_000.0).iter().fold(0.0_f32, |a, x| a.max(*x));
            assert!(20.0 * peak.log10() <= -1.0, "{peak}");
            for (i, (a, b)) in whole[side].iter().zip(&cut[side]).enumerate() {
                assert!((a - b).abs() < 2e-3, "{side} {i}: {a} {b}");
            }
            // What is quiet is left alone once the limiter has let go.
            assert!((cut[side][8000] - sound[side][8000]).abs() < 1e-6);
        }
    }
}
