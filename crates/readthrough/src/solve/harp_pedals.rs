//! Harp pedals as a shortest path: which string takes each note, and which foot moves which pedal when.
//!
//! A setting gives each of the seven letters a position; an event is what is plucked at one time. Pedals move only when a
//! letter is next needed elsewhere, and then somewhere between its last pluck and that need (a change that nobody asks for
//! never helps). So a state is a setting, the last use of each letter, and the [`Lane`] of each foot; a state that is worse
//! than another in all of these is dropped. Pure: it knows letters, pitches and seconds.
//!
//! The pattern is the dynamic programme of keyboard fingerings (Hart, Bosch and Tsai, Finding optimal piano fingerings, 2000);
//! the costs are own.

pub use super::harp_settings::{
    LETTERS, Setting, UNSET, glissando_settings, pitch_class, settings, sounds, spellings,
};

use super::lane::{self, EPSILON, Job, Lane, Timed};
use super::thin::thin;
use ripieno_instruments::HarpFacts;
use std::cell::Cell;

/// One change of a pedal.
pub const CHANGE: f64 = 1.0;
/// On top of it, from flat to sharp or back.
pub const TWO_STEPS: f64 = 0.25;
/// A string rings while its pedal moves.
pub const BUZZ: f64 = 2.0;
/// A change quicker than at ease.
pub const QUICK: f64 = 0.5;
/// A change for which there is no time: reported, not forbidden, so that the rest is still solved.
pub const LATE: f64 = 20.0;
/// The same string again within the time of one finger.
pub const SAME_STRING: f64 = 1.0;

/// Seconds in which one event can bear on another: longer than any string is held to ring, with time for every pedal of a foot.
pub const MEMORY: f64 = 6.0;
/// States that live on after one event: at least this many, if there are so many.
const NARROWEST: usize = 16;
/// And so many over all events: short parts are searched wholly, long ones in a time that grows with their length alone.
const STATES: usize = 8_000;
/// Below this width a state is only tried with the ways to move a pedal that look best, and so many ways for each that lives on.
const THRIFTY: usize = 200;
const TRIED: usize = 2;
/// So many ways to move several pedals for one event are followed.
const AT_ONCE: usize = 64;
/// And so many where there is no time for more.
const FEW_AT_ONCE: usize = 8;
/// Up to so many events a part is searched in full, unless that takes more than [`FULL`] tries.
const SHORT: usize = 12;
/// Tries of a full search before it is given up: about a second of work at most.
const FULL: u64 = 6_000_000;
/// Tries of a search of limited width over a whole part. What is past its share of them is followed as in the first search.
const LIMITED: u64 = 100_000;
/// Comparisons of two states that take as long as one try.
const COMPARED: u64 = 8;
/// One move without time in so many events: nothing that a wider search could mend.
const HOPELESS: usize = 16;
/// The right foot has four pedals.
const PEDALS_OF_A_FOOT: f64 = 4.0;
/// Width of the first, quick search, whose cost no state may pass in the second.
const FIRST: usize = 6;

/// One pitch class, or one written letter, that an event needs.
#[derive(Clone, Debug, PartialEq)]
pub struct Need {
    /// The letters and positions that can give it; not empty.
    pub options: Vec<(u8, i8)>,
    /// The keys that are plucked, in whatever octaves.
    pub keys: Vec<i16>,
    /// A string of it buzzes until then if its pedal moves, seconds.
    pub rings: f64,
    /// It is written to sound until then, by this key. A pluck of the same string ends it.
    pub held: (f64, i16),
    /// One of the keys was plucked at that time, too short ago for the same string.
    pub again: Option<f64>,
}

/// What is plucked at one time.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// Seconds; events are in order.
    pub at: f64,
    /// All at once.
    pub needs: Vec<Need>,
}

/// A pedal that moves.
#[derive(Clone, Debug, PartialEq)]
pub struct PedalMove {
    /// 0 for C up to 6 for B.
    pub letter: u8,
    /// From this position.
    pub from: i8,
    /// To this one.
    pub to: i8,
    /// The event that needs it.
    pub event: usize,
    /// The event that plucked this letter last.
    pub after: Option<usize>,
    /// Its place in time; `None` where there is no time for it.
    pub timed: Option<Timed>,
    /// The string still rings.
    pub buzz: bool,
}

/// The way through.
#[derive(Clone, Debug, PartialEq)]
pub struct Solution {
    /// The setting that was asked for to begin with.
    pub start: Setting,
    /// The setting before the first note; [`UNSET`] where nothing asks for the letter.
    pub initial: Setting,
    /// In the order of the events that need them.
    pub moves: Vec<PedalMove>,
    /// For each event the setting that it is played on, [`UNSET`] where no string of that letter is plucked.
    pub played: Vec<Setting>,
    /// Needs that fit on no seven strings together with the rest of their event: event and need.
    pub clashes: Vec<(usize, usize)>,
    /// What it costs.
    pub cost: f64,
    /// States were dropped that may have been part of a better way.
    pub narrowed: bool,
}

#[derive(Clone, Debug)]
pub(super) struct State {
    pub(super) position: Setting,
    /// Event that used the letter last, where it still matters.
    pub(super) last: [i32; 7],
    feet: [Lane; 2],
    cost: f64,
    step: usize,
}

impl State {
    pub(super) fn at(position: Setting) -> Self {
        Self { position, last: [-1; 7], feet: Default::default(), cost: 0.0, step: 0 }
    }
}

#[derive(Clone, Debug)]
struct Step {
    back: usize,
    way: usize,
    moved: Vec<Moved>,
}

#[derive(Clone, Copy, Debug)]
struct Moved {
    letter: u8,
    from: i8,
    after: i32,
    /// The job with how many jobs of its foot follow it; `None`: no time.
    job: Option<(Job, usize)>,
    buzz: bool,
}

/// Solves a part. `initial` is the setting to begin with, [`UNSET`] where it is free.
pub fn solve(events: &[Event], initial: Setting, facts: &HarpFacts) -> Solution {
    let search = Search::new(events, facts);
    // Written letters leave only the time to choose: that is found exactly.
    if search.ways.iter().all(|w| w.len() == 1) {
        return search.timed(initial, search.ways.iter().map(|w| w[0]).collect(), false);
    }
    let first = search.run(initial, FIRST, f64::INFINITY);
    if !first.narrowed {
        return first;
    }
    let bound = first.cost - LATE * first.clashes.len() as f64;
    if events.len() > SHORT
        && first.moves.iter().filter(|m| m.timed.is_none()).count() * HOPELESS > events.len()
    {
        return search.retimed(first);
    }
    let width = NARROWEST.max(STATES / events.len().max(1));
    if events.len() <= SHORT {
        let full = search.run(initial, usize::MAX, bound);
        if !full.narrowed && full.played.len() == events.len() {
            return full;
        }
    }
    let second = search.run(initial, width, bound);
    // The second search may lose the way of the first, which is as dear, to others that looked better.
    let found = if second.played.len() == events.len() && second.cost <= first.cost { second } else { first };
    if found.narrowed { search.retimed(found) } else { found }
}

type Next = (State, usize, Vec<Moved>);

pub(super) struct Search<'a> {
    pub(super) events: &'a [Event],
    pub(super) facts: &'a HarpFacts,
    pub(super) foot: [usize; 7],
    /// For each event the ways to lay it on strings: a position for each letter that it uses.
    ways: Vec<Vec<Setting>>,
    pub(super) clashes: Vec<(usize, usize)>,
    /// One of the strings that an event may use is wanted elsewhere soon.
    contested: Vec<bool>,
    /// A way to move a pedal was passed over for one that looked better.
    passed_over: Cell<bool>,
    /// Tries so far in this search.
    tried: Cell<u64>,
}

impl<'a> Search<'a> {
    fn new(events: &'a [Event], facts: &'a HarpFacts) -> Self {
        let mut foot = [1; 7];
        for letter in facts.order.iter().take(facts.left) {
            foot[usize::from(*letter).min(6)] = 0;
        }
        let mut ways = Vec::with_capacity(events.len());
        let mut clashes = Vec::new();
        for (index, event) in events.iter().enumerate() {
            let (found, left_out) = lay_out(&event.needs);
            clashes.extend(left_out.into_iter().map(|need| (index, need)));
            ways.push(found);
        }
        let contested = contested(events, facts.comfortable * PEDALS_OF_A_FOOT);
        Self {
            events,
            facts,
            foot,
            ways,
            clashes,
            contested,
            passed_over: Cell::new(false),
            tried: Cell::new(0),
        }
    }

    /// Follows at most `width` states, none of which costs more than `bound`.
    fn run(&self, initial: Setting, width: usize, bound: f64) -> Solution {
        let mut steps = vec![Step { back: 0, way: 0, moved: Vec::new() }];
        let start = State::at(initial);
        let mut states = vec![start];
        let mut narrowed = false;
        self.passed_over.set(false);
        self.tried.set(0);
        let full = width == usize::MAX;
        for event in 0..self.events.len() {
            let share = LIMITED * (event as u64 + 1) / self.events.len() as u64;
            let hurried = !full && self.tried.get() > share;
            let width = if hurried { FIRST.min(width) } else { width };
            let effort = match (full, hurried) {
                (true, _) => usize::MAX,
                (_, true) => FEW_AT_ONCE,
                (_, false) => AT_ONCE,
            };
            let mut pairs = self.follow(&states, event);
            if width < THRIFTY && pairs.len() > width * TRIED {
                pairs.truncate(width * TRIED);
                narrowed = true;
            }
            let mut next = Vec::with_capacity(pairs.len());
            for (_, state, way) in pairs {
                self.play(&states[state], event, way, (width < THRIFTY, effort), &mut next);
                if full && self.tried.get() > FULL {
                    break;
                }
            }
            next.retain(|n| n.0.cost <= bound + EPSILON);
            let allowed = if full { FULL.saturating_sub(self.tried.get()) } else { u64::MAX };
            let (cut, compared) = thin(
                &mut next,
                width,
                allowed.saturating_mul(COMPARED),
                |n| n.0.cost,
                |a, b| as_good(&a.0, &b.0),
            );
            narrowed |= cut;
            self.tried.set(self.tried.get() + compared / COMPARED);
            if full && self.tried.get() >= FULL {
                // Given up: what there is leads nowhere.
                return self.tell(&steps, 0, initial, f64::INFINITY, true);
            }
            states.clear();
            for (mut state, way, moved) in next {
                let back = std::mem::replace(&mut state.step, steps.len());
                steps.push(Step { back, way, moved });
                states.push(state);
            }
        }
        let best = states.iter().min_by(|a, b| a.cost.total_cmp(&b.cost).then(a.step.cmp(&b.step)));
        let (cost, last) = best.map_or((0.0, 0), |s| (s.cost, s.step));
        self.tell(&steps, last, initial, cost, narrowed || self.passed_over.get())
    }

    /// The ways in which states may play an event, with the least that each then costs, the cheapest first.
    fn follow(&self, states: &[State], event: usize) -> Vec<(f64, usize, usize)> {
        let ways = &self.ways[event];
        let mut pairs = Vec::with_capacity(states.len() * 2);
        for (index, state) in states.iter().enumerate() {
            let stays = |way: &Setting| (0..7).all(|l| way[l] == UNSET || way[l] == state.position[l]);
            if !self.contested[event]
                && let Some(way) = ways.iter().position(stays)
            {
                pairs.push((state.cost, index, way));
                continue;
            }
            for (number, way) in ways.iter().enumerate() {
                let moves = |l: &usize| {
                    ![way[*l], state.position[*l]].contains(&UNSET) && way[*l] != state.position[*l]
                };
                let changes = (0..7).filter(moves).count();
                pairs.push((state.cost + CHANGE * changes as f64, index, number));
            }
        }
        pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
        pairs
    }

    fn play(
        &self,
        state: &State,
        event: usize,
        index: usize,
        (thrifty, effort): (bool, usize),
        out: &mut Vec<Next>,
    ) {
        let way = &self.ways[event][index];
        let now = &self.events[event];
        let horizon = now.at - MEMORY;
        let mut after = state.clone();
        after.cost += SAME_STRING * self.same_strings(state, event, way);
        let mut changes: Vec<usize> = Vec::new();
        for letter in (0..7).filter(|l| way[*l] != UNSET) {
            let from = state.position[letter];
            if from != UNSET && from != way[letter] {
                changes.push(letter);
                after.cost += CHANGE;
                if (from - way[letter]).abs() == 2 {
                    after.cost += TWO_STEPS;
                }
            }
            after.position[letter] = way[letter];
            after.last[letter] = event as i32;
        }
        for letter in 0..7 {
            if after.last[letter] >= 0 && self.events[after.last[letter] as usize].at < horizon {
                after.last[letter] = -1;
            }
        }
        for (side, foot) in after.feet.iter_mut().enumerate() {
            // No pedal moves before its string was plucked last.
            let mine = (0..7).filter(|l| self.foot[*l] == side && state.position[*l] != UNSET);
            let used = mine.map(|l| usize::try_from(state.last[l]).map_or(horizon, |e| self.events[e].at));
            foot.forget(used.fold(now.at, f64::min).max(horizon));
        }
        let mut open = vec![(after, Vec::new())];
        for letter in changes {
            let mut more = Vec::new();
            for (partial, moved) in &open {
                if effort == usize::MAX && self.tried.get() > FULL {
                    return;
                }
                self.change(state, partial, moved, (event, letter, thrifty), &mut more);
            }
            if more.len() > effort {
                more.sort_by(|a, b| a.0.cost.total_cmp(&b.0.cost));
                more.truncate(effort);
                self.passed_over.set(true);
            }
            open = more;
        }
        self.tried.set(self.tried.get() + 1);
        out.extend(open.into_iter().map(|(state, moved)| (state, index, moved)));
    }

    /// The ways to move one pedal for an event.
    fn change(
        &self,
        before: &State,
        partial: &State,
        moved: &[Moved],
        (event, letter, thrifty): (usize, usize, bool),
        out: &mut Vec<(State, Vec<Moved>)>,
    ) {
        let mut put = |cost: f64, lane: Option<Lane>, job: Option<(Job, usize)>, buzz: bool| {
            let mut state = partial.clone();
            state.cost += cost;
            if let Some(lane) = lane {
                state.feet[self.foot[letter]] = lane;
            }
            let mut moved = moved.to_vec();
            let (from, after) = (before.position[letter], before.last[letter]);
            moved.push(Moved { letter: letter as u8, from, after, job, buzz });
            out.push((state, moved));
            self.tried.set(self.tried.get() + 1);
        };
        let due = self.events[event].at;
        let (release, clean) = self.free_from(before, partial, event, letter);
        let foot = &partial.feet[self.foot[letter]];
        let mut found = false;
        let (mut places, mut early) = (Vec::new(), Vec::new());
        for (from, buzz) in [(clean, false), (release, true)] {
            if buzz && release >= clean - EPSILON {
                continue;
            }
            if buzz && thrifty && found {
                self.passed_over.set(true);
                return;
            }
            for (takes, quick) in [(self.facts.comfortable, false), (self.facts.least, true)] {
                let job = Job { tag: letter as u8, release: from, due, takes };
                let price = f64::from(u8::from(buzz)) * BUZZ + f64::from(u8::from(quick)) * QUICK;
                foot.places(&job, &mut places);
                // At ease with time left for every other pedal of this foot: nothing quicker can do more.
                let room = self.facts.comfortable * PEDALS_OF_A_FOOT;
                let easy = price == 0.0 && !places.is_empty() && {
                    foot.places(&Job { due: due - room, ..job }, &mut early);
                    early.len() == places.len()
                };
                found |= !places.is_empty();
                for after in &places {
                    put(price, Some(foot.with(job, *after)), Some((job, *after)), buzz);
                }
                if easy {
                    return;
                }
            }
        }
        if thrifty && found {
            self.passed_over.set(true);
        } else {
            put(LATE, None, None, false);
        }
    }

    /// From when the pedal of a letter may move at all, and from when without a buzz.
    pub(super) fn free_from(
        &self,
        before: &State,
        partial: &State,
        event: usize,
        letter: usize,
    ) -> (f64, f64) {
        let last = before.last[letter];
        let Some(used) = usize::try_from(last).ok().map(|i| &self.events[i]) else {
            return (f64::NEG_INFINITY, f64::NEG_INFINITY);
        };
        let asks = |event: &'a Event, position: i8| {
            event.needs.iter().filter(move |n| n.options.contains(&(letter as u8, position)))
        };
        let mut clean = used.at;
        for need in asks(used, before.position[letter]) {
            clean = clean.max(need.rings);
            // The string itself is plucked again: the finger stops it, and its written length ends there.
            let (until, key) = need.held;
            let same = |n: &Need| n.keys.iter().any(|k| (k - key).abs() <= 2);
            if !asks(&self.events[event], partial.position[letter]).any(same) {
                clean = clean.max(until);
            }
        }
        (used.at, clean)
    }

    /// How many needs take a string that was plucked too short ago.
    pub(super) fn same_strings(&self, state: &State, event: usize, way: &Setting) -> f64 {
        let mut count = 0.0;
        for need in &self.events[event].needs {
            let Some(before) = need.again else { continue };
            let mut letters =
                need.options.iter().filter(|(l, p)| way[usize::from(*l)] == *p).map(|(l, _)| usize::from(*l));
            let rested = |l: usize| {
                usize::try_from(state.last[l]).map_or(true, |e| self.events[e].at < before - EPSILON)
            };
            if !letters.any(rested) {
                count += 1.0;
            }
        }
        count
    }

    fn tell(&self, steps: &[Step], last: usize, initial: Setting, cost: f64, narrowed: bool) -> Solution {
        let mut path = Vec::with_capacity(self.events.len());
        let mut at = last;
        while at != 0 && path.len() < self.events.len() {
            path.push(&steps[at]);
            at = steps[at].back;
        }
        path.reverse();
        let mut solution = Solution {
            start: initial,
            initial,
            moves: Vec::new(),
            played: Vec::with_capacity(path.len()),
            clashes: self.clashes.clone(),
            cost: cost + LATE * self.clashes.len() as f64,
            narrowed,
        };
        let mut taken: [Vec<(Job, usize)>; 2] = Default::default();
        let mut moves_of: [Vec<(usize, usize)>; 2] = Default::default();
        for (event, step) in path.iter().enumerate() {
            let way = self.ways[event][step.way];
            for (initial, position) in solution.initial.iter_mut().zip(&way) {
                if *initial == UNSET {
                    *initial = *position;
                }
            }
            solution.played.push(way);
            for moved in &step.moved {
                if let Some((job, after)) = moved.job {
                    let foot = self.foot[usize::from(moved.letter)];
                    let place = taken[foot].len() - after.min(taken[foot].len());
                    moves_of[foot].insert(place, (solution.moves.len(), event));
                    taken[foot].push((job, after));
                }
                solution.moves.push(PedalMove {
                    letter: moved.letter,
                    from: moved.from,
                    to: way[usize::from(moved.letter)],
                    event,
                    after: usize::try_from(moved.after).ok(),
                    timed: None,
                    buzz: moved.buzz,
                });
            }
        }
        for foot in 0..2 {
            let timed = lane::as_late_as_possible(&lane::in_order(&taken[foot]));
            for ((index, _), timed) in moves_of[foot].iter().zip(timed) {
                solution.moves[*index].timed = Some(timed);
            }
        }
        solution
    }
}

/// The ways to lay the needs on seven strings, and the needs that had to be left out for there to be one.
fn lay_out(needs: &[Need]) -> (Vec<Setting>, Vec<usize>) {
    let mut left_out = Vec::new();
    let mut kept: Vec<usize> = Vec::new();
    let mut ways = vec![[UNSET; 7]];
    for (index, need) in needs.iter().enumerate() {
        let mut more: Vec<Setting> = Vec::new();
        for way in &ways {
            for (letter, position) in &need.options {
                let letter = usize::from(*letter).min(6);
                if way[letter] == UNSET || way[letter] == *position {
                    let mut way = *way;
                    way[letter] = *position;
                    more.push(way);
                }
            }
        }
        if more.is_empty() {
            left_out.push(index);
        } else {
            kept.push(index);
            more.sort_unstable();
            more.dedup();
            ways = more;
        }
    }
    (ways, left_out)
}

/// For each event: may a string that it can use be wanted in another position, or again, while that still matters?
fn contested(events: &[Event], room: f64) -> Vec<bool> {
    let mut soon: Vec<(f64, u8, i8)> = Vec::new();
    let mut result = vec![false; events.len()];
    let mut again_after = false;
    for (index, event) in events.iter().enumerate().rev() {
        soon.retain(|(at, _, _)| *at <= event.at + MEMORY);
        let again = event.needs.iter().any(|n| n.again.is_some());
        let elsewhere = event.needs.iter().any(|need| {
            // From then on its pedal can move at leisure, whatever else the foot has to do.
            let free = event.at.max(need.rings).max(need.held.0) + room;
            let wanted = |l: u8, p: i8| soon.iter().any(|s| s.1 == l && s.2 != p && s.0 < free);
            need.options.iter().any(|(l, p)| wanted(*l, *p))
        });
        result[index] = again || again_after || elsewhere;
        again_after = again;
        for (letter, position) in event.needs.iter().flat_map(|n| &n.options) {
            soon.retain(|(_, l, p)| (l, p) != (letter, position));
            soon.push((event.at, *letter, *position));
        }
    }
    result
}

/// Costs no more, and can do all that the other can.
fn as_good(a: &State, b: &State) -> bool {
    a.cost <= b.cost + EPSILON
        && (0..7)
            .all(|l| a.position[l] == UNSET || (a.position[l] == b.position[l] && a.last[l] <= b.last[l]))
        && a.feet[0].leaves_as_much(&b.feet[0])
        && a.feet[1].leaves_as_much(&b.feet[1])
}
