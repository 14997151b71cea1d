//! One foot and what it has to do: jobs that each need a stretch of time between two moments, one after the other.
//!
//! A schedule of such jobs, if there is one, can always be moved to the left: each job then begins at its release or where the
//! one before it ends. So an order is all that has to be kept, and a new job is tried at every place of it.

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

/// The jobs of one foot in their order.
#[derive(Clone, Debug, PartialEq)]
pub struct Lane {
    /// Busy until then with what is long past.
    floor: f64,
    jobs: Vec<Job>,
}

impl Default for Lane {
    fn default() -> Self {
        Self { floor: f64::NEG_INFINITY, jobs: Vec::new() }
    }
}

impl Lane {
    /// The ways to take on one more job so that all of them are done in time: the schedule, and how many jobs follow the new one.
    pub fn with(&self, job: Job) -> Vec<(Self, usize)> {
        let mut ways = Vec::new();
        for after in 0..=self.jobs.len() {
            let place = self.jobs.len() - after;
            let mut jobs = Vec::with_capacity(self.jobs.len() + 1);
            jobs.extend_from_slice(&self.jobs[..place]);
            jobs.push(job);
            jobs.extend_from_slice(&self.jobs[place..]);
            if in_time(self.floor, &jobs) {
                ways.push((Self { floor: self.floor, jobs }, after));
            }
        }
        ways
    }

    /// Forgets what ended before a time; nothing new may be asked for before it.
    pub fn forget(&mut self, before: f64) {
        let mut gone = 0;
        for job in &self.jobs {
            let end = self.floor.max(job.release) + job.takes;
            if end > before {
                break;
            }
            self.floor = end;
            gone += 1;
        }
        self.jobs.drain(..gone);
        // What is still to be done keeps its place: it must not be pushed on by what is forgotten.
        let first = self.jobs.first().map_or(before, |job| before.min(job.release));
        self.floor = self.floor.max(first);
    }

    /// Whatever can be added to `other` can be added to this.
    pub fn leaves_as_much(&self, other: &Self) -> bool {
        self.floor <= other.floor + EPSILON && (self.jobs.is_empty() || self.jobs == other.jobs)
    }
}

fn in_time(floor: f64, jobs: &[Job]) -> bool {
    let mut free = floor;
    jobs.iter().all(|job| {
        free = free.max(job.release) + job.takes;
        free <= job.due + EPSILON
    })
}

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

    fn job(tag: u8, release: f64, due: f64) -> Job {
        Job { tag, release, due, takes: 0.5 }
    }

    #[test]
    fn what_is_needed_later_may_be_done_earlier() {
        let lane = Lane::default().with(job(0, 1.0, 1.6)).remove(0).0;
        // Needed after the first, but there is no time after it: it goes before.
        let ways = lane.with(job(1, 0.0, 1.7));
        assert_eq!(ways.len(), 1);
        assert_eq!(ways[0].1, 1);
        assert!(lane.with(job(1, 0.8, 1.7)).is_empty());
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
        let mut lane = Lane::default().with(job(0, f64::NEG_INFINITY, 2.0)).remove(0).0;
        for tenth in 0..60 {
            lane.forget(f64::from(tenth) * 0.1);
            assert!(!lane.with(job(1, 0.0, 9.0)).is_empty());
        }
        assert!(lane.jobs.is_empty());
    }

    #[test]
    fn what_is_past_is_forgotten_but_the_time_is_gone() {
        let mut lane = Lane::default().with(job(0, 0.0, 1.0)).remove(0).0;
        lane.forget(0.5);
        assert_eq!(lane, Lane { floor: 0.5, jobs: Vec::new() });
    }
}
