//! Ramps of tempo: how long they take, and where they must end to take so long.
//!
//! Tempi in quarters a minute (any beat, if all are in the same). Formulas: integrals of 60/v over the beats.

use ripieno_units::math;

/// Seconds of `beats` while the tempo goes from `from` to `to` evenly by the beat: 60 N ln(v1/v0) / (v1 - v0).
pub fn by_the_beat(from: f64, to: f64, beats: f64) -> f64 {
    // Near equality the quotient is lost in rounding: the series of ln(1 + x) / x.
    let x = to / from - 1.0;
    let share = if x.abs() < 1e-6 { 1.0 - x / 2.0 + x * x / 3.0 } else { math::ln(1.0 + x) / x };
    60.0 * beats / from * share
}

/// Seconds of `beats` while the tempo goes from `from` to `to` evenly in time: 120 N / (v0 + v1).
pub fn in_time(from: f64, to: f64, beats: f64) -> f64 {
    120.0 * beats / (from + to)
}

/// The tempo to end at, so that `beats` from `from` take `seconds`, evenly by the beat; none if no tempo from a hundredth to a
/// hundred times `from` does.
pub fn end_for(from: f64, beats: f64, seconds: f64) -> Option<f64> {
    bisect(from / 100.0, from * 100.0, |to| by_the_beat(from, to, beats) - seconds)
}

/// The tempo in the middle, so that two ramps of half the beats each, from `from` to it and on to `to`, take `seconds`.
pub fn middle_for(from: f64, to: f64, beats: f64, seconds: f64) -> Option<f64> {
    let (low, high) = (from.min(to) / 100.0, from.max(to) * 100.0);
    let half = beats / 2.0;
    bisect(low, high, |mid| by_the_beat(from, mid, half) + by_the_beat(mid, to, half) - seconds)
}

/// Where a falling function passes zero.
fn bisect(mut low: f64, mut high: f64, of: impl Fn(f64) -> f64) -> Option<f64> {
    if !(of(low) >= 0.0 && of(high) <= 0.0) {
        return None;
    }
    for _ in 0..200 {
        let mid = (low + high) / 2.0;
        if of(mid) > 0.0 { low = mid } else { high = mid }
    }
    Some((low + high) / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked values: 16 beats from 100 to 110; 16 beats from 100 in 9.2 s.
    #[test]
    fn worked_ramps() {
        assert!((by_the_beat(100.0, 110.0, 16.0) - 9.149_777).abs() < 5e-7);
        assert!((in_time(100.0, 110.0, 16.0) - 9.142_857).abs() < 5e-7);
        assert!((end_for(100.0, 16.0, 9.2).unwrap() - 108.819_89).abs() < 5e-6);
        assert!((by_the_beat(100.0, 100.0, 16.0) - 9.6).abs() < 1e-12);
        let mid = middle_for(100.0, 96.0, 16.0, 9.7).unwrap();
        assert!((by_the_beat(100.0, mid, 8.0) + by_the_beat(mid, 96.0, 8.0) - 9.7).abs() < 1e-9);
        assert_eq!(end_for(100.0, 16.0, 0.0), None);
    }
}
