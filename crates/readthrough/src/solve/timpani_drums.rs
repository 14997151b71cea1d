//! Timpani as a shortest path: which drum takes each stroke, and when the foot brings which drum to which pitch.
//!
//! A drum is retuned only when a stroke asks for it, somewhere between its last stroke and that one; one foot retunes one drum
//! at a time. A state is the tuning, the last stroke of each drum, the drum struck last and the [`Lane`] of the foot; a state
//! that is worse than another in all of these is dropped. Pure: it knows keys and seconds. The costs are own.

use super::lane::{self, EPSILON, Job, Lane, Timed};
use super::thin::thin;
use ripieno_instruments::{DrumFacts, TimpaniFacts};
use std::cell::Cell;
use std::rc::Rc;

/// Tuning of a drum that nothing has asked for yet.
pub const UNTUNED: i16 = i16::MIN;
/// One retuning.
pub const RETUNE: f64 = 1.0;
/// On top of it for each semitone.
pub const BY_SEMITONE: f64 = 0.1;
/// A retuning in less time than at ease.
pub const HURRIED: f64 = 0.5;
/// A retuning by the gauge alone.
pub const BY_GAUGE: f64 = 4.0;
/// A retuning for which there is no time, or a glissando that the pedal cannot make: reported, not forbidden.
pub const LATE: f64 = 20.0;
/// Strokes in quick succession on drums that are no neighbours.
pub const TRAVEL: f64 = 1.0;
/// For each semitone that a drum is tuned away from its middle.
pub const OFF_MIDDLE: f64 = 0.05;
/// For each semitone that a drum is tuned outside its usual range.
pub const STRAINED: f64 = 1.0;
/// States that live on after one event: at least this many, if there are so many.
const NARROWEST: usize = 32;
/// And so many over all events: short parts are searched wholly, long ones in a time that grows with their length alone.
const STATES: usize = 16_000;
/// So many ways to take the strokes of one event are followed.
const AT_ONCE: usize = 64;
/// And so many where there is no time for more.
const FEW_AT_ONCE: usize = 8;
/// Up to so many events a part is searched in full, unless that takes more than [`FULL`] tries.
const SHORT: usize = 16;
/// Tries of a full search before it is given up: about a second of work at most.
const FULL: u64 = 3_000_000;
/// Tries of a search of limited width over a whole part. What is past its share of them is followed as in the first search.
const LIMITED: u64 = 100_000;
/// Comparisons of two states that take as long as one try.
const COMPARED: u64 = 8;
/// Width of the first, quick search, whose cost no state may pass in the second.
const FIRST: usize = 6;
/// One retuning without time in so many events: nothing that a wider search could mend.
const HOPELESS: usize = 16;
/// Semitones that no drum is brought over: its whole compass is less.
const OCTAVE: f64 = 12.0;
/// So many events are looked at together for too many pitches.
const STRETCH: usize = 24;
/// Seconds in which one stroke can bear on the foot's time for another: every drum of a large set retuned at ease.
const MEMORY: f64 = 16.0;

/// One stroke or roll.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    /// MIDI key.
    pub key: i16,
    /// The last touch of the sticks: its onset for a stroke, its end for a roll, seconds.
    pub until: f64,
}

/// What is struck at one time.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// Seconds; events are in order.
    pub at: f64,
    /// All at once, each on a drum of its own.
    pub strokes: Vec<Stroke>,
    /// Reached from the event before by a glissando of the pedal: one stroke, on the same drum.
    pub slid: bool,
}

/// A retuning.
#[derive(Clone, Debug, PartialEq)]
pub struct Retuning {
    /// Index in the set.
    pub drum: usize,
    /// From this key.
    pub from: i16,
    /// To this key.
    pub to: i16,
    /// The event that needs it.
    pub event: usize,
    /// The event that struck this drum last.
    pub after: Option<usize>,
    /// Its place in time; `None` where there is none.
    pub timed: Option<Timed>,
}

/// The way through.
#[derive(Clone, Debug, PartialEq)]
pub struct Solution {
    /// The tuning before the first note; [`UNTUNED`] for a drum that is not needed.
    pub initial: Vec<i16>,
    /// For each event the drum of each stroke; `None` where none has it.
    pub drums: Vec<Vec<Option<usize>>>,
    /// In the order of the events that need them.
    pub retunings: Vec<Retuning>,
    /// Events whose glissando the pedal cannot make.
    pub no_slide: Vec<usize>,
    /// What the retunings cost: one each, and a tenth for each semitone.
    pub retuning_cost: f64,
    /// With all preferences.
    pub cost: f64,
    /// States were dropped that may have been part of a better way.
    pub narrowed: bool,
}

/// No set has more drums than this: those past it are left alone.
pub const MOST_DRUMS: usize = 8;

#[derive(Clone, Debug)]
struct State {
    tuning: [i16; MOST_DRUMS],
    /// Last event of each drum, -1 for none that still matters, and when its sticks left it.
    last: [(i32, f64); MOST_DRUMS],
    struck: Option<u8>,
    foot: Lane,
    cost: f64,
    step: usize,
}

/// How one event is played: small, since most of them lead nowhere.
#[derive(Clone, Debug, Default)]
struct Step {
    back: usize,
    /// For each drum the stroke that it takes, counted from 1; 0 for none.
    takes: [u16; MOST_DRUMS],
    moved: Option<Rc<Moved>>,
    slid: bool,
}

impl Step {
    fn taken(&self) -> usize {
        self.takes.iter().filter(|s| **s > 0).count()
    }
}

/// A retuning and, from the last to the first, those of the same event before it.
#[derive(Clone, Debug)]
struct Moved {
    drum: usize,
    from: i16,
    to: i16,
    after: i32,
    job: Option<(Job, usize)>,
    before: Option<Rc<Moved>>,
}

/// Solves a part on a set of drums, from the lowest to the highest. `initial` gives the tuning to begin with; [`UNTUNED`] or
/// nothing where it is free.
pub fn solve(events: &[Event], set: &[DrumFacts], initial: &[i16], facts: &TimpaniFacts) -> Solution {
    let initial: Vec<i16> = (0..set.len()).map(|d| initial.get(d).copied().unwrap_or(UNTUNED)).collect();
    let search = Search::new(events, set, facts);
    let first = search.run(&initial, FIRST, f64::INFINITY);
    if !first.narrowed || is_hopeless(&first, events.len()) {
        return first;
    }
    let width = NARROWEST.max(STATES / events.len().max(1));
    if events.len() <= SHORT {
        let full = search.run(&initial, usize::MAX, first.cost);
        if !full.narrowed && full.drums.len() == events.len() {
            return full;
        }
    }
    let second = search.run(&initial, width, first.cost);
    // The second search may lose the way of the first, which is as dear, to others that looked better.
    if second.drums.len() == events.len() && second.cost <= first.cost { second } else { first }
}

/// So much is wrong that a wider search would be wasted: the part wants another player or other notes.
fn is_hopeless(found: &Solution, events: usize) -> bool {
    events > SHORT && found.retunings.iter().filter(|r| r.timed.is_none()).count() * HOPELESS > events
}

/// Can some stretch of these events not be played on so many drums, whatever they are and however they are tuned before? In any
/// stretch of time one foot retunes at most so many drums as it has time for by the gauge; with more pitches than drums and
/// retunings, one comes too late. `held`: the keys that some drum has.
pub fn too_many_pitches(
    events: &[Event],
    drums: usize,
    held: impl Fn(i16) -> bool,
    facts: &TimpaniFacts,
) -> bool {
    (0..events.len()).any(|first| {
        let mut keys: Vec<i16> = Vec::new();
        // A glissando brings its drum to another pitch without a retuning: no further than that.
        let stretch = events[first..].iter().enumerate().take_while(|(i, e)| *i == 0 || !e.slid);
        stretch.take(STRETCH).any(|(_, event)| {
            for stroke in event.strokes.iter().filter(|s| held(s.key)) {
                if !keys.contains(&stroke.key) {
                    keys.push(stroke.key);
                }
            }
            let time = event.at - events[first].at + EPSILON;
            keys.len() > drums && (keys.len() - drums) as f64 * facts.gauge > time
        })
    })
}

type Next = (State, Step);

struct Search<'a> {
    events: &'a [Event],
    set: &'a [DrumFacts],
    facts: &'a TimpaniFacts,
    /// For each stroke of each event: is it tried at all?
    struck: Vec<Vec<bool>>,
    /// Tries so far in this search.
    tried: Cell<u64>,
    /// A way to take the strokes of an event was passed over for one that looked better.
    passed_over: Cell<bool>,
}

impl<'a> Search<'a> {
    fn new(events: &'a [Event], set: &'a [DrumFacts], facts: &'a TimpaniFacts) -> Self {
        let set = &set[..set.len().min(MOST_DRUMS)];
        let struck = events.iter().map(|e| that_fit(&e.strokes, set)).collect();
        Self { events, set, facts, struck, tried: Cell::new(0), passed_over: Cell::new(false) }
    }

    /// Follows at most `width` states, none of which costs more than `bound`.
    fn run(&self, initial: &[i16], width: usize, bound: f64) -> Solution {
        let start = State {
            tuning: std::array::from_fn(|d| initial.get(d).copied().unwrap_or(UNTUNED)),
            last: [(-1, f64::NEG_INFINITY); MOST_DRUMS],
            struck: None,
            foot: Lane::default(),
            cost: 0.0,
            step: 0,
        };
        let mut steps = vec![Step::default()];
        let mut states = vec![start];
        let mut narrowed = false;
        self.tried.set(0);
        self.passed_over.set(false);
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
            let mut next = Vec::with_capacity(states.len() * 3);
            for state in &states {
                self.follow(state, event, effort, &mut next);
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
                return self.tell(&steps, 0, initial.to_vec(), f64::INFINITY, true);
            }
            states.clear();
            for (mut state, mut step) in next {
                step.back = std::mem::replace(&mut state.step, steps.len());
                steps.push(step);
                states.push(state);
            }
        }
        let best = states.iter().min_by(|a, b| a.cost.total_cmp(&b.cost).then(a.step.cmp(&b.step)));
        let (cost, last) = best.map_or((0.0, 0), |s| (s.cost, s.step));
        self.tell(&steps, last, initial.to_vec(), cost, narrowed || self.passed_over.get())
    }

    fn follow(&self, state: &State, event: usize, effort: usize, out: &mut Vec<Next>) {
        let now = &self.events[event];
        let mut begin = state.clone();
        let horizon = now.at - MEMORY;
        let mut oldest = f64::INFINITY;
        for (drum, last) in begin.last.iter_mut().enumerate() {
            if last.1 < horizon {
                *last = (-1, f64::NEG_INFINITY);
            }
            if begin.tuning[drum] != UNTUNED {
                oldest = oldest.min(last.1);
            }
        }
        // No drum is retuned before the sticks left it.
        begin.foot.forget(oldest.min(now.at).max(horizon));
        let mut open = vec![(begin, Step::default())];
        for index in 0..now.strokes.len() {
            if !self.struck[event][index] {
                continue;
            }
            let mut more = Vec::new();
            for (partial, step) in &open {
                if effort == usize::MAX && self.tried.get() > FULL {
                    return;
                }
                let known = more.len();
                self.strike(state, partial, step, event, index, &mut more);
                self.tried.set(self.tried.get() + (more.len() - known) as u64);
            }
            if more.len() > effort {
                let drums = |n: &Next| std::cmp::Reverse(n.1.taken());
                more.sort_by(|a, b| drums(a).cmp(&drums(b)).then(a.0.cost.total_cmp(&b.0.cost)));
                more.truncate(effort);
                self.passed_over.set(true);
            }
            open = more;
        }
        // As many strokes as can be have a drum.
        let most = open.iter().map(|(_, s)| s.taken()).max().unwrap_or(0);
        open.retain(|(_, s)| s.taken() == most);
        out.append(&mut open);
    }

    /// The ways to take one stroke of an event.
    fn strike(
        &self,
        before: &State,
        partial: &State,
        step: &Step,
        event: usize,
        index: usize,
        out: &mut Vec<Next>,
    ) {
        let now = &self.events[event];
        let stroke = now.strokes[index];
        let slides = |drum: usize| {
            let from = before.tuning[drum];
            from != UNTUNED && (from - stroke.key).abs() <= self.facts.glissando
        };
        let struck = before.struck.map(usize::from);
        let slider = struck.filter(|d| now.slid && self.holds(*d, stroke.key) && slides(*d));
        let can =
            |d: &usize| self.holds(*d, stroke.key) && step.takes[*d] == 0 && slider.is_none_or(|s| s == *d);
        // Without a drum: nothing to do with this stroke, which is reported. Also where two strokes compete for one.
        if now.strokes.len() > 1 || !(0..self.set.len()).any(|d| can(&d)) {
            out.push((partial.clone(), step.clone()));
        }
        for drum in (0..self.set.len()).filter(can) {
            let (mut state, mut step) = (partial.clone(), step.clone());
            step.takes[drum] = u16::try_from(index + 1).unwrap_or(u16::MAX);
            if let Some(last) = struck
                && last.abs_diff(drum) > 1
                && event > 0
                && now.at - self.events[event - 1].at < self.facts.travel - EPSILON
            {
                state.cost += TRAVEL;
            }
            if now.slid && slider.is_none() {
                state.cost += LATE;
                step.slid = true;
            }
            let from = state.tuning[drum];
            state.struck = Some(drum as u8);
            let (last, released) = state.last[drum];
            state.last[drum] = (event as i32, stroke.until.max(now.at));
            state.tuning[drum] = stroke.key;
            if from == stroke.key {
                out.push((state, step));
                continue;
            }
            state.cost += self.liking(drum, stroke.key);
            if from == UNTUNED || slider == Some(drum) {
                out.push((state, step));
                continue;
            }
            let semitones = f64::from((from - stroke.key).unsigned_abs());
            state.cost += RETUNE + BY_SEMITONE * semitones;
            let moved =
                Moved { drum, from, to: stroke.key, after: last, job: None, before: step.moved.take() };
            self.retune((&state, &step), &moved, released, now.at, semitones, out);
        }
    }

    /// The ways to find the time for a retuning.
    fn retune(
        &self,
        (state, step): (&State, &Step),
        moved: &Moved,
        release: f64,
        due: f64,
        semitones: f64,
        out: &mut Vec<Next>,
    ) {
        let checked = self.facts.checked + self.facts.by_semitone * semitones;
        let ease = self.facts.comfortable.max(checked);
        let mut put = |foot: Lane, price: f64, job: Option<(Job, usize)>| {
            let state = State { foot, cost: state.cost + price, ..state.clone() };
            out.push((state, Step { moved: Some(Rc::new(Moved { job, ..moved.clone() })), ..step.clone() }));
        };
        // At ease with time left for every other drum at its slowest: nothing quicker can do more.
        let slowest = self.facts.comfortable.max(self.facts.checked + self.facts.by_semitone * OCTAVE);
        let room = slowest * self.set.len() as f64;
        let (mut places, mut early) = (Vec::new(), Vec::new());
        for (takes, price) in [(ease, 0.0), (checked, HURRIED), (self.facts.gauge, BY_GAUGE)] {
            if price == HURRIED && checked >= ease {
                continue;
            }
            let job = Job { tag: moved.drum as u8, release, due, takes };
            state.foot.places(&job, &mut places);
            for after in &places {
                put(state.foot.with(job, *after), price, Some((job, *after)));
            }
            state.foot.places(&Job { due: due - room, ..job }, &mut early);
            if price == 0.0 && !places.is_empty() && early.len() == places.len() {
                return;
            }
        }
        put(state.foot.clone(), LATE, None);
    }

    fn tell(&self, steps: &[Step], last: usize, initial: Vec<i16>, cost: f64, narrowed: bool) -> Solution {
        let mut path = Vec::new();
        let mut at = last;
        while at != 0 {
            path.push(at);
            at = steps[at].back;
        }
        path.reverse();
        let mut solution = Solution {
            initial,
            drums: Vec::with_capacity(path.len()),
            retunings: Vec::new(),
            no_slide: Vec::new(),
            retuning_cost: 0.0,
            cost,
            narrowed,
        };
        let mut taken: Vec<(Job, usize)> = Vec::new();
        let mut order: Vec<usize> = Vec::new();
        for (event, step) in path.iter().map(|i| &steps[*i]).enumerate() {
            if step.slid {
                solution.no_slide.push(event);
            }
            let mut list: Vec<&Moved> = Vec::new();
            let mut one = step.moved.as_deref();
            while let Some(moved) = one {
                list.push(moved);
                one = moved.before.as_deref();
            }
            for moved in list.into_iter().rev() {
                if let Some((job, after)) = moved.job {
                    order.insert(order.len() - after.min(order.len()), solution.retunings.len());
                    taken.push((job, after));
                }
                let semitones = f64::from((moved.from - moved.to).unsigned_abs());
                solution.retuning_cost += RETUNE + BY_SEMITONE * semitones;
                solution.retunings.push(Retuning {
                    drum: moved.drum,
                    from: moved.from,
                    to: moved.to,
                    event,
                    after: usize::try_from(moved.after).ok(),
                    timed: None,
                });
            }
            let drum_of = |stroke: usize| step.takes.iter().position(|s| usize::from(*s) == stroke + 1);
            solution.drums.push((0..self.events[event].strokes.len()).map(drum_of).collect());
        }
        for (index, timed) in order.into_iter().zip(lane::as_late_as_possible(&lane::in_order(&taken))) {
            solution.retunings[index].timed = Some(timed);
        }
        solution
    }

    fn holds(&self, drum: usize, key: i16) -> bool {
        self.set[drum].extended.holds(key)
    }

    /// What it costs to have a drum at a key, apart from bringing it there.
    fn liking(&self, drum: usize, key: i16) -> f64 {
        liking(&self.set[drum], key)
    }
}

/// What it costs to have a drum at a key: away from the middle of its usual range, and outside it.
pub fn liking(drum: &DrumFacts, key: i16) -> f64 {
    let (low, high) = (i16::from(drum.usual.low), i16::from(drum.usual.high));
    let middle = f64::from(low + high) / 2.0;
    let outside = (low - key).max(key - high).max(0);
    OFF_MIDDLE * (f64::from(key) - middle).abs() + STRAINED * f64::from(outside)
}

/// The tuning before the first note where it was free: what each drum is first asked for.
pub fn first_tuning(events: &[Event], solution: &Solution) -> Vec<i16> {
    let mut tuning = solution.initial.clone();
    for (event, drums) in events.iter().zip(&solution.drums) {
        for (stroke, drum) in event.strokes.iter().zip(drums) {
            if let Some(drum) = drum
                && tuning[*drum] == UNTUNED
            {
                tuning[*drum] = stroke.key;
            }
        }
    }
    tuning
}

/// Which strokes of an event are tried: all, or where there are more than drums, as many as find a drum of their own at once.
fn that_fit(strokes: &[Stroke], set: &[DrumFacts]) -> Vec<bool> {
    if strokes.len() <= set.len() {
        return vec![true; strokes.len()];
    }
    let mut taken: Vec<Option<usize>> = vec![None; set.len()];
    for stroke in 0..strokes.len() {
        if taken.iter().all(Option::is_some) {
            break;
        }
        make_room(stroke, strokes, set, &mut vec![false; set.len()], &mut taken);
    }
    (0..strokes.len()).map(|s| taken.contains(&Some(s))).collect()
}

/// Finds a drum for one more stroke, where others change drums for it (the augmenting path of bipartite matching).
fn make_room(
    stroke: usize,
    strokes: &[Stroke],
    set: &[DrumFacts],
    seen: &mut Vec<bool>,
    taken: &mut Vec<Option<usize>>,
) -> bool {
    for drum in 0..set.len() {
        if seen[drum] || !set[drum].extended.holds(strokes[stroke].key) {
            continue;
        }
        seen[drum] = true;
        if taken[drum].is_none_or(|other| make_room(other, strokes, set, seen, taken)) {
            taken[drum] = Some(stroke);
            return true;
        }
    }
    false
}

/// Costs no more, and can do all that the other can.
fn as_good(a: &State, b: &State) -> bool {
    a.cost <= b.cost + EPSILON
        && a.struck == b.struck
        && a.foot.leaves_as_much(&b.foot)
        && (0..MOST_DRUMS).all(|d| a.tuning[d] == b.tuning[d] && a.last[d].1 <= b.last[d].1 + EPSILON)
}
