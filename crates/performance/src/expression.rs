//! Tempo expression: phrase arch and final ritard, off unless the plan asks.

use ripieno_music::{Tempo, Timeline};
use ripieno_units::{Beats, math};

/// End tempo over start tempo of the final ritard (runner model: 0.4 to 0.6).
const FINAL: f64 = 0.5;
/// Exponent of the runner model: speed a cube root of position (Friberg and Sundberg 1999).
const RUNNER: f64 = 3.0;

/// The timeline with its tempi shaped: each passage an arch, the end a ritard. With `amount` 0 it is as it was.
///
/// There is one time map for all parts, so that nothing smears; bars and marks keep their places in score time.
pub fn shape_tempo(timeline: &Timeline, passages: &[(String, Beats)], amount: f64) -> Timeline {
    let mut shaped = timeline.clone();
    if amount <= 0.0 || timeline.bars.is_empty() {
        return shaped;
    }
    let (start, end) = (timeline.start(), timeline.end());
    let mut borders: Vec<Beats> = passages.iter().map(|p| p.1).filter(|b| *b > start && *b < end).collect();
    borders.insert(0, start);
    borders.push(end);
    borders.dedup();
    // The ritard begins about 1.3 s before the end, at least two and at most eight beats.
    let last = timeline.tempo_at(end);
    let beats = (1.3 * amount * last.quarters_per_minute() / 60.0).clamp(2.0, 8.0);
    let ritard = (end - Beats::approximate(beats)).max(start);
    let mut tempi: Vec<Tempo> = Vec::new();
    let mut at = start;
    while at < end {
        let border = borders.partition_point(|b| *b <= at);
        let (from, to) = (borders[border - 1], borders.get(border).copied().unwrap_or(end));
        let x = (at - from).ratio(to - from);
        let stretch = 1.0 + amount * 0.10 * arch(x) * if to == end { 1.3 } else { 1.0 };
        let slow = if at >= ritard { runner((at - ritard).ratio(end - ritard), amount) } else { 1.0 };
        let micros = f64::from(timeline.tempo_at(at).micros) * stretch / slow;
        tempi.push(Tempo { at, micros: micros.round().clamp(1.0, 16_777_215.0) as u32 });
        let step = Beats::new(1, 2);
        let next_tempo = timeline.tempi.iter().map(|t| t.at).find(|t| *t > at).unwrap_or(end);
        at = (at + step).min(next_tempo).min(if ritard > at { ritard } else { end }).min(to);
    }
    if tempi.is_empty() {
        return shaped;
    }
    shaped.tempi = tempi;
    shaped
}

/// Parabola of the phrase arch, turning point 0.6, power 2 (Friberg 1995): 1 at the start, 0 at the turn, 1 at the end.
fn arch(x: f64) -> f64 {
    const TURN: f64 = 0.6;
    let d = if x < TURN { (TURN - x) / TURN } else { (x - TURN) / (1.0 - TURN) };
    d * d
}

/// Speed over the ritard: v(x) = [1 + (w^q - 1) x]^(1/q), with the depth scaled by `amount` up to 1.
fn runner(x: f64, amount: f64) -> f64 {
    let w = 1.0 - (1.0 - FINAL) * amount.min(1.0);
    math::pow(1.0 + (math::pow(w, RUNNER) - 1.0) * x.clamp(0.0, 1.0), 1.0 / RUNNER)
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_music::Metre;

    #[test]
    fn off_is_untouched() {
        let timeline = Timeline::regular(8, Metre { beats: 4, unit: 4 }, 100.0);
        assert_eq!(shape_tempo(&timeline, &[], 0.0), timeline);
    }

    /// Values computed from the published formulas for q = 3, w = 0.5 and turning point 0.6, power 2.
    #[test]
    fn the_published_values() {
        for (x, v) in [(0.0, 1.0), (0.25, 0.9210), (0.5, 0.8255), (0.75, 0.7005), (1.0, 0.5)] {
            assert!((runner(x, 1.0) - v).abs() < 1e-4, "{x}");
        }
        for (i, d) in [1.0, 0.627, 0.340, 0.141, 0.028, 0.004, 0.141, 0.473, 1.0].iter().enumerate() {
            assert!((arch(i as f64 / 8.0) - d).abs() < 1e-3, "{i}");
        }
    }

    #[test]
    fn the_end_slows() {
        let timeline = Timeline::regular(8, Metre { beats: 4, unit: 4 }, 100.0);
        let shaped = shape_tempo(&timeline, &[], 1.0);
        assert!(shaped.seconds(timeline.end()).0 > timeline.seconds(timeline.end()).0);
        assert!(shaped.tempi.windows(2).all(|w| w[0].at < w[1].at));
    }
}
