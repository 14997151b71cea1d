//! What is said on the terminal.

use std::io::{IsTerminal, Write};

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
    bar: Option<indicatif::ProgressBar>,
    what: String,
}

impl Progress {
    /// For so many steps.
    pub fn new(what: &str, steps: usize) -> Self {
        if std::io::stderr().is_terminal() {
            let bar = indicatif::ProgressBar::new(steps as u64);
            if let Ok(style) = indicatif::ProgressStyle::with_template("{msg} {bar:30} {pos}/{len}") {
                bar.set_style(style);
            }
            bar.set_message(what.to_string());
            Self { bar: Some(bar), what: what.to_string() }
        } else {
            say(&format!("{what}: {steps} chairs"));
            Self { bar: None, what: what.to_string() }
        }
    }

    /// One step is done.
    pub fn step(&self) {
        if let Some(bar) = &self.bar {
            bar.inc(1);
        }
    }

    /// All is done.
    pub fn finish(&self) {
        match &self.bar {
            Some(bar) => bar.finish_and_clear(),
            None => say(&format!("{}: done", self.what)),
        }
    }
}
