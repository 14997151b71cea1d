//! Who renders what, and in which order: first where the listener is and what is listened to, then ahead, then the rest.

use super::Side;
use super::casting::{Casting, Seat, state};
use super::piece;
use super::store::Store;
use crate::CueError;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// Most stretches that are rendered in one go: each go begins with what rings from before, which is the smaller a share the
/// more stretches follow.
const MOST: usize = 16;

/// A chair that is not listened to comes as late as one that is listened to so many stretches on.
const BESIDE: usize = 12;

/// Where the listener is.
#[derive(Clone, Debug, Default)]
pub struct Focus {
    pub side: Side,
    /// The stretch that is heard.
    pub stretch: usize,
    /// The chairs that are not heard.
    pub unheard: BTreeSet<String>,
}

#[derive(Default)]
pub struct State {
    pub castings: BTreeMap<Side, Arc<Casting>>,
    pub focus: Focus,
    /// What went wrong, by chair.
    pub troubles: BTreeMap<String, String>,
}

/// What workers and listeners share.
pub struct Shared {
    state: Mutex<State>,
    work: Condvar,
    done: Condvar,
    stop: AtomicBool,
    /// Counted up when something is wanted at once: whoever is at work on something else looks up.
    turn: AtomicU64,
    /// Stretches that were rendered.
    rendered: AtomicU64,
    pub store: Store,
}

/// What a worker is to do.
enum Job {
    /// Find out the stretches of a chair.
    Make(Arc<Casting>, Arc<Seat>),
    /// Render so many from one on.
    Render(Arc<Casting>, Arc<Seat>, usize, usize),
}

impl Shared {
    pub fn new(store: Store) -> Self {
        Self {
            state: Mutex::default(),
            work: Condvar::new(),
            done: Condvar::new(),
            stop: AtomicBool::new(false),
            turn: AtomicU64::new(0),
            rendered: AtomicU64::new(0),
            store,
        }
    }

    pub fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// How many stretches were rendered so far.
    pub fn rendered(&self) -> u64 {
        self.rendered.load(Ordering::Relaxed)
    }

    /// There is something to do, and at once.
    pub fn hurry(&self) {
        self.turn.fetch_add(1, Ordering::Relaxed);
        drop(self.lock());
        self.work.notify_all();
    }

    /// Waits until something holds, or patience ends.
    pub fn wait(&self, patience: Duration, holds: impl Fn(&State) -> bool) {
        let state = self.lock();
        // Poisoned or not, what is looked at afterwards is the state itself.
        drop(self.done.wait_timeout_while(state, patience, |state| {
            !holds(state) && !self.stop.load(Ordering::Relaxed)
        }));
    }

    /// Ends all work as soon as may be.
    pub fn end(&self) {
        self.stop.store(true, Ordering::Relaxed);
        self.hurry();
        self.done.notify_all();
    }

    /// Works until the end.
    pub fn run(&self) {
        loop {
            let job = {
                let mut state = self.lock();
                loop {
                    if self.stop.load(Ordering::Relaxed) {
                        return;
                    }
                    if let Some(job) = pick(&state) {
                        break job;
                    }
                    state = self.work.wait(state).unwrap_or_else(PoisonError::into_inner);
                }
            };
            match job {
                Job::Make(casting, seat) => {
                    seat.make(&casting, &self.store);
                    drop(self.lock());
                    self.done.notify_all();
                    self.work.notify_all();
                }
                Job::Render(casting, seat, first, count) => self.render(&casting, &seat, first, count),
            }
        }
    }

    fn render(&self, casting: &Casting, seat: &Seat, first: usize, count: usize) {
        let Some(made) = seat.made() else { return };
        let turn = self.turn.load(Ordering::Relaxed);
        let mut next = first;
        let mut give = |k: usize, left: &[f32], right: &[f32]| -> Result<bool, CueError> {
            if let Some(Some(key)) = made.keys.get(k) {
                self.store.put(*key, left, right)?;
            }
            self.rendered.fetch_add(1, Ordering::Relaxed);
            let state = self.lock();
            made.states[k].store(state::READY, Ordering::Relaxed);
            drop(state);
            self.done.notify_all();
            next = k + 1;
            Ok(self.turn.load(Ordering::Relaxed) == turn && !self.stop.load(Ordering::Relaxed))
        };
        let done = piece::render(seat, casting, &made.phrases, (first, count), &mut give);
        let mut state = self.lock();
        let left = if done.is_err() { state::FAILED } else { state::WANTED };
        for k in next..first + count {
            made.states[k].store(left, Ordering::Relaxed);
        }
        if let Err(error) = done {
            state.troubles.insert(seat.id.clone(), format!("{}: {error}", seat.id));
        }
        drop(state);
        self.done.notify_all();
    }
}

/// What is most wanted.
fn pick(state: &State) -> Option<Job> {
    let focus = &state.focus;
    let sides = [focus.side, focus.side.other()];
    for side in sides {
        let Some(casting) = state.castings.get(&side) else { continue };
        let heard = |seat: &&Arc<Seat>| !focus.unheard.contains(&seat.id);
        let open = |seat: &&Arc<Seat>| seat.whole().is_none() && seat.made().is_none();
        let all = || casting.seats.iter().filter(heard).chain(casting.seats.iter().filter(|s| !heard(s)));
        if let Some(seat) = all().filter(open).find(|s| s.claim_making()) {
            return Some(Job::Make(Arc::clone(casting), Arc::clone(seat)));
        }
        let mut best: Option<(usize, &Arc<Seat>, usize, usize)> = None;
        for seat in all().filter(|s| s.whole().is_none()) {
            let Some(made) = seat.made() else { continue };
            let wanted = |k: &usize| made.states[*k].load(Ordering::Relaxed) == state::WANTED;
            let count = made.states.len();
            let here = focus.stretch.min(count);
            // What lies behind comes after all that lies ahead.
            let Some(first) = (here..count).chain(0..here).find(wanted) else { continue };
            let away = if first >= here { first - here } else { count + first };
            let rank = away + if heard(&seat) { 0 } else { BESIDE };
            if best.is_none_or(|b| rank < b.0) {
                best = Some((rank, seat, first, away));
            }
        }
        let Some((_, seat, first, away)) = best else { continue };
        let Some(made) = seat.made() else { continue };
        // The nearer, the fewer: all chairs have their turn before the first is needed again.
        let most = away.clamp(1, MOST);
        let mut count = 0;
        for k in first..made.states.len().min(first + most) {
            let claimed = made.states[k].compare_exchange(
                state::WANTED,
                state::CLAIMED,
                Ordering::Relaxed,
                Ordering::Relaxed,
            );
            if claimed.is_err() {
                break;
            }
            count += 1;
        }
        if count > 0 {
            return Some(Job::Render(Arc::clone(casting), Arc::clone(seat), first, count));
        }
    }
    None
}
