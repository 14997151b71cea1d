//! A harpist's two hands on one chord: who takes which strings.

use ripieno_instruments::HarpFacts;

/// A chord for two hands: strings from the lowest, the first `left` of them for the left hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Hands {
    /// So many strings are the left hand's.
    pub left: usize,
}

/// Lays a chord in two hands: strings counted from any one, rising, none twice. `None` if it cannot be done. Of several ways the
/// one whose wider hand is narrowest, then the one that shares evenly.
///
/// Hands do not cross in a chord, and each takes neighbours: if any sharing works, one that cuts the chord in two does.
pub fn share(strings: &[i16], facts: &HarpFacts) -> Option<Hands> {
    let width = |hand: &[i16]| hand.last().zip(hand.first()).map_or(0, |(high, low)| high - low + 1);
    let fits = |hand: &[i16]| hand.len() <= facts.fingers && width(hand) <= facts.reach;
    (0..=strings.len())
        .filter(|left| fits(&strings[..*left]) && fits(&strings[*left..]))
        .min_by_key(|left| {
            let (low, high) = strings.split_at(*left);
            (width(low).max(width(high)), low.len().abs_diff(high.len()))
        })
        .map(|left| Hands { left })
}

/// The fewest strings to leave out so that two hands can take the rest, by index; inner ones before outer ones. Up to three.
pub fn leave_out(strings: &[i16], facts: &HarpFacts) -> Option<Vec<usize>> {
    let inner = |i: &usize| std::cmp::Reverse((*i).min(strings.len() - 1 - *i));
    let mut order: Vec<usize> = (0..strings.len()).collect();
    order.sort_by_key(inner);
    let without = |out: &[usize]| {
        let rest: Vec<i16> =
            strings.iter().enumerate().filter(|(i, _)| !out.contains(i)).map(|(_, s)| *s).collect();
        share(&rest, facts).is_some()
    };
    for count in 1..=3usize {
        let mut chosen = Vec::new();
        if pick(&order, count, &mut chosen, &without) {
            chosen.sort_unstable();
            return Some(chosen);
        }
    }
    None
}

fn pick(order: &[usize], count: usize, chosen: &mut Vec<usize>, good: &dyn Fn(&[usize]) -> bool) -> bool {
    if count == 0 {
        return good(chosen);
    }
    for (i, one) in order.iter().enumerate() {
        chosen.push(*one);
        if pick(&order[i + 1..], count - 1, chosen, good) {
            return true;
        }
        chosen.pop();
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_instruments::harp;

    #[test]
    fn tenths_and_four_fingers() {
        // A tenth in each hand.
        assert_eq!(share(&[0, 4, 7, 9, 14, 18, 21, 23], harp()), Some(Hands { left: 4 }));
        // An eleventh in the right hand goes down to the left.
        assert_eq!(share(&[5, 10, 20], harp()), Some(Hands { left: 2 }));
        assert_eq!(share(&[0, 10, 20], harp()), None);
        // Five and three: nobody has five fingers to play with.
        assert_eq!(share(&[0, 1, 2, 3, 4, 20, 21, 22], harp()), None);
        assert_eq!(leave_out(&[0, 1, 2, 3, 4, 20, 21, 22], harp()), Some(vec![3]));
    }

    /// Every sharing of every set of strings within two octaves and a half, crossing hands among them.
    #[test]
    fn a_cut_is_as_good_as_any_sharing() {
        let fits = |hand: &[i16]| {
            hand.len() <= 4 && hand.last().zip(hand.first()).is_none_or(|(high, low)| high - low < 10)
        };
        for chord in 0u32..1 << 13 {
            // Thirteen strings, spread so that hands are too small for many of these.
            let strings: Vec<i16> = (0..13).filter(|i| chord & 1 << i != 0).map(|i| i * 2).collect();
            if strings.len() > 9 {
                continue;
            }
            let any = (0u32..1 << strings.len()).any(|left| {
                let hand = |mine: u32| -> Vec<i16> {
                    (0..strings.len()).filter(|i| mine & 1 << i != 0).map(|i| strings[i]).collect()
                };
                fits(&hand(left)) && fits(&hand(!left))
            });
            assert_eq!(share(&strings, harp()).is_some(), any, "{strings:?}");
        }
    }
}
