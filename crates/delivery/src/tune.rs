//! When a chair is out of a mix "without the tune": while it has the tune, and until that has died away or it plays on.

/// A note: when it begins and ends, seconds from bar 1, and whether it belongs to the tune.
pub type Sounding = (f64, f64, bool);

/// Time in which a chair goes out or comes back, seconds: short enough to be between two notes (own choice).
pub const FADE: f64 = 0.02;

/// Before a note's onset a chair is out already, seconds: players breathe and bows bite before the beat (own choice, more
/// than the spread of onsets in an ensemble).
const BEFORE: f64 = 0.06;

/// Stretches in which the chair is out, seconds from bar 1: from the first note of the tune to the last in a row; then so long as
/// it rings on, `tail`, but no further than the chair's next note that is not the tune. `notes` in order of onset.
pub fn out(notes: &[Sounding], tail: f64) -> Vec<(f64, f64)> {
    let mut stretches: Vec<(f64, f64)> = Vec::new();
    for (i, (onset, end, tune)) in notes.iter().enumerate() {
        if !tune {
            continue;
        }
        let next = notes[i + 1..].iter().find(|n| !n.2).map_or(f64::INFINITY, |n| n.0 - BEFORE);
        let to = (end + tail).min(next).max(*onset);
        let from = onset - BEFORE;
        match stretches.last_mut() {
            Some(last) if from <= last.1 + 2.0 * FADE => last.1 = last.1.max(to),
            _ => stretches.push((from, to)),
        }
    }
    stretches
}

/// Amplitude of a chair at a time, 0 out to 1 in; straight fades inside the stretches' edges.
pub fn gain(stretches: &[(f64, f64)], at: f64) -> f32 {
    let i = stretches.partition_point(|s| s.1 < at);
    match stretches.get(i) {
        Some((from, to)) if at > *from => {
            let into = ((at - from) / FADE).min((to - at) / FADE).clamp(0.0, 1.0);
            (1.0 - into) as f32
        }
        _ => 1.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn out_while_it_has_the_tune() {
        let notes =
            [(0.0, 1.0, false), (1.0, 2.0, true), (2.0, 3.0, true), (10.0, 11.0, true), (12.0, 13.0, false)];
        let stretches = out(&notes, 2.0);
        assert_eq!(stretches, [(1.0 - BEFORE, 5.0), (10.0 - BEFORE, 12.0 - BEFORE)]);
        assert_eq!([0.5, 1.5, 4.0, 6.0, 12.5].map(|t| gain(&stretches, t)), [1.0, 0.0, 0.0, 1.0, 1.0]);
        assert!((gain(&stretches, 5.0 - FADE / 2.0) - 0.5).abs() < 1e-6);
        assert!(out(&notes[..1], 2.0).is_empty());
    }
}
