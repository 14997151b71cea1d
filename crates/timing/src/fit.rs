//! The fit: which place of the music falls on which hit, and at what tempi.
//!
//! A speed is how many times the wished tempo: 1 as wished. All is counted in the wished clock, so that the music's own changes of
//! tempo are kept where no one tempo is wished. Stepped: exact search by dynamic programming over hit, place and stretch before it,
//! of least sum of (log2 v/v0)^2 + lambda (log2 v'/v)^2 over the stretches, and the cost of barlines moved.

use crate::{Pace, Step, ramp};
use ripieno_music::Timeline;
use ripieno_units::{Beats, math};
use std::collections::BTreeMap;

/// Weight of a change of tempo beside its distance from the wish.
pub const LAMBDA: f64 = 4.0;
/// What a barline costs that is moved by a beat: as much as a stretch a tenth off the wished tempo. Own choice.
const MOVED: f64 = 0.02;
/// So many hits in a row may be passed over where the bounds leave no other way.
const MOST_PASSED: usize = 3;

/// What a hit asks of the music.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wanted {
    /// Any beat.
    Any,
    /// This beat of any bar, from 1.
    Beat(u16),
    /// This very place of the music.
    At(Beats),
}

/// A hit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hit {
    /// Seconds after bar 1; above zero.
    pub time: f64,
    /// How far off it may be, seconds; above zero.
    pub within: f64,
    /// What falls on it.
    pub wanted: Wanted,
}

/// A place that may fall on a hit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Where.
    pub at: Beats,
    /// Seconds after bar 1 at the wished tempo.
    pub wish: f64,
    /// Bar.
    pub bar: i32,
    /// Beat, from 1, in the unit of the metre's lower number; 0 for a place between the beats.
    pub beat: u16,
}

/// The beats of the music from bar 1 on, felt as the metre has them (6/8 in two), with `pinned` places among them; the last metre goes on
/// until `seconds` at half the wished tempo are covered. `wished` is in quarters a minute; none keeps the music's own tempi.
pub fn places(timeline: &Timeline, wished: Option<f64>, pinned: &[Beats], seconds: f64) -> Vec<Place> {
    const MOST: usize = 20_000;
    let clock = timeline.clock();
    let wish = |at: Beats| match wished {
        Some(tempo) => at.quarters() * 60.0 / tempo,
        None => clock.seconds(at).0,
    };
    let mut out: Vec<Place> = Vec::new();
    let mut beats = |at: Beats, length: Beats, metre: ripieno_music::Metre, bar: i32| {
        let felt = if metre.unit >= 8 && metre.beats > 3 && metre.beats.is_multiple_of(3) { 3 } else { 1 };
        let mut beat: u16 = 1;
        let mut here = at;
        while here < at + length {
            if here >= Beats::ZERO {
                out.push(Place { at: here, wish: wish(here), bar, beat });
            }
            here += metre.beat() * i64::from(felt);
            beat = beat.saturating_add(felt);
        }
        out.len() < MOST && out.last().is_none_or(|p| p.wish < seconds * 2.0)
    };
    let mut on = true;
    for bar in &timeline.bars {
        on = on && beats(bar.at, bar.length, bar.metre, bar.number);
    }
    if let Some(last) = timeline.bars.last() {
        let (mut at, mut number) = (last.at + last.length, last.number);
        while on {
            number += 1;
            on = beats(at, last.metre.bar(), last.metre, number);
            at += last.metre.bar();
        }
    }
    for at in pinned {
        if out.iter().all(|p| p.at != *at) {
            out.push(Place { at: *at, wish: wish(*at), bar: timeline.bar_at(*at).number, beat: 0 });
        }
    }
    out.sort_by_key(|p| p.at);
    out
}

/// What is to be fitted.
#[derive(Clone, Debug)]
pub struct Problem {
    /// Hits in order of time.
    pub hits: Vec<Hit>,
    /// Places, see [`places`].
    pub places: Vec<Place>,
    /// Slowest and fastest speed, around 1.
    pub speed: (f64, f64),
    /// The wished tempo, quarters a minute; or the music's own on average.
    pub wished: f64,
    /// The music's own changes of tempo are kept.
    pub own: bool,
    /// Barlines may be moved.
    pub bars_free: bool,
    /// Weight of changes, see [`LAMBDA`].
    pub lambda: f64,
    /// For each hit the quarters from the hit before it (or bar 1), where that stretch is to stay as it is.
    pub kept: Vec<Option<Beats>>,
}

/// Kinds of proposal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// One tempo, least greatest error.
    LeastWorst,
    /// One tempo, least squares.
    LeastSquares,
    /// A tempo for each stretch between hits.
    Stepped,
    /// Tempi that go over into each other.
    Ramped,
}

/// A proposal.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// What kind.
    pub kind: Kind,
    /// The place of each hit; none where it was passed over.
    pub places: Vec<Option<usize>>,
    /// The tempi.
    pub steps: Vec<Step>,
    /// Hits that were passed over.
    pub missed: usize,
    /// The sum that was made least, for stepped tempi.
    pub cost: Option<f64>,
}

#[derive(Clone, Copy)]
struct State {
    missed: usize,
    cost: f64,
    speed: f64,
    /// Hit before, place there, and the place of the hit before that one.
    from: Option<(usize, usize, From)>,
}

/// The hit before and its place, if there is one.
type From = Option<(usize, usize)>;

/// States of a hit: by (hit and place before, place).
type Layer = BTreeMap<(From, usize), State>;

impl Problem {
    /// May this place fall on this hit, and at what cost in barlines?
    fn asked(&self, hit: usize, place: usize) -> Option<f64> {
        let at = self.places[place];
        match self.hits[hit].wanted {
            Wanted::At(wanted) => (at.at == wanted).then_some(0.0),
            _ if at.beat == 0 => None,
            Wanted::Any => Some(0.0),
            Wanted::Beat(beat) if beat == at.beat => Some(0.0),
            Wanted::Beat(1) if self.bars_free && at.bar > 0 => {
                let next = self.places[place..].iter().position(|p| p.bar > at.bar && p.beat == 1);
                let moved = usize::from(at.beat - 1).min(next.unwrap_or(usize::MAX));
                Some(MOVED * moved as f64)
            }
            Wanted::Beat(_) => None,
        }
    }

    /// The place nearest to a wished time that may fall on this hit.
    pub(crate) fn nearest(&self, hit: usize, wish: f64) -> Option<usize> {
        let after = self.places.partition_point(|p| p.wish < wish);
        let ok = |i: &usize| self.asked(hit, *i).is_some();
        let up = (after..self.places.len()).find(ok);
        let down = (0..after).rev().find(ok);
        [down, up].into_iter().flatten().min_by(|a, b| {
            (self.places[*a].wish - wish).abs().total_cmp(&(self.places[*b].wish - wish).abs())
        })
    }

    /// A tempo for each stretch between hits, such that every hit is met; hits that the bounds do not let be met are passed over, as few
    /// as can be. None if not even that is possible.
    pub fn stepped(&self) -> Option<Fit> {
        let (choice, missed, cost) = (0..=MOST_PASSED).find_map(|passed| self.search(passed))?;
        let mut steps = Vec::new();
        let (mut time, mut wish, mut at) = (0.0, 0.0, Beats::ZERO);
        for (hit, place) in choice.iter().enumerate() {
            let Some(place) = place else { continue };
            let (place, hit) = (self.places[*place], self.hits[hit]);
            let pace = self.pace((place.wish - wish) / (hit.time - time));
            steps.push(Step { at, pace, ramp: false });
            (time, wish, at) = (hit.time, place.wish, place.at);
        }
        Some(Fit { kind: Kind::Stepped, places: choice, steps, missed, cost: Some(cost) })
    }

    fn search(&self, passed: usize) -> Option<(Vec<Option<usize>>, usize, f64)> {
        let count = self.hits.len();
        let mut layers: Vec<Layer> = Vec::with_capacity(count);
        let better = |a: &State, b: &State| (a.missed, a.cost) < (b.missed, b.cost);
        for i in 0..count {
            let mut layer = Layer::new();
            let first = i.saturating_sub(passed + 1);
            for (j, reached) in layers.iter().enumerate().skip(first) {
                for ((before, place), state) in reached {
                    self.go(Some((j, *place)), Some((*before, state)), i, &mut layer, &better);
                }
            }
            if i <= passed {
                self.go(None, None, i, &mut layer, &better);
            }
            layers.push(layer);
        }
        let mut best: Option<(usize, (From, usize), State)> = None;
        for (i, layer) in layers.iter().enumerate().skip(count.saturating_sub(passed + 1)) {
            for (key, state) in layer {
                let whole = State { missed: state.missed + count - 1 - i, ..*state };
                if best.as_ref().is_none_or(|b| better(&whole, &b.2)) {
                    best = Some((i, *key, whole));
                }
            }
        }
        let (mut hit, mut key, state) = best?;
        let mut places = vec![None; count];
        loop {
            places[hit] = Some(key.1);
            let Some((j, place, before)) = layers[hit].get(&key)?.from else { break };
            (hit, key) = (j, (before, place));
        }
        Some((places, state.missed, state.cost))
    }

    /// All ways from one hit (or bar 1) to another.
    fn go(
        &self,
        from: Option<(usize, usize)>,
        state: Option<(Option<(usize, usize)>, &State)>,
        to: usize,
        layer: &mut Layer,
        better: &dyn Fn(&State, &State) -> bool,
    ) {
        let (time, wish, at) = match from {
            Some((j, place)) => (self.hits[j].time, self.places[place].wish, self.places[place].at),
            None => (0.0, 0.0, Beats::ZERO),
        };
        let length = self.hits[to].time - time;
        if length <= 0.0 {
            return;
        }
        let slack = 1e-9;
        let (low, high) =
            (wish + length * self.speed.0 * (1.0 - slack), wish + length * self.speed.1 * (1.0 + slack));
        let adjacent = to == from.map_or(0, |f| f.0 + 1);
        let kept = self.kept.get(to).copied().flatten().filter(|_| adjacent);
        let begin = self.places.partition_point(|p| p.wish < low.min(high));
        let range: Box<dyn Iterator<Item = usize>> = match kept {
            // A stretch that stays needs no leave of the bounds.
            Some(quarters) => Box::new(self.places.iter().position(|p| p.at == at + quarters).into_iter()),
            None => Box::new((begin..self.places.len()).take_while(|i| self.places[*i].wish <= high)),
        };
        for place in range {
            let Some(bars) = self.asked(to, place) else { continue };
            if self.places[place].at <= at {
                continue;
            }
            let speed = (self.places[place].wish - wish) / length;
            let off = math::log2(speed);
            let change = state.map_or(0.0, |(_, s)| math::log2(speed / s.speed));
            let passed = to - from.map_or(0, |f| f.0 + 1);
            let new = State {
                missed: state.map_or(0, |(_, s)| s.missed) + passed,
                cost: state.map_or(0.0, |(_, s)| s.cost) + off * off + self.lambda * change * change + bars,
                speed,
                from: from.map(|(j, p)| (j, p, state.and_then(|(before, _)| before))),
            };
            let slot = layer.entry((from, place)).or_insert(new);
            if better(&new, slot) {
                *slot = new;
            }
        }
    }

    /// The places of a stepped fit with tempi that go over into each other, evenly by the beat; in the middle of each stretch they
    /// turn so that it takes as long as it must. None where the music's own changes are kept, or no such ramp exists.
    pub fn ramped(&self, stepped: &Fit) -> Option<Fit> {
        if self.own || stepped.steps.len() < 2 {
            return None;
        }
        let speed = |i: usize| match stepped.steps[i].pace {
            Pace::PerMinute(v) | Pace::Factor(v) => v,
        };
        let met: Vec<(Place, f64)> = stepped
            .places
            .iter()
            .zip(&self.hits)
            .filter_map(|(p, h)| Some((self.places[(*p)?], h.time)))
            .collect();
        let count = met.len();
        let edge = |i: usize| match i {
            0 => speed(0),
            i if i >= count => speed(count - 1),
            i => math::sqrt(speed(i - 1) * speed(i)),
        };
        let mut steps = Vec::new();
        let (mut at, mut time) = (Beats::ZERO, 0.0);
        for (i, (place, end)) in met.iter().enumerate() {
            let beats = place.at - at;
            let middle = ramp::middle_for(edge(i), edge(i + 1), beats.quarters(), end - time)?;
            steps.push(Step { at, pace: Pace::PerMinute(edge(i)), ramp: true });
            steps.push(Step { at: at + beats.scaled(1, 2), pace: Pace::PerMinute(middle), ramp: true });
            (at, time) = (place.at, *end);
        }
        steps.push(Step { at, pace: Pace::PerMinute(edge(count)), ramp: false });
        let tidy = |x: f64| (x * 1e8).round() / 1e8;
        for step in &mut steps {
            if let Pace::PerMinute(v) = &mut step.pace {
                *v = tidy(*v);
            }
        }
        Some(Fit {
            kind: Kind::Ramped,
            places: stepped.places.clone(),
            steps,
            missed: stepped.missed,
            cost: None,
        })
    }
}
