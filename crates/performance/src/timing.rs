//! When: ensemble asynchrony, and breaths of players who are alone on their part.

use crate::nature::Nature;
use ripieno_units::Chance;

/// Mean offset of a group against the beat, and spread of its onsets, in seconds: winds speak late, percussion is the
/// beat (mean -10 to +20 ms, spread 8 to 15 ms a player: proposals within Rasch's measured 27 to 49 ms between parts).
pub fn ensemble(nature: Nature) -> (f64, f64) {
    match nature {
        Nature::Bowed => (0.004, 0.010),
        Nature::Wind => (0.008, 0.008),
        Nature::Brass => (0.010, 0.008),
        Nature::Sung => (0.006, 0.012),
        Nature::Plucked => (0.0, 0.006),
        Nature::Keyboard | Nature::Struck | Nature::Drum | Nature::Unpitched => (0.0, 0.004),
    }
}

/// Offsets of a chair's onsets, drawn in order.
pub struct Asynchrony {
    chance: Chance,
    mean: f64,
    spread: f64,
    amount: f64,
    held: f64,
}

impl Asynchrony {
    /// The stream of one chair in one passage.
    pub fn new(seed: u64, chair: &str, passage: &str, nature: Nature, amount: f64) -> Self {
        let (mean, spread) = ensemble(nature);
        Self { chance: Chance::named(seed, &[chair, passage, "onset"]), mean, spread, amount, held: 0.0 }
    }

    /// Offset of the next onset in seconds: within 25 ms and 15 % of the interval from the onset before.
    pub fn next(&mut self, interval: f64) -> f64 {
        // Players correct three quarters of what they hear themselves off (Wing and others 2014: first-order correction).
        self.held = 0.25 * self.held + self.chance.normal(self.spread);
        let bound = 0.025_f64.min(0.15 * interval.max(0.0));
        (self.amount * (self.mean + self.held)).clamp(-bound, bound)
    }
}

/// A phrase-like stretch for one breath: when it starts and ends, and whether a breath after it is free.
#[derive(Clone, Copy, Debug)]
pub struct Sounding {
    /// Start in seconds.
    pub onset: f64,
    /// End in seconds.
    pub end: f64,
    /// The note after it is under the same slur: no breath here.
    pub tied_on: bool,
    /// A breath mark or comma stands after it.
    pub marked: bool,
    /// Ends at or before a barline: the better place.
    pub at_barline: bool,
}

/// After which notes a lone player breathes. `hold` is how long one breath lasts at this dynamic, in seconds; phrases of
/// three fifths of it are comfortable. A rest of a quarter of a second or more is a breath already.
pub fn breaths(notes: &[Sounding], hold: f64) -> Vec<usize> {
    const REST: f64 = 0.25;
    let comfortable = 0.6 * hold;
    let mut taken = Vec::new();
    let mut since = match notes.first() {
        Some(first) => first.onset,
        None => return taken,
    };
    let mut from = 0;
    let mut i = 0;
    while i + 1 < notes.len() {
        let (now, next) = (notes[i], notes[i + 1]);
        if next.onset - now.end >= REST {
            (since, from) = (next.onset, i + 1);
        } else if now.marked && !now.tied_on {
            taken.push(i);
            (since, from) = (next.onset, i + 1);
        } else if next.end - since > comfortable {
            // Look back for the best free place since the last breath: after a long note, before a barline.
            let worth = |k: usize| {
                let length = notes[k].end - notes[k].onset;
                length + if notes[k].at_barline { 0.4 } else { 0.0 } + 0.15 * (notes[k].end - since)
            };
            let free = (from..=i).filter(|k| !notes[*k].tied_on && notes[*k].end - notes[*k].onset >= 0.3);
            if let Some(best) = free.max_by(|a, b| worth(*a).total_cmp(&worth(*b))) {
                taken.push(best);
                (since, from) = (notes[best + 1].onset, best + 1);
                i = i.max(best);
                if notes[i + 1].end - since > comfortable && from > i {
                    // One note longer than a comfortable breath: nothing more to gain here.
                    i += 1;
                }
                continue;
            }
        }
        i += 1;
    }
    taken.dedup();
    taken
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(lengths: &[f64]) -> Vec<Sounding> {
        let mut at = 0.0;
        lengths
            .iter()
            .map(|l| {
                let onset = at;
                at += l;
                Sounding { onset, end: at, tied_on: false, marked: false, at_barline: false }
            })
            .collect()
    }

    #[test]
    fn breathes_after_the_long_note() {
        let taken = breaths(&line(&[0.5, 0.5, 0.5, 2.0, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5]), 10.0);
        assert_eq!(taken, [3]);
    }

    #[test]
    fn a_slur_is_not_broken() {
        let mut notes = line(&[2.0, 2.0, 2.0, 2.0, 2.0]);
        for note in &mut notes[..3] {
            note.tied_on = true;
        }
        assert!(breaths(&notes, 8.0).iter().all(|i| *i >= 3));
    }

    #[test]
    fn offsets_keep_their_bounds_and_their_seed() {
        let draw = |chair: &str| {
            let mut stream = Asynchrony::new(7, chair, "A", Nature::Bowed, 1.0);
            (0..500).map(|_| stream.next(0.1)).collect::<Vec<_>>()
        };
        assert!(draw("violas").iter().all(|o| o.abs() <= 0.0150001));
        assert_eq!(draw("violas"), draw("violas"));
        assert_ne!(draw("violas"), draw("cellos"));
    }
}
