//! Which hand strikes what: the sticking that costs least.
//!
//! A Viterbi search. The state is where and when each hand struck last; a hand that has not struck for [`IDLE`] is free
//! and may be anywhere, so few states are alive at a time and the search is linear in the strokes. Costs: the speed of a hand on its
//! way, quick repeats with one hand, crossed hands, a start with the left. What cannot be is charged dearly instead of forbidden.

use ripieno_instruments::Sticks;

/// A hand idle for so many seconds may be anywhere. Own proposal, as are the costs below.
pub const IDLE: f64 = 1.0;
/// Cost of a way at the speed that is at ease.
pub const MOVE: f64 = 1.0;
/// Cost of a repeat with one hand at the interval that is at ease; it falls with the square of the interval.
pub const REPEAT: f64 = 0.5;
/// Cost of a repeat or a way beyond ease.
pub const BEYOND_EASE: f64 = 2.0;
/// Hands that cross by more than this, millimetres, are in each other's way: by less they pass, as in every scale.
pub const CROSSED_BY: f64 = 120.0;
/// Cost of crossed hands.
pub const CROSSED: f64 = 3.0;
/// Cost of a start with the left hand.
pub const LEFT_FIRST: f64 = 0.2;
/// What cannot be.
pub const CANNOT: f64 = 20.0;

/// One stroke, or several at once.
#[derive(Clone, Debug, PartialEq)]
pub struct Strike {
    /// Seconds.
    pub at: f64,
    /// Places of the bars, millimetres, rising.
    pub places: Vec<f64>,
    /// Both hands roll until then, seconds.
    pub roll_to: Option<f64>,
}

/// What the player and the instrument can do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Sticks in each hand.
    pub each: usize,
    /// Two sticks of one hand open to so many millimetres.
    pub hand: f64,
    /// Both hands at once, millimetres.
    pub reach: f64,
    /// Speed of a hand at ease and at most, millimetres a second.
    pub speed: (f64, f64),
    /// Seconds between strokes of one hand, at ease and at least.
    pub repeat: (f64, f64),
}

impl Limits {
    /// Of an instrument that two hands strike so often a second in alternation. At 14 a second one hand repeats within 120 ms at
    /// ease and within 90 ms at most (own proposal); slower instruments in proportion.
    pub fn new(sticks: &Sticks, alternating: f64, mallets: u8) -> Self {
        let rate = alternating.max(0.5);
        let each = usize::from(mallets.max(1)).div_ceil(2);
        Self {
            each: if sticks.hand > 0.0 { each } else { 1 },
            hand: sticks.hand,
            reach: sticks.reach,
            speed: (sticks.ease, sticks.fastest),
            repeat: (1.68 / rate, 1.26 / rate),
        }
    }
}

/// What a hand cannot do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Trouble {
    /// Repeat so soon.
    Repeat,
    /// Move so fast.
    Travel,
    /// Be so far from the other.
    Reach,
}

/// A hand after its last stroke: the stroke's number, when, where.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hand {
    /// Index of the strike.
    pub strike: usize,
    /// Seconds.
    pub at: f64,
    /// Millimetres.
    pub place: f64,
}

/// Left and right.
pub type Hands = [Option<Hand>; 2];

/// What was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Sticking {
    /// For each strike the bars of the left hand as a bit set; the others are the right hand's.
    pub left: Vec<u32>,
    /// Its whole cost.
    pub cost: f64,
    /// Strikes with what is wrong, and the hand before it.
    pub troubled: Vec<(usize, Trouble, Hand)>,
}

/// Ways to share a strike between the hands, as bit sets of the left hand's bars. Empty if there are too many bars.
pub fn shares(limits: &Limits, strike: &Strike) -> Vec<u32> {
    let n = strike.places.len();
    if n == 0 || n > 2 * limits.each || n > 16 {
        return Vec::new();
    }
    let fits = |set: u32| {
        let mut of = strike.places.iter().enumerate().filter(|(i, _)| set & (1 << i) != 0).map(|p| *p.1);
        let Some(low) = of.next() else { return true };
        let (count, high) = of.fold((1, low), |(c, _), p| (c + 1, p));
        count <= limits.each && (count == 1 || high - low <= limits.hand)
    };
    let all = (1_u32 << n) - 1;
    // One bar alone is rolled with both hands.
    (0..=all).filter(|left| fits(*left) && fits(all & !left)).collect()
}

/// Cost of one strike shared so, the hands after it, and what cannot be.
pub fn strike_cost(
    limits: &Limits,
    before: &Hands,
    index: usize,
    strike: &Strike,
    left: u32,
    troubles: &mut Vec<(usize, Trouble, Hand)>,
) -> (f64, Hands) {
    let mut cost = 0.0;
    let mut hands = before.map(|h| h.filter(|h| strike.at - h.at < IDLE));
    if hands.iter().all(Option::is_none) && left == (1 << strike.places.len()) - 1 {
        cost += LEFT_FIRST;
    }
    let old = hands;
    for (side, hand) in hands.iter_mut().enumerate() {
        let mine = |i: usize| (left & (1 << i) != 0) == (side == 0);
        let places: Vec<f64> =
            strike.places.iter().enumerate().filter(|(i, _)| mine(*i)).map(|p| *p.1).collect();
        let whole = strike.roll_to.is_some() && places.is_empty();
        let Some(place) = middle(if whole { &strike.places } else { &places }) else { continue };
        if let Some(last) = old[side] {
            let gap = (strike.at - last.at).max(1e-6);
            let way = (place - last.place).abs();
            cost += MOVE * way / gap / limits.speed.0
                + REPEAT * (limits.repeat.0 / gap).min(4.0) * (limits.repeat.0 / gap).min(4.0);
            if gap < limits.repeat.1 - 1e-6 {
                cost += CANNOT;
                troubles.push((index, Trouble::Repeat, last));
            } else if gap < limits.repeat.0 - 1e-6 {
                cost += BEYOND_EASE;
            }
            if way / gap > limits.speed.1 {
                cost += CANNOT;
                troubles.push((index, Trouble::Travel, last));
            } else if way / gap > limits.speed.0 {
                cost += BEYOND_EASE;
            }
        }
        // A roll ends with a stroke of either hand soon before its end.
        let at = strike.roll_to.map_or(strike.at, |end| (end - limits.repeat.0).max(strike.at));
        *hand = Some(Hand { strike: index, at, place });
    }
    if let [Some(l), Some(r)] = hands {
        if l.place - r.place > CROSSED_BY {
            cost += CROSSED;
        }
        if l.strike == r.strike && (l.place - r.place).abs() > limits.reach {
            cost += CANNOT;
            troubles.push((index, Trouble::Reach, l));
        }
    }
    (cost, hands)
}

fn middle(places: &[f64]) -> Option<f64> {
    let (first, last) = (places.first()?, places.last()?);
    Some(0.5 * (first + last))
}

#[derive(Clone, Copy)]
struct Alive {
    hands: Hands,
    cost: f64,
    left: u32,
    from: usize,
}

/// The sticking that costs least. Every strike must have a share ([`shares`]); one that has none is left out of it.
pub fn sticking(limits: &Limits, strikes: &[Strike]) -> Sticking {
    let mut layers: Vec<Vec<Alive>> = Vec::with_capacity(strikes.len());
    let mut alive = vec![Alive { hands: [None, None], cost: 0.0, left: 0, from: 0 }];
    let mut ignored = Vec::new();
    for (i, strike) in strikes.iter().enumerate() {
        let mut next: Vec<Alive> = Vec::new();
        let ways = shares(limits, strike);
        for (from, state) in alive.iter().enumerate() {
            if ways.is_empty() {
                next.push(Alive { from, left: 0, ..*state });
                continue;
            }
            for left in &ways {
                let (cost, hands) = strike_cost(limits, &state.hands, i, strike, *left, &mut ignored);
                ignored.clear();
                let one = Alive { hands, cost: state.cost + cost, left: *left, from };
                let same = |h: &Hands| -> [Option<usize>; 2] { h.map(|h| h.map(|h| h.strike)) };
                // Strikes say where and when; the places of one strike differ only by what each hand took of it.
                match next
                    .iter_mut()
                    .find(|n| same(&n.hands) == same(&one.hands) && places(n) == places(&one))
                {
                    Some(known) if known.cost <= one.cost => {}
                    Some(known) => *known = one,
                    None => next.push(one),
                }
            }
        }
        layers.push(next.clone());
        alive = next;
    }
    let mut at = alive.iter().enumerate().min_by(|a, b| a.1.cost.total_cmp(&b.1.cost)).map_or(0, |a| a.0);
    let mut left = vec![0; strikes.len()];
    let mut cost = 0.0;
    for (i, layer) in layers.iter().enumerate().rev() {
        if i + 1 == strikes.len() {
            cost = layer[at].cost;
        }
        left[i] = layer[at].left;
        at = layer[at].from;
    }
    let mut troubled = Vec::new();
    let mut hands = [None, None];
    for (i, strike) in strikes.iter().enumerate() {
        if !shares(limits, strike).is_empty() {
            hands = strike_cost(limits, &hands, i, strike, left[i], &mut troubled).1;
        }
    }
    Sticking { left, cost, troubled }
}

fn places(state: &Alive) -> [Option<f64>; 2] {
    state.hands.map(|h| h.map(|h| h.place))
}
