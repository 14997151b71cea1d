//! Work that may wait: a read-through goes on beside somebody who writes the next cell, and must not stand in the way.

use crate::check::check_unless;
use crate::workbench::{Played, performed};
use crate::{Checked, Performed};
use rayon::{ThreadPool, ThreadPoolBuilder};
use std::sync::OnceLock;

/// How far below everything else such work stands, in steps of `nice` (POSIX). Each is about a fifth of a processor's time less beside
/// work that does not give way: on a machine that is busy with something else it must still come to its end.
const STEPS: i32 = 5;

/// Lets the calling thread give way to others. Where the system knows priorities of processes alone nothing is done.
pub(crate) fn give_way() {
    // On Linux a priority belongs to a thread, and the calling thread is meant where none is named (setpriority(2)).
    #[cfg(target_os = "linux")]
    let _ = rustix::process::setpriority_process(None, STEPS);
}

/// A pool of its own: what is cast and performed at once must not wait behind what is read. One core stays with the hands.
fn pool() -> Option<&'static ThreadPool> {
    static POOL: OnceLock<Option<ThreadPool>> = OnceLock::new();
    let make = || {
        let cores = std::thread::available_parallelism().map_or(2, std::num::NonZero::get);
        let builder = ThreadPoolBuilder::new().num_threads(cores.saturating_sub(1).max(1));
        builder.start_handler(|_| give_way()).build().ok()
    };
    POOL.get_or_init(make).as_ref()
}

/// Writes for the patches and reads through, giving way to all else. `stop` is asked between the stages: once it says yes, the
/// work is dropped and there is no result.
pub fn read_aside(played: &Played, stop: &(dyn Fn() -> bool + Sync)) -> Option<(Performed, Checked)> {
    let work = || {
        let performed = performed(played);
        if stop() {
            return None;
        }
        let checked = check_unless(&played.cue, &performed, stop)?;
        Some((performed, checked))
    };
    match pool() {
        Some(pool) => pool.install(work),
        None => work(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Cue, check};
    use std::sync::Arc;
    use std::sync::atomic::{AtomicUsize, Ordering};

    #[test]
    fn the_same_is_read_and_a_stop_drops_it() {
        let folder = tempfile::tempdir().unwrap();
        crate::write_demo(folder.path()).unwrap();
        let played = Played::new(&Arc::new(Cue::open(folder.path()).unwrap()), None);
        let (performed, checked) = read_aside(&played, &|| false).unwrap();
        let plain = check(&played.cue, &performed);
        assert_eq!(checked.findings, plain.findings);
        assert_eq!(checked.arc.bars.len(), plain.arc.bars.len());
        for late in 0..2 {
            let asked = AtomicUsize::new(0);
            assert!(read_aside(&played, &|| asked.fetch_add(1, Ordering::Relaxed) == late).is_none());
        }
    }
}
