//! One foot and what it has to do: jobs that each need a stretch of time between two moments, one after the other.
//!
//! A schedule of such jobs, if there is one, can always be moved to the left: each job then begins at its release or where the
//! one before it ends. So an order is all that has to be kept, and a new job is tried at every place of it.

use std::rc::Rc;

/// Times closer than this are one, seconds: less than any player's.
pub const EPSILON: f64 = 1e-9;

/// One job of a foot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Job {
    /// Which pedal or drum.
    pub tag: u8,
    /// Not before this, seconds.
    pub release: f64,
    /// Done by then, seconds.
    pub due: f64,
    /// How long it takes, seconds.
    pub takes: f64,
}

/// The jobs of one foot in their order. Copies share the list.
#[derive(Clone, Debug, PartialEq)]
pub struct Lane {
    /// Busy until then with what is long past.
    floor: f64,
    /// `None` for no job.
    jobs: Option<Rc<[Job]>>,
}

impl Default for Lane {
    fn default() -> Self {
        Self { floor: f64::NEG_INFINITY, jobs: None }
    }
}

impl Lane {
    fn jobs(&self) -> &[Job] {
        self.jobs.as_deref().unwrap_or_default()
    }

    fn of(floor: f64, jobs: impl ExactSizeIterator<Item = Job>) -> Self {
        Self { floor, jobs: (jobs.len() > 0).then(|| jobs.collect()) }
    }

    /// The places at which one more job can be taken on so that all are done in time, each as how many jobs follow the new one.
    /// It must be due no earlier than those that are there already.
    ///
    /// A place before a job that takes as long and may begin as early is left out: the two could change places, since that
    /// job is due no later; nothing else would move.
    pub fn places(&self, job: &Job, out: &mut Vec<usize>) {
        out.clear();
        let jobs = self.jobs();
        // When the foot is free for each place, from the last: the time that the jobs before it leave, and the latest that those
        // after it allow.
        let mut room = [0.0; ROOM];
        let (free, far) = room.split_at_mut(jobs.len().min(ROOM));
        if far.is_empty() {
            return; // more than any foot does in the time that a lane remembers
        }
        let mut time = self.floor;
        for (place, one) in free.iter_mut().zip(jobs) {
            *place = time;
            time = time.max(one.release) + one.takes;
        }
        let mut latest = f64::INFINITY;
        for after in 0..=jobs.len() {
            if after > 0 {
                let one = &jobs[jobs.len() - after];
                if one.takes == job.takes && one.release <= job.release {
                    return;
                }
                latest = latest.min(one.due + EPSILON) - one.takes;
                time = free[jobs.len() - after];
            }
            let end = time.max(job.release) + job.takes;
            if end <= job.due + EPSILON && end <= latest {
                out.push(after);
            }
        }
    }

    /// With one more job at a place of [`Lane::places`].
    pub fn with(&self, job: Job, after: usize) -> Self {
        let (before, behind) = self.jobs().split_at(self.jobs().len().saturating_sub(after));
        let all: Rc<[Job]> = before.iter().chain([&job]).chain(behind).copied().collect();
        Self { floor: self.floor, jobs: Some(all) }
    }

    /// Forgets what ended before a time; nothing new may be asked for before it.
    pub fn forget(&mut self, before: f64) {
        let (mut gone, mut floor) = (0, self.floor);
        for job in self.jobs() {
            let end = floor.max(job.release) + job.takes;
            if end > before {
                break;
            }
            floor = end;
            gone += 1;
        }
        if gone > 0 {
            *self = Self::of(floor, self.jobs()[gone..].iter().copied());
        }
        // What is still to be done keeps its place: it must not be pushed on by what is forgotten.
        let first = self.jobs().first().map_or(before, |job| before.min(job.release));
        self.floor = self.floor.max(first);
    }

    /// Whatever can be added to `other` can be added to this.
    pub fn leaves_as_much(&self, other: &Self) -> bool {
        self.floor <= other.floor + EPSILON && (self.jobs.is_none() || self.jobs == other.jobs)
    }
}

/// More jobs than a foot has open at once: the memory of a search, at the quickest that a pedal moves, with room.
const ROOM: usize = 64;

/// Jobs in an order that was kept with how many follow each: `(job, after)` in the order in which they were taken on.
pub fn in_order(taken: &[(Job, usize)]) -> Vec<Job> {
    let mut jobs: Vec<Job> = Vec::new();
    for (job, after) in taken {
        jobs.insert(jobs.len().saturating_sub(*after), *job);
    }
    jobs
}

/// A job with its place in time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Timed {
    /// The job.
    pub job: Job,
    /// Earliest beginning that the jobs before it allow.
    pub earliest: f64,
    /// Latest beginning that the jobs after it allow: where it is put.
    pub latest: f64,
    /// Until where it may stretch: its due time, or the next job's beginning.
    pub until: f64,
}

/// Every job as late as it can be.
pub fn as_late_as_possible(jobs: &[Job]) -> Vec<Timed> {
    let mut timed: Vec<Timed> = Vec::with_capacity(jobs.len());
    let mut free = f64::NEG_INFINITY;
    for job in jobs {
        let earliest = free.max(job.release);
        free = earliest + job.takes;
        timed.push(Timed { job: *job, earliest, latest: earliest, until: job.due });
    }
    let mut next = f64::INFINITY;
    for one in timed.iter_mut().rev() {
        one.until = one.job.due.min(next);
        one.latest = (one.until - one.job.takes).max(one.earliest);
        next = one.latest;
    }
    timed
}

#[cfg(test)]
mod tests {
    use super::*;

    fn places(lane: &Lane, job: Job) -> Vec<usize> {
        let mut found = Vec::new();
        lane.places(&job, &mut found);
        found
    }

    fn job(tag: u8, release: f64, due: f64) -> Job {
        Job { tag, release, due, takes: 0.5 }
    }

    #[test]
    fn what_is_needed_later_may_be_done_earlier() {
        let lane = Lane::default().with(job(0, 1.0, 1.6), 0);
        // Needed after the first, but there is no time after it: it goes before.
        assert_eq!(places(&lane, job(1, 0.0, 1.7)), [1]);
        assert!(places(&lane, job(1, 0.8, 1.7)).is_empty());
    }

    /// Against every place tried one by one.
    #[test]
    fn the_places_are_those_at_which_all_is_in_time() {
        let mut seed = 5u64;
        let mut below = |n: u64| {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (seed >> 33) % n
        };
        let (mut found, mut left_out) = (0, 0);
        for _ in 0..5000 {
            let mut lane = Lane::default();
            for due in 1..8u8 {
                let due = f64::from(due);
                let release = due - 0.5 * (1 + below(6)) as f64;
                let takes = if below(2) == 0 { 0.5 } else { 0.7 };
                let new = Job { tag: due as u8, release, due, takes };
                let old = lane.jobs().to_vec();
                let good = places(&lane, new);
                for after in 0..=old.len() {
                    let all = lane.with(new, after);
                    let mut free = f64::NEG_INFINITY;
                    let in_time = all.jobs().iter().all(|j| {
                        free = free.max(j.release) + j.takes;
                        free <= j.due + EPSILON
                    });
                    let may_change =
                        old[old.len() - after..].iter().any(|j| j.takes == takes && j.release <= release);
                    assert_eq!(good.contains(&after), in_time && !may_change);
                    (found, left_out) = (found + usize::from(in_time), left_out + usize::from(may_change));
                }
                if !good.is_empty() {
                    lane = lane.with(new, good[below(good.len() as u64) as usize]);
                }
            }
        }
        assert!(found > 1000 && left_out > 1000);
    }

    #[test]
    fn all_is_put_as_late_as_can_be() {
        let timed = as_late_as_possible(&[job(0, 0.0, 3.0), job(1, 1.0, 3.2), job(2, 1.0, 9.0)]);
        let latest: Vec<f64> = timed.iter().map(|t| t.latest).collect();
        assert!((latest[0] - 2.2).abs() < 1e-9 && (latest[1] - 2.7).abs() < 1e-9);
        assert!((latest[2] - 8.5).abs() < 1e-9);
    }

    #[test]
    fn forgetting_little_by_little_pushes_nothing_on() {
        let mut lane = Lane::default().with(job(0, f64::NEG_INFINITY, 2.0), 0);
        for tenth in 0..60 {
            lane.forget(f64::from(tenth) * 0.1);
            assert!(!places(&lane, job(1, 0.0, 9.0)).is_empty());
        }
        assert!(lane.jobs().is_empty());
    }

    #[test]
    fn what_is_past_is_forgotten_but_the_time_is_gone() {
        let mut lane = Lane::default().with(job(0, 0.0, 1.0), 0);
        lane.forget(0.5);
        assert_eq!(lane, Lane { floor: 0.5, jobs: None });
    }
}
