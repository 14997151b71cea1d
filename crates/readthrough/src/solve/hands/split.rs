//! Which hand takes which notes of a keyboard part.
//!
//! A Viterbi search. The state is what each hand (and the feet of an organ) still holds, and where and when it played
//! last; a hand that holds nothing and has not played for [`IDLE`] is free. Costs: spans beyond ease, ways, crossed hands, notes
//! taken from the other hand's staff. What cannot be is charged dearly instead of forbidden.

use ripieno_instruments::{Keyboard, naturals};
use std::collections::BTreeMap;

/// Fingers of a hand.
pub const FINGERS: u32 = 5;
/// A hand idle for so many seconds may be anywhere. Own proposal, as are the costs below.
pub const IDLE: f64 = 1.0;
/// Cost of each natural of a span beyond ease.
pub const WIDE: f64 = 1.0;
/// Naturals that a hand covers without moving.
pub const COVERED: f64 = 4.0;
/// Cost of each octave of a way.
pub const MOVE: f64 = 0.3;
/// A hand on its way: seconds beside the way itself.
pub const SET_OUT: f64 = 0.05;
/// Naturals a second of a hand on its way: about 2.8 metres.
pub const SPEED: f64 = 120.0;
/// Cost of crossed hands.
pub const CROSSED: f64 = 3.0;
/// Cost of a note taken by the other hand than its staff says.
pub const OTHER_STAFF: f64 = 0.5;
/// Cost of uneven shares, by the square of the difference.
pub const UNEVEN: f64 = 0.02;
/// What cannot be.
pub const CANNOT: f64 = 20.0;
/// So many states are kept at an onset; where there are more, the dearest are dropped and the answer may not be the least.
pub const KEPT: usize = 64;
/// So many ways to share one chord are tried.
const SHARES: usize = 4096;

/// Left hand, right hand, feet.
pub const LEFT: usize = 0;
/// The right hand.
pub const RIGHT: usize = 1;
/// The feet.
pub const FEET: usize = 2;

/// Keys of each side, as bit sets.
pub type Sides = [u128; 3];

/// One onset.
#[derive(Clone, Debug, PartialEq)]
pub struct Task {
    /// Seconds.
    pub at: f64,
    /// Keys that begin, with the side that their staff says.
    pub new: Vec<(u8, Option<usize>)>,
    /// Keys that are held on.
    pub held: u128,
}

/// What a hand cannot do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Trouble {
    /// Open so far, with what it holds.
    Span,
    /// Play so many.
    Fingers,
    /// Get there in time.
    Jump,
}

/// Where a side played last.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Last {
    /// Seconds.
    pub at: f64,
    /// Its outer keys, in naturals.
    pub low: f64,
    /// The upper of them.
    pub high: f64,
}

impl Last {
    fn middle(&self) -> f64 {
        0.5 * (self.low + self.high)
    }
}

/// A state: what each side holds, where it played last.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct State {
    /// Keys down.
    pub sides: Sides,
    /// Where it played last.
    pub last: [Option<Last>; 3],
}

impl State {
    /// Hands in the lap.
    pub const FREE: Self = Self { sides: [0; 3], last: [None; 3] };
}

/// A state as something that can be looked up.
type Bits = (Sides, [(u64, u64, u64); 3]);

impl State {
    fn bits(&self) -> Bits {
        let bits = |l: Last| (l.at.to_bits(), l.low.to_bits(), l.high.to_bits());
        (self.sides, self.last.map(|l| l.map_or((u64::MAX, 0, 0), bits)))
    }
}

/// What was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Split {
    /// What each side begins at each onset; nothing where the chord cannot be shared out at all.
    pub new: Vec<Sides>,
    /// Its whole cost.
    pub cost: f64,
    /// Onsets, sides and what is wrong.
    pub troubled: Vec<(usize, usize, Trouble)>,
    /// No state was dropped: it is the least of all.
    pub exact: bool,
}

/// Lowest and highest key of a set.
pub fn ends(keys: u128) -> Option<(u8, u8)> {
    (keys != 0).then(|| (keys.trailing_zeros() as u8, 127 - keys.leading_zeros() as u8))
}

/// Naturals between the outer keys of a set.
pub fn span(keys: u128) -> f64 {
    ends(keys).map_or(0.0, |(low, high)| naturals(high) - naturals(low))
}

/// Ways to share new keys out, each hand within its fingers and its widest span, the feet within their pedals.
pub fn shares(keyboard: &Keyboard, keys: &[u8]) -> Vec<Sides> {
    let mut all = Vec::new();
    if keys.len() <= 16 {
        deal(keyboard, keys, [0; 3], &mut all);
    }
    all
}

fn deal(keyboard: &Keyboard, keys: &[u8], sides: Sides, all: &mut Vec<Sides>) {
    if all.len() >= SHARES {
        return;
    }
    let Some((key, rest)) = keys.split_first() else {
        all.push(sides);
        return;
    };
    for side in [LEFT, RIGHT, FEET] {
        let with = sides[side] | 1 << key;
        let fits = match side {
            FEET => keyboard
                .feet
                .is_some_and(|(n, range)| with.count_ones() <= u32::from(n) && range.holds(i16::from(*key))),
            _ => with.count_ones() <= FINGERS && span(with) <= keyboard.widest,
        };
        if fits {
            let mut sides = sides;
            sides[side] = with;
            deal(keyboard, rest, sides, all);
        }
    }
}

/// Cost of one onset shared so, the state after it, and what cannot be.
pub fn onset_cost(
    keyboard: &Keyboard,
    before: &State,
    task: &Task,
    new: &Sides,
    troubles: &mut Vec<(usize, Trouble)>,
) -> (f64, State) {
    let mut cost = 0.0;
    let mut state = *before;
    for side in [LEFT, RIGHT, FEET] {
        let held = before.sides[side] & task.held & !(new[LEFT] | new[RIGHT] | new[FEET]);
        let all = held | new[side];
        state.sides[side] = all;
        if held == 0 {
            state.last[side] = before.last[side].filter(|l| task.at - l.at < IDLE);
        }
        if new[side] == 0 {
            continue;
        }
        let most = if side == FEET { keyboard.feet.map_or(0, |f| u32::from(f.0)) } else { FINGERS };
        if all.count_ones() > most {
            cost += CANNOT;
            troubles.push((side, Trouble::Fingers));
        }
        let wide = span(all);
        if side != FEET {
            if wide > keyboard.widest {
                cost += CANNOT;
                troubles.push((side, Trouble::Span));
            }
            cost += WIDE * (wide - keyboard.ease).max(0.0);
        }
        let (low, high) = ends(all).unwrap_or((0, 0));
        let now = Last { at: task.at, low: naturals(low), high: naturals(high) };
        if let Some(last) = state.last[side].filter(|_| held == 0) {
            let way = ((now.middle() - last.middle()).abs() - COVERED).max(0.0);
            cost += MOVE * way / 7.0;
            // An open hand rocks between its outer fingers without a way: broken octaves.
            let open = now.high.max(last.high) - now.low.min(last.low) <= keyboard.ease;
            if way > 0.0 && !open && SET_OUT + way / SPEED > task.at - last.at {
                cost += CANNOT;
                troubles.push((side, Trouble::Jump));
            }
        }
        state.last[side] = Some(now);
    }
    let hands = [state.sides[LEFT], state.sides[RIGHT]];
    if let [Some(l), Some(r)] = hands.map(ends)
        && l.1 > r.0
    {
        cost += CROSSED;
    }
    let uneven = f64::from(new[LEFT].count_ones()) - f64::from(new[RIGHT].count_ones());
    cost += UNEVEN * uneven * uneven;
    for (key, staff) in &task.new {
        if staff.is_some_and(|side| new[side] & (1 << key) == 0 && new[FEET] & (1 << key) == 0) {
            cost += OTHER_STAFF;
        }
    }
    (cost, state)
}

#[derive(Clone, Copy)]
struct Alive {
    state: State,
    cost: f64,
    share: usize,
    from: usize,
}

/// The split that costs least.
pub fn split(keyboard: &Keyboard, tasks: &[Task]) -> Split {
    split_keeping(keyboard, tasks, KEPT)
}

/// As [`split`], with so many states kept at an onset.
pub fn split_keeping(keyboard: &Keyboard, tasks: &[Task], kept: usize) -> Split {
    let kept = kept.max(1);
    let mut alive = vec![Alive { state: State::FREE, cost: 0.0, share: usize::MAX, from: 0 }];
    let mut layers: Vec<Vec<(usize, usize)>> = Vec::with_capacity(tasks.len());
    let mut dealt: Vec<Vec<Sides>> = Vec::with_capacity(tasks.len());
    let mut exact = true;
    let mut troubles = Vec::new();
    for task in tasks {
        let keys: Vec<u8> = task.new.iter().map(|n| n.0).collect();
        let ways = shares(keyboard, &keys);
        exact &= ways.len() < SHARES;
        let mut next: Vec<Alive> = Vec::new();
        // Where in `next` a state stands already.
        let mut known: BTreeMap<Bits, usize> = BTreeMap::new();
        for (from, before) in alive.iter().enumerate() {
            if ways.is_empty() {
                next.push(Alive { from, share: usize::MAX, ..*before });
            }
            for (share, new) in ways.iter().enumerate() {
                troubles.clear();
                let (cost, state) = onset_cost(keyboard, &before.state, task, new, &mut troubles);
                let one = Alive { state, cost: before.cost + cost, share, from };
                let place = *known.entry(state.bits()).or_insert(next.len());
                match next.get_mut(place) {
                    Some(same) if same.cost <= one.cost => {}
                    Some(same) => *same = one,
                    None => next.push(one),
                }
            }
        }
        if next.len() > kept {
            next.sort_by(|a, b| a.cost.total_cmp(&b.cost));
            next.truncate(kept);
            exact = false;
        }
        layers.push(next.iter().map(|n| (n.share, n.from)).collect());
        dealt.push(ways);
        alive = next;
    }
    let best = alive.iter().enumerate().min_by(|a, b| a.1.cost.total_cmp(&b.1.cost));
    let (mut at, cost) = best.map_or((0, 0.0), |(i, a)| (i, a.cost));
    let mut new = vec![[0; 3]; tasks.len()];
    for i in (0..tasks.len()).rev() {
        let (share, from) = layers[i][at];
        new[i] = dealt[i].get(share).copied().unwrap_or([0; 3]);
        at = from;
    }
    let mut troubled = Vec::new();
    let mut state = State::FREE;
    for (i, task) in tasks.iter().enumerate() {
        if !dealt[i].is_empty() {
            troubles.clear();
            state = onset_cost(keyboard, &state, task, &new[i], &mut troubles).1;
            troubled.extend(troubles.iter().map(|(side, trouble)| (i, *side, *trouble)));
        }
    }
    Split { new, cost, troubled, exact }
}
