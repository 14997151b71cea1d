//! Who waits for whom: what is changed, what is made ready to be heard and what is read through each have threads of their own. In
//! one pool a changed cell would wait behind all that nobody wants to see yet.

use crate::check::check_unless;
use crate::workbench::{Played, performed};
use crate::{Checked, Cue, Performed};
use rayon::{ThreadPool, ThreadPoolBuilder};
use std::sync::OnceLock;

/// How far below everything else such work stands, in steps of `nice` (POSIX). Each is about a fifth of a processor's time less beside
/// work that does not give way: on a machine that is busy with something else it must still come to its end.
const STEPS: i32 = 5;

/// For whom something is done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pool {
    /// Somebody has changed something and looks for it.
    Hands,
    /// It is made ready to be heard; gives way.
    Ears,
    /// It is read through; gives way, and one core stays free.
    Eyes,
}

/// Lets the calling thread give way to others. Where the system knows priorities of processes alone nothing is done.
pub(crate) fn give_way() {
    // On Linux a priority belongs to a thread, and the calling thread is meant where none is named (setpriority(2)).
    #[cfg(target_os = "linux")]
    let _ = rustix::process::setpriority_process(None, STEPS);
}

impl Pool {
    fn threads(self) -> Option<&'static ThreadPool> {
        static POOLS: [OnceLock<Option<ThreadPool>>; 3] = [const { OnceLock::new() }; 3];
        let make = || {
            let cores = std::thread::available_parallelism().map_or(2, std::num::NonZero::get);
            let builder = match self {
                Self::Hands => ThreadPoolBuilder::new().num_threads(cores),
                Self::Ears => ThreadPoolBuilder::new().num_threads(cores).start_handler(|_| give_way()),
                Self::Eyes => {
                    let some = cores.saturating_sub(1).max(1);
                    ThreadPoolBuilder::new().num_threads(some).start_handler(|_| give_way())
                }
            };
            builder.build().ok()
        };
        POOLS[self as usize].get_or_init(make).as_ref()
    }

    /// Does some work on these threads.
    pub fn work<T: Send>(self, work: impl FnOnce() -> T + Send) -> T {
        match self.threads() {
            Some(pool) => pool.install(work),
            None => work(),
        }
    }

    /// Does it when there is time; nobody waits for it.
    pub fn later(self, work: impl FnOnce() + Send + 'static) {
        match self.threads() {
            Some(pool) => pool.spawn(work),
            None => work(),
        }
    }
}

/// Writes for the patches, as [`performed`] does, on the threads of those who want it.
pub fn performed_in(pool: Pool, played: &Played) -> Performed {
    pool.work(|| performed(played))
}

/// Reads through, giving way to all else. `stop` is asked between the stages: once it says yes, the work is dropped and there is
/// no result.
pub fn read_aside(cue: &Cue, performed: &Performed, stop: &(dyn Fn() -> bool + Sync)) -> Option<Checked> {
    Pool::Eyes.work(|| if stop() { None } else { check_unless(cue, performed, stop) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check;
    use std::sync::Arc;
    use std::sync::atomic::{AtomicUsize, Ordering};

    #[test]
    fn the_same_is_read_and_a_stop_drops_it() {
        let folder = tempfile::tempdir().unwrap();
        crate::write_demo(folder.path()).unwrap();
        let played = Played::new(&Arc::new(Cue::open(folder.path()).unwrap()), None);
        let performed = performed_in(Pool::Eyes, &played);
        let checked = read_aside(&played.cue, &performed, &|| false).unwrap();
        let plain = check(&played.cue, &performed);
        assert_eq!(checked.findings, plain.findings);
        assert_eq!(checked.arc.bars.len(), plain.arc.bars.len());
        for late in 0..2 {
            let asked = AtomicUsize::new(0);
            assert!(
                read_aside(&played.cue, &performed, &|| asked.fetch_add(1, Ordering::Relaxed) == late)
                    .is_none()
            );
        }
    }
}
