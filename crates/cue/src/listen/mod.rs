//! Listening: any place, any choice of chairs, at once.
//!
//! Takes a cue and its performance, gives blocks of sound. Each chair is rendered in stretches on a fixed grid, each of which is
//! kept on the disk under the fingerprint of all that can be heard in it, so that a changed cell renders what it touches and no
//! more: first where the listener is, then ahead, then the rest. A stem that a render has left whole is read as it is. What is
//! not there when it is needed is named, and never made up.
//!
//! It must not know the page: it gives samples, and says which chairs are missing from them.

mod casting;
mod choice;
mod grid;
mod level;
mod limited;
mod piece;
mod store;
mod whole;
mod work;

pub use choice::{Choice, What};
pub use grid::Grid;
pub use level::estimate as estimated_loudness;

use crate::render::kept::Kept;
use crate::{Cue, CueError, Performed};
use casting::{Casting, state};
use choice::Heard;
use limited::Past;
use ripieno_mix::Survey;
use ripieno_units::Decibels;
use std::collections::{BTreeSet, VecDeque};
use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;
use store::{Gains, Store};
use work::{Focus, Shared};

/// Which of two castings.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Side {
    /// The plan as it is.
    #[default]
    Now,
    /// The one that was kept to compare with.
    Kept,
}

impl Side {
    /// The other one.
    pub fn other(self) -> Self {
        match self {
            Self::Now => Self::Kept,
            Self::Kept => Self::Now,
        }
    }
}

/// What is to be heard.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Ask {
    /// Of which casting.
    pub side: Side,
    /// Which chairs.
    pub choice: Choice,
    /// First frame, counted from the start of the lead-in; before it is silence.
    pub from: i64,
    /// How many frames, at most [`LONGEST`] seconds.
    pub frames: usize,
    /// dB beside the level of the cue, -60 to 12: to compare two castings at one loudness.
    pub gain_db: f64,
    /// How long to wait for what is not rendered yet.
    pub patience: Duration,
}

/// A block of sound.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Block {
    /// Samples.
    pub left: Vec<f32>,
    /// Samples.
    pub right: Vec<f32>,
    /// The chairs that should sound in it and are not rendered yet, or cannot be: they are silent in it.
    pub missing: Vec<String>,
    /// By how many dB the limiter turned it down at most.
    pub limited_db: f64,
}

/// What there is to listen to.
#[derive(Clone, Debug, PartialEq)]
pub struct Program {
    /// Where frames lie in time.
    pub grid: Grid,
    /// Chairs that sound and their families, in score order.
    pub chairs: Vec<(String, &'static str)>,
    /// What is not as it should be: prints that are missing, fonts that cannot be read, chairs that cannot be rendered.
    pub remarks: Vec<String>,
    /// dB that are added to the mix: the same for all that is chosen.
    pub gain_db: f64,
    /// Stretches that are rendered, and of how many, all chairs together.
    pub ready: (usize, usize),
}

/// Most seconds of a block.
pub const LONGEST: f64 = 20.0;

/// Ends of blocks that are remembered, so that the next ones join them: several pages may listen.
const PASTS: usize = 8;

type Pasts = VecDeque<(Side, Choice, u64, Past)>;

/// Gives the sound of a cue. Workers render ahead until it is dropped.
pub struct Listener {
    shared: Arc<Shared>,
    workers: Vec<JoinHandle<()>>,
    pasts: Mutex<Pasts>,
    gain_db: f64,
    ceiling_db: f64,
    most_bytes: u64,
}

impl Listener {
    /// Opens a cue to listen to, and begins to render it from its start. `threads` workers, at least one.
    ///
    /// Errors: impulse responses that cannot be read, the disk.
    pub fn open(cue: Arc<Cue>, performed: Arc<Performed>, threads: usize) -> Result<Self, CueError> {
        let store = Store::open(&cue.folder)?;
        let most_bytes = cue.template.mix.cache_mb.saturating_mul(1_000_000);
        // What an earlier listener could not tidy behind it.
        store.tidy(most_bytes.saturating_mul(2), &BTreeSet::new());
        let gain_db = level::gain(&cue, &performed);
        let ceiling_db = cue.template.mix.true_peak.min(-1.0);
        let shared = Arc::new(Shared::new(store));
        let mut listener = Self {
            workers: Vec::new(),
            pasts: Mutex::default(),
            gain_db,
            ceiling_db,
            most_bytes,
            shared: Arc::clone(&shared),
        };
        listener.replace(cue, performed)?;
        for _ in 0..threads.max(1) {
            let shared = Arc::clone(&shared);
            listener.workers.push(std::thread::spawn(move || {
                crate::pools::give_way();
                shared.run();
            }));
        }
        Ok(listener)
    }

    /// The plan has changed: what is the same is taken over, what is not is rendered, first where the listener is. Gives the
    /// chairs that changed.
    ///
    /// Errors: as of [`Listener::open`]; the casting before then stays.
    pub fn replace(&self, cue: Arc<Cue>, performed: Arc<Performed>) -> Result<Vec<String>, CueError> {
        let before = self.casting(Side::Now);
        let kept = Kept::open(&cue.folder)?;
        let casting = Casting::prepare(cue, performed, &kept, before.as_deref())?;
        let same = |seat: &casting::Seat| {
            let old = before.as_ref().and_then(|b| b.seats.iter().find(|s| s.id == seat.id));
            old.is_some_and(|o| o.is(seat))
        };
        let mut changed: Vec<String> =
            casting.seats.iter().filter(|s| !same(s)).map(|s| s.id.clone()).collect();
        let gone = before.iter().flat_map(|b| &b.seats);
        let gone = gone.filter(|s| casting.seats.iter().all(|now| now.id != s.id));
        changed.extend(gone.map(|s| s.id.clone()));
        {
            let mut state = self.shared.lock();
            for id in &changed {
                state.troubles.remove(id);
            }
            state.castings.insert(Side::Now, Arc::new(casting));
        }
        self.pasts.lock().unwrap_or_else(PoisonError::into_inner).retain(|p| p.0 != Side::Now);
        self.shared.hurry();
        Ok(changed)
    }

    /// Keeps the casting as it is now, to hear a later one against it.
    pub fn keep(&self) {
        let mut state = self.shared.lock();
        if let Some(now) = state.castings.get(&Side::Now).map(Arc::clone) {
            state.castings.insert(Side::Kept, now);
        }
    }

    /// Lets go of the casting that was kept.
    pub fn let_go(&self) {
        self.shared.lock().castings.remove(&Side::Kept);
    }

    /// What there is to listen to; none if no casting was kept.
    pub fn program(&self, side: Side) -> Option<Program> {
        let casting = self.casting(side)?;
        let count = casting.grid.count();
        let settled = |s: &casting::Seat| match (s.whole(), s.made()) {
            (Some(_), _) => count,
            (None, Some(made)) => made.states.iter().filter(|s| !open(s.load(Ordering::Relaxed))).count(),
            (None, None) => 0,
        };
        let mut remarks = casting.remarks.clone();
        remarks.extend(self.shared.lock().troubles.values().cloned());
        Some(Program {
            grid: casting.grid,
            chairs: casting.seats.iter().map(|s| (s.id.clone(), s.family)).collect(),
            remarks,
            gain_db: self.gain_db,
            ready: (casting.seats.iter().map(|s| settled(s)).sum(), count * casting.seats.len()),
        })
    }

    /// The frame of a bar's first beat, or of so many bars before it; the nearest that there is.
    pub fn frame_of_bar(&self, side: Side, bar: i32, bars_before: u32) -> Option<i64> {
        let casting = self.casting(side)?;
        let timeline = &casting.performed.performance.timeline;
        let (first, last) = (timeline.bars.first()?.number, timeline.bars.last()?.number);
        let wanted = bar.saturating_sub(i32::try_from(bars_before).unwrap_or(i32::MAX));
        // With enough bars before, from the lead-in on.
        let bar = timeline.bar_numbered(wanted.clamp(first, last))?;
        Some(casting.grid.frame(timeline.seconds(bar.at)).max(0))
    }

    /// Numbers and first frames of all bars.
    pub fn bars(&self, side: Side) -> Vec<(i32, i64)> {
        let Some(casting) = self.casting(side) else { return Vec::new() };
        let timeline = &casting.performed.performance.timeline;
        timeline.bars.iter().map(|b| (b.number, casting.grid.frame(timeline.seconds(b.at)))).collect()
    }

    /// A block of sound, at the level of the cue, limited. What is missing is rendered next.
    ///
    /// Errors: there is no such casting.
    pub fn block(&self, ask: &Ask) -> Result<Block, CueError> {
        let casting = self.casting(ask.side).ok_or_else(no_casting)?;
        let rate = casting.grid.rate;
        let longest = (LONGEST * f64::from(rate)) as usize;
        // So far from all sound, times can no more be added.
        let from = ask.from.clamp(-(1 << 40), 1 << 40);
        let to = from + ask.frames.min(longest) as i64;
        let heard = choice::heard(&casting, &ask.choice);
        self.look_at(&casting, ask, &heard, (from, to));
        let db = self.gain_db + if ask.gain_db.is_finite() { ask.gain_db.clamp(-60.0, 12.0) } else { 0.0 };
        let known = from - limited::before(rate) as i64;
        let known_to = to + limited::ahead(rate) as i64;
        let (mut sound, mut missing) = ([Vec::new(), Vec::new()], BTreeSet::new());
        self.mix(&casting, &heard, (known, known_to), (from, to), &mut sound, &mut missing);
        let gain = Decibels(db).amplitude() as f32;
        sound.iter_mut().flatten().for_each(|x| *x *= gain);
        let mark = (ask.side, db.to_bits());
        let past = {
            let pasts = self.pasts.lock().unwrap_or_else(PoisonError::into_inner);
            let fits =
                |p: &&(Side, Choice, u64, Past)| (p.0, p.2) == mark && p.3.end == from && p.1 == ask.choice;
            pasts.iter().find(fits).map(|p| p.3.clone())
        };
        let ([left, right], limited_db, next) =
            limited::limit(&sound, known, (from, to), rate, self.ceiling_db, past.as_ref());
        let mut pasts = self.pasts.lock().unwrap_or_else(PoisonError::into_inner);
        pasts.push_front((mark.0, ask.choice.clone(), mark.1, next));
        pasts.truncate(PASTS);
        let order = casting.seats.iter().map(|s| &s.id);
        let missing = order.filter(|id| missing.contains(*id)).cloned().collect();
        Ok(Block { left, right, missing, limited_db })
    }

    /// Integrated loudness of a choice between two frames, LUFS, at the level at which it is heard; none if nothing sounds, or
    /// if chairs are missing after `patience`.
    ///
    /// Errors: there is no such casting.
    pub fn loudness(
        &self,
        side: Side,
        choice: &Choice,
        (from, to): (i64, i64),
        patience: Duration,
    ) -> Result<Option<f64>, CueError> {
        let casting = self.casting(side).ok_or_else(no_casting)?;
        let heard = choice::heard(&casting, choice);
        let to = to.min(casting.grid.frames as i64);
        let ask = Ask { side, choice: choice.clone(), patience, ..Ask::default() };
        self.look_at(&casting, &ask, &heard, (from, to));
        let Ok(mut survey) = Survey::new(casting.grid.rate) else { return Ok(None) };
        let gain = Decibels(self.gain_db).amplitude() as f32;
        let mut at = from.max(0);
        while at < to {
            let next = (at + casting.grid.stretch as i64).min(to);
            let (mut sound, mut missing) = ([Vec::new(), Vec::new()], BTreeSet::new());
            self.mix(&casting, &heard, (at, next), (at, next), &mut sound, &mut missing);
            if !missing.is_empty() {
                return Ok(None);
            }
            sound.iter_mut().flatten().for_each(|x| *x *= gain);
            survey.add(&sound[0], &sound[1]);
            at = next;
        }
        Ok(survey.finish().ok().map(|s| s.loudness.integrated).filter(|l| l.is_finite()))
    }

    /// How many stretches were rendered since it was opened.
    pub fn rendered(&self) -> u64 {
        self.shared.rendered()
    }

    /// Waits until all is rendered; false if it is not after so long.
    pub fn finish(&self, patience: Duration) -> bool {
        let done = |state: &work::State| {
            state.castings.values().flat_map(|c| &c.seats).all(|seat| match (seat.whole(), seat.made()) {
                (Some(_), _) => true,
                (None, Some(made)) => made.states.iter().all(|s| !open(s.load(Ordering::Relaxed))),
                (None, None) => false,
            })
        };
        self.shared.wait(patience, done);
        done(&self.shared.lock())
    }

    fn casting(&self, side: Side) -> Option<Arc<Casting>> {
        self.shared.lock().castings.get(&side).map(Arc::clone)
    }

    /// Tells the workers where the listener is, and waits for what is missing.
    fn look_at(&self, casting: &Casting, ask: &Ask, heard: &[Heard], (from, to): (i64, i64)) {
        let grid = &casting.grid;
        let (first, last) = (grid.stretch_of(from), grid.stretch_of((to - 1).max(from)));
        let needed = || {
            let seats = casting.seats.iter().zip(heard);
            seats.filter(|(s, h)| s.whole().is_none() && !h.silent(from, to)).map(|(s, _)| s)
        };
        let all_there = || needed().all(|s| s.made().is_some_and(|m| (first..=last).all(|k| settled(m, k))));
        let claimed = || {
            needed().all(|s| {
                let wanted = |m: &casting::Made, k: usize| {
                    m.states.get(k).is_some_and(|s| s.load(Ordering::Relaxed) == state::WANTED)
                };
                s.made().is_some_and(|m| (first..=last).all(|k| !wanted(m, k)))
            })
        };
        let unheard = casting.seats.iter().zip(heard);
        let unheard = unheard.filter(|(_, h)| h.silent(from, i64::MAX / 8)).map(|(s, _)| s.id.clone());
        let focus = Focus { side: ask.side, stretch: first, unheard: unheard.collect() };
        self.shared.lock().focus = focus;
        if all_there() {
            return;
        }
        if !claimed() {
            self.shared.hurry();
        }
        self.shared.wait(ask.patience, |_| all_there());
    }

    /// Adds up the chairs that are heard between two frames. Chairs that are not there are named if they should sound in the
    /// frames of `asked`.
    fn mix(
        &self,
        casting: &Casting,
        heard: &[Heard],
        (from, to): (i64, i64),
        asked: (i64, i64),
        sound: &mut [Vec<f32>; 2],
        missing: &mut BTreeSet<String>,
    ) {
        let length = (to - from).max(0) as usize;
        sound.iter_mut().for_each(|s| {
            s.clear();
            s.resize(length, 0.0);
        });
        // Nothing sounds before the first frame, nor after the last.
        let (start, end) = (from.max(0), to.min(casting.grid.frames as i64));
        let [left, right] = sound;
        for (seat, heard) in casting.seats.iter().zip(heard) {
            if start >= end || heard.silent(start, end) {
                continue;
            }
            let each = match heard.even(start, end) {
                Some(gain) => (gain, Vec::new()),
                None => (0.0, heard.each(start, end)),
            };
            let gains = if each.1.is_empty() { Gains::Even(each.0) } else { Gains::Each(&each.1) };
            let range = (start - from) as usize..(end - from) as usize;
            if let Some(whole) = seat.whole() {
                if whole.add(start as u64, &gains, [&mut left[range.clone()], &mut right[range.clone()]]) {
                    continue;
                }
                seat.lose_whole();
                self.shared.hurry();
            }
            let size = casting.grid.stretch as i64;
            let mut at = start;
            while at < end {
                let k = casting.grid.stretch_of(at);
                let next = ((k as i64 + 1) * size).min(end);
                let place = (at - from) as usize..(next - from) as usize;
                let sums = [&mut left[place.clone()], &mut right[place]];
                let there = self.add(
                    seat,
                    k,
                    (at - k as i64 * size) as usize,
                    &gains.from((at - start) as usize),
                    sums,
                    at,
                );
                if !there && at < asked.1 && next > asked.0 {
                    missing.insert(seat.id.clone());
                }
                at = next;
            }
        }
    }

    /// Adds frames of one stretch of a chair; false if it is not there.
    fn add(
        &self,
        seat: &casting::Seat,
        stretch: usize,
        from: usize,
        gains: &Gains<'_>,
        sums: [&mut [f32]; 2],
        frame: i64,
    ) -> bool {
        let Some(made) = seat.made() else { return false };
        let (Some(key), Some(now)) = (made.keys.get(stretch), made.states.get(stretch)) else { return true };
        let there = match (now.load(Ordering::Relaxed), key) {
            (state::SILENT, _) => return true,
            (state::READY, Some(key)) => self.shared.store.add(*key, from, gains, sums),
            (state::LENT, _) => seat.lent().is_some_and(|whole| whole.add(frame as u64, gains, sums)),
            _ => return false,
        };
        if !there {
            // Somebody has tidied up: it is rendered again.
            now.store(state::WANTED, Ordering::Relaxed);
            self.shared.hurry();
        }
        there
    }
}

impl Drop for Listener {
    fn drop(&mut self) {
        self.shared.end();
        for worker in self.workers.drain(..) {
            // A worker that has panicked has nothing to say any more.
            let _ = worker.join();
        }
        let castings = std::mem::take(&mut self.shared.lock().castings);
        let seats = castings.values().flat_map(|c| &c.seats);
        let used = seats.filter_map(|s| s.made()).flat_map(|m| m.keys.iter().flatten()).map(|k| k.number());
        self.shared.store.tidy(self.most_bytes, &used.collect());
    }
}

/// Whether a stretch is still to come.
fn open(now: u8) -> bool {
    now == state::WANTED || now == state::CLAIMED
}

fn settled(made: &casting::Made, stretch: usize) -> bool {
    made.states.get(stretch).is_none_or(|s| !open(s.load(Ordering::Relaxed)))
}

fn no_casting() -> CueError {
    CueError::Place {
        path: std::path::PathBuf::from("cue.toml"),
        message: "no casting was kept to compare with; keep one first".into(),
    }
}
