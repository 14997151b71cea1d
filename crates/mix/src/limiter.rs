//! A limiter that looks ahead.

use crate::Peaks;
use std::collections::VecDeque;

/// It looks this many hops ahead, and comes down over this time: 5 ms (common practice).
pub const AHEAD: usize = 5;

/// It lets go with this time constant, in hops: 150 ms (common practice).
const RELEASE: f64 = 150.0;

/// A gain for the start of every hop and the end of the last, 1 or less, with straight lines between, such that
/// `peak * drive * gain` stays at or below `ceiling` in every hop. It changes smoothly: the lowest gain wanted within the time
/// ahead, let go slowly, averaged over that time.
pub fn gains(peaks: &Peaks, drive: f64, ceiling: f64) -> Vec<f32> {
    let limit = (ceiling / drive) as f32;
    let of = |i: Option<usize>| match i.and_then(|i| peaks.values.get(i)) {
        Some(p) if *p > limit => limit / p,
        _ => 1.0,
    };
    // A line ends in the next hop's start: both hops must bear it.
    let wanted = |i: usize| of(i.checked_sub(1)).min(of(Some(i)));
    let keep = (1.0 - ripieno_units::math::exp(-1.0 / RELEASE)) as f32;
    // Sliding minimum over i-AHEAD..=i+AHEAD, by a queue that rises; then a mean over i-AHEAD..=i.
    let mut queue: VecDeque<(usize, f32)> = VecDeque::new();
    // What stands at the very start finds the limiter down already.
    let mut held = (0..AHEAD).map(wanted).fold(1.0_f32, f32::min);
    let mut window: VecDeque<f32> = VecDeque::from(vec![held; AHEAD]);
    let count = peaks.values.len() + 1;
    let mut gains = Vec::with_capacity(count);
    for i in 0..AHEAD {
        push(&mut queue, i, wanted(i));
    }
    for i in 0..count {
        push(&mut queue, i + AHEAD, wanted(i + AHEAD));
        while queue.front().is_some_and(|(at, _)| at + AHEAD < i) {
            queue.pop_front();
        }
        let lowest = queue.front().map_or(1.0, |q| q.1);
        held = lowest.min(held + keep * (lowest - held));
        window.pop_front();
        window.push_back(held);
        gains.push((window.iter().sum::<f32>() / AHEAD as f32).min(1.0));
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
        let mut values = vec![0.2_f32; 1000];
        for i in [0, 7, 300, 302, 700, 999] {
            values[i] = 3.0;
        }
        let peaks = Peaks { hop: 48, values };
        let gains = gains(&peaks, 1.0, 0.5);
        assert_eq!(gains.len(), 1001);
        for (i, peak) in peaks.values.iter().enumerate() {
            assert!(gains[i].max(gains[i + 1]) * peak <= 0.5001, "{i}: {} {peak}", gains[i]);
        }
        assert!(gains[690] > 0.9);
        // Smooth: over 5 ms, by at most what the peak asks.
        assert!(gains.windows(2).all(|w| (w[1] - w[0]).abs() < 0.2));
    }
}
