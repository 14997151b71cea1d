//! A limiter that looks ahead.

use std::collections::VecDeque;

/// It looks this far ahead, and comes down over this time, seconds (common practice).
const AHEAD: f64 = 0.005;

/// It lets go with this time constant, seconds (common practice).
const RELEASE: f64 = 0.150;

/// A gain for every frame, 1 or less, such that `peaks[i] * drive * gain[i]` stays at or below `ceiling`. It changes smoothly:
/// the lowest gain wanted within the time ahead, let go slowly, averaged over that time.
pub fn gains(peaks: &[f32], drive: f64, ceiling: f64, sample_rate: f64) -> Vec<f32> {
    let ahead = ((AHEAD * sample_rate) as usize).max(1);
    let limit = (ceiling / drive) as f32;
    let wanted = |i: usize| match peaks.get(i) {
        Some(p) if *p > limit => limit / p,
        _ => 1.0,
    };
    let keep = (1.0 - ripieno_units::math::exp(-1.0 / (RELEASE * sample_rate))) as f32;
    // Sliding minimum over i-ahead..=i+ahead, by a queue that rises; then a mean over i-ahead..=i.
    let mut queue: VecDeque<(usize, f32)> = VecDeque::new();
    // What stands at the very start finds the limiter down already.
    let mut held = (0..ahead).map(wanted).fold(1.0_f32, f32::min);
    let mut window: VecDeque<f32> = VecDeque::from(vec![held; ahead]);
    let mut total = ahead as f64 * f64::from(held);
    let mut gains = Vec::with_capacity(peaks.len());
    for i in 0..ahead {
        push(&mut queue, i, wanted(i));
    }
    for i in 0..peaks.len() {
        push(&mut queue, i + ahead, wanted(i + ahead));
        while queue.front().is_some_and(|(at, _)| at + ahead < i) {
            queue.pop_front();
        }
        let lowest = queue.front().map_or(1.0, |q| q.1);
        held = lowest.min(held + keep * (lowest - held));
        total += f64::from(held) - f64::from(window.pop_front().unwrap_or(1.0));
        window.push_back(held);
        gains.push(((total / ahead as f64) as f32).min(1.0));
    }
    gains
}

fn push(queue: &mut VecDeque<(usize, f32)>, at: usize, value: f32) {
    while queue.back().is_some_and(|(_, v)| *v >= value) {
        queue.pop_back();
    }
    queue.push_back((at, value));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_peak_passes_and_quiet_is_left_alone() {
        let mut peaks = vec![0.2_f32; 48_000];
        for i in [0, 7, 10_000, 10_100, 30_000, 47_999] {
            peaks[i] = 3.0;
        }
        let gains = gains(&peaks, 1.0, 0.5, 48_000.0);
        assert_eq!(gains.len(), peaks.len());
        for (gain, peak) in gains.iter().zip(&peaks) {
            assert!(gain * peak <= 0.5001, "{gain} {peak}");
        }
        assert!(gains[29_000] > 0.9);
        // Smooth: over 5 ms, by at most what the peak asks.
        assert!(gains.windows(2).all(|w| (w[1] - w[0]).abs() < 0.005));
    }
}
