//! What is said on the terminal.

use std::io::{IsTerminal, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

/// A line of progress: on a terminal and in a log alike, on standard error, so that results stay alone on the other.
pub fn say(line: &str) {
    // A closed terminal is no reason to stop the work.
    let _ = writeln!(std::io::stderr(), "{line}");
}

/// A complaint.
pub fn complain(message: &str) {
    let _ = writeln!(std::io::stderr(), "ripieno: {message}");
}

/// A result on standard output. A reader that went away is no error.
pub fn print(text: &str) {
    let mut out = std::io::stdout().lock();
    let _ = out.write_all(text.as_bytes());
    let _ = out.flush();
}

/// A bar on a terminal, plain lines otherwise.
pub struct Progress {
    what: &'static str,
    /// On a terminal.
    bar: Option<indicatif::ProgressBar>,
    /// Milliseconds of sound that are done, and that there are in all.
    done: AtomicU64,
    total: AtomicU64,
    stopped: Arc<AtomicBool>,
}

impl Progress {
    /// An interrupt of the terminal stops the work from now on.
    pub fn new(what: &'static str) -> Self {
        let stopped = Arc::new(AtomicBool::new(false));
        let flag = Arc::clone(&stopped);
        // Where the machine has no interrupts, the work is merely not stopped.
        let _ = ctrlc::set_handler(move || flag.store(true, Ordering::Relaxed));
        let bar = std::io::stderr().is_terminal().then(|| {
            let bar = indicatif::ProgressBar::new(0);
            let style = indicatif::ProgressStyle::with_template("{msg} {bar:30} {percent:>3} %  {eta} to go");
            bar.set_style(style.unwrap_or_else(|_| indicatif::ProgressStyle::default_bar()));
            bar
        });
        Self { what, bar, done: AtomicU64::new(0), total: AtomicU64::new(0), stopped }
    }

    /// All is done, or was stopped.
    pub fn finish(&self, well: bool) {
        match &self.bar {
            Some(bar) => bar.finish_and_clear(),
            None if well => say(&format!("{}: done", self.what)),
            None => {}
        }
    }
}

impl ripieno_cue::Watch for Progress {
    fn begin(&self, chairs: usize, seconds: f64, reused: usize) {
        let total = (1000.0 * seconds) as u64;
        self.total.store(total, Ordering::Relaxed);
        let line = match reused {
            0 => format!("{}: {chairs} chairs", self.what),
            _ => format!("{}: {chairs} chairs, {reused} as they were", self.what),
        };
        match &self.bar {
            Some(bar) => {
                bar.set_length(total);
                bar.set_message(line);
            }
            None => say(&line),
        }
    }

    fn advance(&self, seconds: f64) {
        let more = (1000.0 * seconds) as u64;
        let before = self.done.fetch_add(more, Ordering::Relaxed);
        if let Some(bar) = &self.bar {
            bar.inc(more);
            return;
        }
        // A line for every tenth.
        let total = self.total.load(Ordering::Relaxed).max(1);
        let tenth = |done: u64| (10 * done / total).min(10);
        if tenth(before + more) > tenth(before) {
            say(&format!("{}: {} %", self.what, 10 * tenth(before + more)));
        }
    }

    fn stopped(&self) -> bool {
        self.stopped.load(Ordering::Relaxed)
    }
}
