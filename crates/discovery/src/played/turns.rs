//! Notes that may be a turn: the neighbours on both sides and the note itself, one after the other, quicker than counted notes.

use super::graces::quick;
use super::grid::Onset;
use ripieno_music::OrnamentKind;

/// The most strokes after the first note.
pub(super) const MOST: usize = 4;
/// The longest stroke, in seconds: the 90 ms of a slow turn and the players' spread.
const LONGEST: f64 = 0.105;
/// The shortest, in seconds: less is a chord. A turn is squeezed into a short note.
const SHORTEST: f64 = 0.004;
/// A turn comes to rest: its last note is at least so many strokes long. Four even notes are written out.
const RESTS: f64 = 1.4;
/// What a turn costs, in nats, where its strokes are too quick to be counted, and what more where they are not: about what
/// four written notes of a common subdivision cost that lie a deviation beside their places.
const COST: (f64, f64) = (5.0, 4.0);

/// A turn that an onset may begin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Turn {
    pub kind: OrnamentKind,
    /// How many onsets after the first belong to it; the last of them has the key of the main note.
    pub strokes: usize,
    /// In nats.
    pub cost: f64,
}

/// The turn that begins with onset `first`, which then has the place of the whole.
pub(super) fn from(onsets: &[Onset], first: usize) -> Option<Turn> {
    let all = onsets.get(first..)?;
    let quick_from = |a: usize, b: usize| {
        all.len() > b && (a..b).all(|i| (SHORTEST..=LONGEST).contains(&(all[i + 1].on - all[i].on)))
    };
    let turn = |kind, strokes: usize, quick_strokes: usize| {
        let step = (all[strokes].on - all[strokes - quick_strokes].on) / quick_strokes as f64;
        Turn { kind, strokes, cost: COST.0 + COST.1 * (1.0 - quick(step)) }
    };
    let rests = |strokes: usize| {
        let step = (all[strokes].on - all[0].on) / strokes as f64;
        all.get(strokes + 1).is_none_or(|next| next.on - all[strokes].on >= RESTS * step)
    };
    // Upper (1) or lower (-1) neighbour of the main note.
    let side = |i: usize, main: i16| match all[i].key - main {
        1 | 2 => 1,
        -1 | -2 => -1,
        _ => 0,
    };
    if all.len() > 4 && all[0].key == all[2].key && all[2].key == all[4].key && quick_from(1, 4) {
        let main = all[0].key;
        // A turn after a rest does not belong to the note before the rest.
        let held = all[1].on - all[0].on > LONGEST && all[1].on - all[0].end <= LONGEST;
        let kind = match (side(1, main), side(3, main), held) {
            (1, -1, true) => Some(OrnamentKind::DelayedTurn),
            (-1, 1, true) => Some(OrnamentKind::DelayedInvertedTurn),
            (1, -1, false) if quick_from(0, 1) && rests(4) => Some(OrnamentKind::Haydn),
            _ => None,
        };
        if let Some(kind) = kind {
            return Some(turn(kind, 4, if held { 3 } else { 4 }));
        }
    }
    if all.len() > 3 && all[1].key == all[3].key && quick_from(0, 3) && rests(3) {
        let main = all[1].key;
        return match (side(0, main), side(2, main)) {
            (1, -1) => Some(turn(OrnamentKind::Turn, 3, 3)),
            (-1, 1) => Some(turn(OrnamentKind::InvertedTurn, 3, 3)),
            _ => None,
        };
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn onsets(all: &[(f64, i16)]) -> Vec<Onset> {
        all.iter().map(|(on, key)| Onset { on: *on, end: on + 0.05, key: *key }).collect()
    }

    #[test]
    fn four_quick_notes_around_one_are_a_turn() {
        let on_the_beat = onsets(&[(1.0, 74), (1.06, 72), (1.12, 71), (1.18, 72)]);
        assert_eq!(from(&on_the_beat, 0).map(|t| (t.kind, t.strokes)), Some((OrnamentKind::Turn, 3)));
        let even = onsets(&[(1.0, 74), (1.06, 72), (1.12, 71), (1.18, 72), (1.24, 74)]);
        assert_eq!(from(&even, 0), None);
        let mut after = onsets(&[(0.5, 72), (1.0, 74), (1.06, 72), (1.12, 71), (1.18, 72)]);
        assert_eq!(from(&after, 0), None, "after a rest");
        after[0].end = 0.98;
        assert_eq!(from(&after, 0).map(|t| (t.kind, t.strokes)), Some((OrnamentKind::DelayedTurn, 4)));
    }

    #[test]
    fn slow_notes_and_runs_are_none() {
        assert_eq!(from(&onsets(&[(1.0, 74), (1.2, 72), (1.4, 71), (1.6, 72)]), 0), None);
        assert_eq!(from(&onsets(&[(1.0, 74), (1.06, 72), (1.12, 71), (1.18, 69)]), 0), None);
        assert_eq!(from(&onsets(&[(1.0, 74)]), 0), None);
        assert_eq!(from(&[], 0), None);
    }
}
