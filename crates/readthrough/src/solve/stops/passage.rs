//! Chords and notes one after another on the strings: the way of the hand that is least trouble.
//!
//! A Viterbi search over the fingerings of each onset. A note that is held keeps its string and finger; the hand
//! moves along the string in the time between onsets. What cannot be is charged dearly instead of forbidden, so that there is always
//! an answer, and the answer says where.

use super::fingering::{Asked, Fingering, fingerings};
use ripieno_instruments::Strings;
use std::collections::BTreeMap;
use std::rc::Rc;

/// A hand on its way: seconds to set out and to arrive, beside the way itself. Own proposal, as are those below.
pub const SHIFT_SECONDS: f64 = 0.08;
/// Millimetres a second of a hand on its way.
pub const SHIFT_SPEED: f64 = 1500.0;
/// As a share of the hand's length: within it the fingers reach without a shift.
pub const WITHOUT_SHIFT: f64 = 1.0 / 3.0;
/// Cost of a shift as such.
pub const SHIFT_COST: f64 = 0.5;
/// Cost of each hand's length of a shift.
pub const SHIFT_LENGTH_COST: f64 = 0.5;
/// What cannot be.
pub const CANNOT: f64 = 20.0;
/// Semitones at which the hand may wait while open strings sound.
pub const WAITING: [u8; 7] = [1, 3, 5, 7, 9, 12, 15];

/// One onset.
#[derive(Clone, Debug, PartialEq)]
pub struct Task {
    /// What sounds, from the lowest.
    pub keys: Vec<u8>,
    /// Those of them that go on from the onset before.
    pub held: Vec<u8>,
    /// When, in seconds.
    pub seconds: f64,
}

/// What was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Way {
    /// One for each task.
    pub fingerings: Vec<Fingering>,
    /// Its whole cost.
    pub cost: f64,
    /// Tasks that the hand comes to too late, or for which a held note would have to change its string or finger.
    pub troubled: Vec<usize>,
}

/// Cost of going from one fingering to the next, and whether it can be done.
pub fn change(board: &Strings, before: (&Task, &Fingering), after: (&Task, &Fingering)) -> (f64, bool) {
    let mut cost = 0.0;
    let mut can = true;
    for key in &after.0.held {
        let stop = |t: &Task, f: &Fingering| t.keys.iter().position(|k| k == key).map(|i| f.stops[i]);
        if stop(before.0, before.1).is_some_and(|b| Some(b) != stop(after.0, after.1)) {
            cost += CANNOT;
            can = false;
        }
    }
    if let (Some(a), Some(b)) = (before.1.hand, after.1.hand) {
        let way = (a - b).abs();
        if way > WITHOUT_SHIFT * board.rest {
            cost += SHIFT_COST + SHIFT_LENGTH_COST * way / board.rest;
            if SHIFT_SECONDS + way / SHIFT_SPEED > after.0.seconds - before.0.seconds {
                cost += CANNOT;
                can = false;
            }
        }
    }
    (cost, can)
}

/// Fingerings of one set of keys, with the hand waiting anywhere where only open strings sound.
pub fn ways(board: &Strings, keys: &[u8], neighbours: bool) -> Vec<Fingering> {
    let mut all = Vec::new();
    for fingering in fingerings(board, keys, Asked { neighbours, reach: true }) {
        if fingering.hand.is_some() {
            all.push(fingering);
        } else {
            all.extend(WAITING.map(|n| Fingering { hand: Some(board.place(n)), ..fingering.clone() }));
        }
    }
    all
}

/// Fingerings by keys, worked out once.
pub struct Known<'a> {
    board: &'a Strings,
    known: BTreeMap<(Vec<u8>, bool), Ways>,
}

/// All ways to stop some keys, and of those with the hand in one place the easiest.
#[derive(Clone)]
struct Ways {
    all: Rc<Vec<Fingering>>,
    easiest: Rc<Vec<Fingering>>,
}

impl<'a> Known<'a> {
    /// Of one instrument.
    pub fn new(board: &'a Strings) -> Self {
        Self { board, known: BTreeMap::new() }
    }

    /// As [`ways`].
    pub fn ways(&mut self, keys: &[u8], neighbours: bool) -> Rc<Vec<Fingering>> {
        self.both(keys, neighbours).all
    }

    fn both(&mut self, keys: &[u8], neighbours: bool) -> Ways {
        if let Some(known) = self.known.get(&(keys.to_vec(), neighbours)) {
            return known.clone();
        }
        let all = ways(self.board, keys, neighbours);
        let place = |f: &Fingering| f.hand.unwrap_or(f64::NEG_INFINITY);
        let mut easiest = all.clone();
        easiest.sort_by(|a, b| place(a).total_cmp(&place(b)).then(a.cost.total_cmp(&b.cost)));
        easiest.dedup_by(|b, a| a.hand == b.hand);
        let made = Ways { all: Rc::new(all), easiest: Rc::new(easiest) };
        self.known.insert((keys.to_vec(), neighbours), made.clone());
        made
    }
}

/// The way that costs least. Every task must have a fingering; `None` if one has none.
pub fn best_way(known: &mut Known<'_>, tasks: &[(Task, bool)]) -> Option<Way> {
    let board = known.board;
    let choices: Vec<Rc<Vec<Fingering>>> = tasks
        .iter()
        .enumerate()
        .map(|(i, (task, neighbours))| {
            let ways = known.both(&task.keys, *neighbours);
            // Where nothing is held over, only the place of the hand counts for what comes before and after.
            let held = !task.held.is_empty() || tasks.get(i + 1).is_some_and(|t| !t.0.held.is_empty());
            if held { ways.all } else { ways.easiest }
        })
        .collect();
    if tasks.is_empty() || choices.iter().any(|c| c.is_empty()) {
        return None;
    }
    let mut costs: Vec<f64> = choices[0].iter().map(|f| f.cost).collect();
    let mut from: Vec<Vec<u16>> = vec![Vec::new()];
    for i in 1..tasks.len() {
        let mut next = Vec::with_capacity(choices[i].len());
        let mut back = Vec::with_capacity(choices[i].len());
        for after in choices[i].iter() {
            let mut best = (f64::INFINITY, 0);
            for (j, before) in choices[i - 1].iter().enumerate() {
                // A change costs nothing at best.
                if costs[j] >= best.0 {
                    continue;
                }
                let cost = costs[j] + change(board, (&tasks[i - 1].0, before), (&tasks[i].0, after)).0;
                if cost < best.0 {
                    best = (cost, j);
                }
            }
            next.push(best.0 + after.cost);
            back.push(best.1 as u16);
        }
        costs = next;
        from.push(back);
    }
    let (mut at, cost) = costs.iter().copied().enumerate().min_by(|a, b| a.1.total_cmp(&b.1))?;
    let mut chosen = vec![at; tasks.len()];
    for i in (1..tasks.len()).rev() {
        at = usize::from(from[i][at]);
        chosen[i - 1] = at;
    }
    let fingerings: Vec<Fingering> = chosen.iter().zip(&choices).map(|(c, all)| all[*c].clone()).collect();
    let troubled = (1..tasks.len())
        .filter(|i| {
            let (before, after) = (&fingerings[i - 1], &fingerings[*i]);
            !change(board, (&tasks[i - 1].0, before), (&tasks[*i].0, after)).1
        })
        .collect();
    Some(Way { fingerings, cost, troubled })
}
