//! What is said on the terminal.

use ripieno_cue::{HallReport, Measures, counted};
use std::fmt::Write as _;
use std::io::{IsTerminal, Write};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};
use std::time::Instant;

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

/// The same, each line broken to the width of the terminal; whole where it goes elsewhere, so that scripts have one line each.
pub fn print_wrapped(text: &str) {
    match console::Term::stdout().size_checked() {
        Some((_, columns)) if std::io::stdout().is_terminal() => print(&wrapped(text, usize::from(columns))),
        _ => print(text),
    }
}

/// A narrower terminal than this breaks lines by itself.
const NARROWEST: usize = 40;
/// What a line says first stands before so many columns, where two spaces or more part it from the rest.
const LABEL: usize = 20;

/// Lines broken between words; what goes on stands under what the line says after its label.
fn wrapped(text: &str, columns: usize) -> String {
    if columns < NARROWEST {
        return text.to_owned();
    }
    let mut out = String::with_capacity(text.len() + text.len() / 8);
    for line in text.split_inclusive('\n') {
        if line.trim_end().chars().count() <= columns {
            out.push_str(line);
            continue;
        }
        let indent = " ".repeat(hang(line));
        let how = textwrap::Options::new(columns)
            .subsequent_indent(&indent)
            .word_separator(textwrap::WordSeparator::AsciiSpace)
            .word_splitter(textwrap::WordSplitter::NoHyphenation)
            .break_words(false);
        out.push_str(&textwrap::fill(line.trim_end(), how));
        out.push('\n');
    }
    out
}

/// The column under which a line goes on.
fn hang(line: &str) -> usize {
    let start = line.chars().take_while(|c| *c == ' ').count();
    let rest: Vec<char> = line.chars().skip(start).take(LABEL).collect();
    if matches!(rest[..], ['>' | '=', ' ', ..]) {
        return start + 2;
    }
    let Some(gap) = rest.windows(2).position(|two| two == [' ', ' ']) else {
        return if start > 0 { start + 2 } else { 0 };
    };
    let spaces = rest[gap..].iter().take_while(|c| **c == ' ').count();
    start + gap + spaces
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
    /// The steps of the work, each with its seconds, and since when the last one goes on.
    steps: Mutex<(Vec<(String, f64)>, Instant)>,
}

impl Progress {
    /// An interrupt of the terminal stops the work from now on.
    pub fn new(what: &'static str) -> Self {
        // One for all the work of a command: a second handler would not be taken.
        static STOPPED: OnceLock<Arc<AtomicBool>> = OnceLock::new();
        let stopped = Arc::clone(STOPPED.get_or_init(|| {
            let stopped = Arc::new(AtomicBool::new(false));
            let flag = Arc::clone(&stopped);
            // Where the machine has no interrupts, the work is merely not stopped.
            let _ = ctrlc::set_handler(move || flag.store(true, Ordering::Relaxed));
            stopped
        }));
        let bar = std::io::stderr().is_terminal().then(|| {
            let bar = indicatif::ProgressBar::new(0);
            let style = indicatif::ProgressStyle::with_template("{msg} {bar:30} {percent:>3} %  {eta} to go");
            bar.set_style(style.unwrap_or_else(|_| indicatif::ProgressStyle::default_bar()));
            bar
        });
        let steps = Mutex::new((Vec::new(), Instant::now()));
        Self { what, bar, done: AtomicU64::new(0), total: AtomicU64::new(0), stopped, steps }
    }

    /// How long each step took up to now, in the order in which they first came.
    pub fn times(&self) -> Vec<(String, f64)> {
        let (steps, since) = &*self.steps.lock().unwrap_or_else(PoisonError::into_inner);
        let mut out: Vec<(String, f64)> = Vec::new();
        let now = since.elapsed().as_secs_f64();
        for (i, (name, seconds)) in steps.iter().enumerate() {
            let seconds = if i + 1 == steps.len() { seconds + now } else { *seconds };
            match out.iter_mut().find(|(other, _)| other == name) {
                Some((_, sum)) => *sum += seconds,
                None => out.push((name.clone(), seconds)),
            }
        }
        out
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
    fn step(&self, name: &str) {
        let (steps, since) = &mut *self.steps.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(last) = steps.last_mut() {
            last.1 += since.elapsed().as_secs_f64();
        }
        steps.push((name.to_string(), 0.0));
        *since = Instant::now();
        if let Some(bar) = &self.bar {
            bar.set_message(format!("{}: {name}", self.what));
        }
    }

    fn begin(&self, chairs: usize, seconds: f64, reused: usize) {
        let total = (1000.0 * seconds) as u64;
        self.total.store(total, Ordering::Relaxed);
        self.done.store(0, Ordering::Relaxed);
        let step = self.steps.lock().unwrap_or_else(PoisonError::into_inner).0.last().map(|s| s.0.clone());
        let line = match (&step, reused) {
            (Some(step), 0) if step != "rendering" => {
                format!("{}: {step}, {}", self.what, counted(chairs, "file"))
            }
            (_, 0) => format!("{}: {}", self.what, counted(chairs, "chair")),
            _ => format!("{}: {}, {reused} as they were", self.what, counted(chairs, "chair")),
        };
        match &self.bar {
            Some(bar) => {
                bar.set_position(0);
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

fn seconds(time: Option<f64>) -> String {
    time.map_or_else(|| "-".into(), |t| format!("{t:.2}"))
}

fn middle(hall: &HallReport, of: impl Fn(&Measures) -> f64) -> f64 {
    let both: Vec<f64> =
        hall.measures.iter().filter(|m| m.hertz == 500.0 || m.hertz == 1000.0).map(of).collect();
    both.iter().sum::<f64>() / both.len().max(1) as f64
}

/// Halls, a line each; figures of the octaves at 500 and 1000 Hz.
pub fn hall_list(halls: &[HallReport]) -> String {
    let mut text = format!(
        "{:<16} {:<24} {:>8}  {:>5} {:>5} {:>5} {:>5} {:>5}\n",
        "hall", "", "m3", "T30 s", "EDT s", "C80", "D50", "Ts ms"
    );
    for hall in halls {
        let _ = writeln!(
            text,
            "{:<16} {:<24} {:>8}  {:>5.2} {:>5.2} {:>5.1} {:>5.2} {:>5.0}",
            hall.id,
            hall.name,
            hall.volume.map_or_else(|| "-".into(), |v| format!("{v:.0}")),
            middle(hall, |m| m.t30.map_or(0.0, |t| t.0)),
            middle(hall, |m| m.edt.map_or(0.0, |t| t.0)),
            middle(hall, |m| m.c80.0),
            middle(hall, |m| m.d50),
            middle(hall, |m| 1000.0 * m.ts.0),
        );
    }
    text
}

/// One hall, a line for each octave.
pub fn hall_table(hall: &HallReport) -> String {
    let mut text = format!("{} ({})", hall.id, hall.name);
    if let Some(volume) = hall.volume {
        let _ = write!(text, ", {volume:.0} m3");
    }
    text += "; ISO 3382-1, from the middle of the stage to the main microphones\n";
    let _ = writeln!(
        text,
        "{:>7} {:>8} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6}",
        "Hz", "wanted s", "EDT s", "T20 s", "T30 s", "C80 dB", "D50", "Ts ms"
    );
    for (i, m) in hall.measures.iter().enumerate() {
        let _ = writeln!(
            text,
            "{:>7.0} {:>8} {:>6} {:>6} {:>6} {:>6.1} {:>6.2} {:>6.0}",
            m.hertz,
            seconds(hall.wanted.and_then(|w| w.get(i).copied())),
            seconds(m.edt.map(|t| t.0)),
            seconds(m.t20.map(|t| t.0)),
            seconds(m.t30.map(|t| t.0)),
            m.c80.0,
            m.d50,
            1000.0 * m.ts.0
        );
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_goes_on_stands_under_what_was_said() {
        let line =
            "  advice     range            oboe, bar 3: one note (C7) lies above the range of the Oboe.\n";
        let narrow = wrapped(line, 50);
        assert_eq!(
            narrow,
            "  advice     range            oboe, bar 3: one\n             note (C7) lies above the range of the\n             Oboe.\n"
        );
        assert_eq!(wrapped(line, 100), line);
        assert_eq!(
            wrapped("             > Give this note to an instrument that has it, or leave it out\n", 48),
            "             > Give this note to an instrument\n               that has it, or leave it out\n"
        );
    }

    #[test]
    fn nothing_is_lost_and_no_line_too_wide() {
        let text = "A title\n\n  held chord      violins-1 (1 of 2), violins-2 (2 of 2), a-very-long-name-of-a-chair-without-end\nx";
        for columns in 40..120 {
            let out = wrapped(text, columns);
            let words = |t: &str| t.split_whitespace().map(str::to_owned).collect::<Vec<_>>();
            assert_eq!(words(&out), words(text));
            assert!(out.lines().all(|l| l.chars().count() <= columns.max(58)), "{out}");
        }
        assert_eq!(wrapped(text, 10), text, "too narrow to be of use");
    }
}
