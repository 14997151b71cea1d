//! What stands around the notes: dynamics, hairpins, words and pedals as they are in force at each onset.

use super::runs::Pair;
use crate::axis::InForce;
use crate::dynamics::{neighbour, settled};
use crate::lines::about_players;
use ripieno_music::{Content, Direction, DirectionKind, Dynamic, Note, Playing, Score};
use ripieno_plan::Kept;
use ripieno_units::Beats;
use std::ops::Range;

/// What is in force at one onset.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct State {
    /// As usual where nothing is said.
    pub(super) level: Option<Dynamic>,
    /// Louder or softer, until when, into or out of nothing.
    pub(super) hairpin: Option<(bool, Beats, bool)>,
    /// Marks that hold for this onset alone.
    pub(super) attacks: Vec<Dynamic>,
    pub(super) words: InForce,
    pub(super) pedal: Option<Beats>,
}

impl State {
    /// Without the words about who plays, which a `col` does not take over.
    fn for_others(&self) -> Self {
        let mut state = self.clone();
        state.words.retain(|w| !about_players(w));
        state
    }
}

/// The state at the onset of each note, in the notes' order.
pub(super) fn states(content: &Content) -> Vec<State> {
    let mut directions: Vec<&Direction> = content.directions.iter().collect();
    directions.sort_by_key(|d| d.at);
    let mut now = State::default();
    let mut next = 0;
    let mut all: Vec<State> = Vec::with_capacity(content.notes.len());
    for chord in content.notes.chunk_by(|a, b| a.at == b.at) {
        let at = chord[0].at;
        now.attacks.clear();
        while let Some(direction) = directions.get(next).filter(|d| d.at <= at) {
            end_hairpin(&mut now, direction.at);
            hear(&mut now, direction, at);
            next += 1;
        }
        end_hairpin(&mut now, at);
        if now.pedal.is_some_and(|to| to <= at) {
            now.pedal = None;
        }
        all.extend(std::iter::repeat_n(now.clone(), chord.len()));
    }
    all
}

fn end_hairpin(now: &mut State, at: Beats) {
    if let Some((louder, to, _)) = now.hairpin
        && to <= at
    {
        // It has led one step on, where no mark says more.
        step_on(now, louder);
        now.hairpin = None;
    }
}

/// The usual level is that where nothing is said.
fn step_on(now: &mut State, louder: bool) {
    now.level =
        Some(neighbour(now.level.unwrap_or(Dynamic::Mf), louder)).filter(|level| *level != Dynamic::Mf);
}

fn hear(now: &mut State, direction: &Direction, onset: Beats) {
    match &direction.kind {
        DirectionKind::Dynamic(dynamic) => {
            if dynamic.level().is_some() {
                (now.level, now.hairpin) = (Some(settled(*dynamic)), None);
            }
            if direction.at == onset && (dynamic.level().is_none() || settled(*dynamic) != *dynamic) {
                now.attacks.push(*dynamic);
            }
        }
        DirectionKind::Hairpin { louder, to, niente } => {
            if let Some((up, ..)) = now.hairpin {
                step_on(now, up);
            }
            now.hairpin = Some((*louder, *to, *niente));
        }
        DirectionKind::Playing(word) => now.words.hear(word),
        DirectionKind::Pedal { to } => now.pedal = Some(*to),
        DirectionKind::Words(_) => {}
    }
    if now.level == Some(Dynamic::Mf) {
        now.level = None;
    }
}

/// The states of every track, as they are, and as they are for who goes along.
pub(super) struct States {
    own: Vec<Vec<State>>,
    others: Vec<Vec<State>>,
    curves: Vec<bool>,
}

impl States {
    pub(super) fn of(score: &Score) -> Self {
        let own: Vec<Vec<State>> = score.tracks.iter().map(|t| states(&t.content)).collect();
        let others = own.iter().map(|all| all.iter().map(State::for_others).collect()).collect();
        let curves = score.tracks.iter().map(|t| !t.content.controls.is_empty()).collect();
        Self { own, others, curves }
    }

    /// Is a note of the follower in the state that its leader's would give it? What `own` names, the follower's cell says
    /// itself.
    pub(super) fn alike(&self, pair: Pair, mine: usize, theirs: usize, own: Own) -> bool {
        if own.kept.is_some() {
            return true;
        }
        // Curves run on between the notes: they are each player's own.
        if self.curves[pair.track] || self.curves[pair.of] {
            return false;
        }
        let all = if own.players { &self.others } else { &self.own };
        let (Some(a), Some(b)) = (all[pair.track].get(mine), self.others[pair.of].get(theirs)) else {
            return false;
        };
        let dynamics = own.dynamics || (a.level, a.hairpin, &a.attacks) == (b.level, b.hairpin, &b.attacks);
        dynamics && (&a.words, a.pedal) == (&b.words, b.pedal)
    }

    /// The words about who plays that hold from the first to the last of a track's notes; `None` if they change.
    pub(super) fn players(&self, track: usize, notes: Range<usize>) -> Option<Vec<Playing>> {
        let about = |state: &State| {
            let mut words = state.words.clone();
            words.retain(about_players);
            words
        };
        let mut all = self.own[track].get(notes)?.iter().map(about);
        let first = all.next().unwrap_or_default();
        let words = InForce::default().towards(&first);
        // As a mark of a cell, `div.` would share out the chords.
        let divided = words.iter().any(|w| matches!(w, Playing::Div(_)));
        (!divided && all.all(|words| words == first)).then_some(words)
    }
}

/// What a cell says itself, beside its `col`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Own {
    /// Who plays: `a 2`, `solo`.
    pub(super) players: bool,
    pub(super) dynamics: bool,
    /// What stands at its notes and around them, or that and their rhythm.
    pub(super) kept: Option<Kept>,
}

/// The notes of a part with their states.
pub(super) fn sounding(content: Content) -> Vec<(Note, State)> {
    let states = states(&content);
    content.notes.into_iter().zip(states).collect()
}
