//! Writing out: the performed MIDI, the mix and the stems, the sheets, with a look at the progress.

use crate::error::PageError;
use ripieno_cue::{
    Cue, DeliverOptions, PerformOptions, RenderOptions, Sounded, Watch, write_midi, write_result,
};
use serde::Serialize;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// How the writing stands. One at a time.
#[derive(Debug, Default)]
pub struct Out {
    standing: Mutex<Standing>,
    stop: AtomicBool,
}

/// What is shown of it.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Standing {
    /// Work goes on.
    pub busy: bool,
    /// What is being done, or how it ended, in words.
    pub says: String,
    /// Seconds of sound that are done, and that there are.
    pub done: f64,
    /// Seconds of sound that there are.
    pub total: f64,
    /// The files, relative to the cue's folder.
    pub files: Vec<String>,
    /// Loudness and levels, remarks.
    pub facts: Vec<String>,
    /// It went wrong.
    pub failed: bool,
}

impl Out {
    /// How it stands.
    pub fn standing(&self) -> Standing {
        self.lock().clone()
    }

    fn lock(&self) -> MutexGuard<'_, Standing> {
        self.standing.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Stops the work; what was there before is as it was.
    pub fn stop(&self) {
        self.stop.store(true, Ordering::Relaxed);
    }

    /// Takes the turn, or says that it is taken.
    pub fn begin(&self) -> Result<(), PageError> {
        let mut standing = self.lock();
        if standing.busy {
            return Err(PageError::Asked(
                "something is being written out already; wait for it, or stop it".into(),
            ));
        }
        *standing = Standing { busy: true, says: "performing …".into(), ..Standing::default() };
        self.stop.store(false, Ordering::Relaxed);
        Ok(())
    }

    /// Writes the performed MIDI, and the sound if `sound` says how.
    pub fn write(&self, cue: &Cue, sound: Option<RenderOptions>) {
        self.turn("written", || self.work(cue, sound));
    }

    /// Fills the delivered folder.
    pub fn deliver(&self, cue: &Cue, options: &DeliverOptions) {
        self.turn("delivered", || self.fill(cue, options));
    }

    fn fill(&self, cue: &Cue, options: &DeliverOptions) -> Result<(), PageError> {
        let performed = ripieno_cue::perform(cue, PerformOptions::default());
        let checked = ripieno_cue::check(cue, &performed);
        let documents = |sounded: &Sounded| ripieno_report::documents(cue, &performed, &checked, sounded);
        let made = ripieno_cue::deliver(cue, &performed, &checked, options, &documents, self)?;
        let mut standing = self.lock();
        let folder = shown(&cue.folder, &made.folder);
        standing.files = made.files.iter().map(|f| format!("{folder}/{}", f.file)).collect();
        standing.facts.push(format!("in the folder {folder}: manifest.txt lists it all"));
        standing.facts.extend(made.summary.into_iter().chain([made.work]).chain(made.remarks));
        Ok(())
    }

    /// Writes the report as a page, the score and the parts.
    pub fn sheets(&self, cue: &Cue) {
        self.turn("written", || self.print(cue));
    }

    fn print(&self, cue: &Cue) -> Result<(), PageError> {
        let performed = ripieno_cue::perform(cue, PerformOptions::default());
        self.step("reading through");
        let checked = ripieno_cue::check(cue, &performed);
        let html = ripieno_report::report(cue, &performed, &checked, None)?;
        write_result(cue, &cue.folder.join("report.html"), html.as_bytes())?;
        self.step("score and parts");
        let (parts, remarks) = ripieno_cue::write_notation(cue, &performed, &cue.folder, None)?;
        let mut standing = self.lock();
        standing.files.extend(["report.html".into(), "score.musicxml".into()]);
        standing.facts.push(format!("the score, and {parts} parts in the folder parts"));
        standing.facts.extend(remarks);
        Ok(())
    }

    /// Does the work of a turn that has begun, and ends the turn however the work ends.
    fn turn(&self, well: &str, work: impl FnOnce() -> Result<(), PageError>) {
        let fallen = Fallen(self);
        let ended = work();
        std::mem::forget(fallen);
        self.end(ended, well);
    }

    fn end(&self, ended: Result<(), PageError>, well: &str) {
        let mut standing = self.lock();
        standing.busy = false;
        match ended {
            Ok(()) => standing.says = well.into(),
            Err(error) => {
                standing.failed = true;
                standing.says = error.to_string();
            }
        }
    }

    fn work(&self, cue: &Cue, sound: Option<RenderOptions>) -> Result<(), PageError> {
        let performed = ripieno_cue::perform(cue, PerformOptions::default());
        let midi = cue.folder.join("performed.mid");
        write_result(cue, &midi, &write_midi(&performed.patches.file))?;
        ripieno_cue::note_performed(cue, &performed)?;
        self.lock().files.push(shown(&cue.folder, &midi));
        let mut rendered = None;
        if let Some(options) = sound {
            let made = ripieno_cue::render(cue, &performed, &options, self)?;
            let mut standing = self.lock();
            standing.files.extend(made.files.iter().map(|f| shown(&cue.folder, f)));
            standing.facts.extend(made.summary.iter().chain(&made.remarks).cloned());
            drop(standing);
            rendered = Some(made.sounded());
        }
        let checked = ripieno_cue::check(cue, &performed);
        let report = ripieno_cue::report(cue, &performed, Some(&checked), rendered.as_ref());
        let path = cue.folder.join("report.txt");
        write_result(cue, &path, report.as_bytes())?;
        self.lock().files.push(shown(&cue.folder, &path));
        Ok(())
    }
}

/// Dropped only where the work panics: nobody could write anything out again.
struct Fallen<'a>(&'a Out);

impl Drop for Fallen<'_> {
    fn drop(&mut self) {
        let fault =
            "a fault in the program ended this; what it said of it is on the terminal. Please report it";
        self.0.end(Err(PageError::Asked(fault.into())), "");
    }
}

fn shown(folder: &Path, file: &Path) -> String {
    file.strip_prefix(folder).unwrap_or(file).display().to_string()
}

impl Watch for Out {
    fn step(&self, name: &str) {
        let mut standing = self.lock();
        (standing.done, standing.total) = (0.0, 0.0);
        standing.says = format!("{name} …");
    }

    fn begin(&self, chairs: usize, seconds: f64, reused: usize) {
        let mut standing = self.lock();
        (standing.done, standing.total) = (0.0, seconds);
        // Of later steps their name says enough.
        if !(standing.says.starts_with("rendering") || standing.says.starts_with("performing")) {
            return;
        }
        standing.says = match reused {
            0 => format!("rendering {chairs} chairs …"),
            _ => format!("rendering {chairs} chairs, {reused} as they were …"),
        };
    }

    fn advance(&self, seconds: f64) {
        self.lock().done += seconds;
    }

    fn stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_gives_the_turn_back() {
        let out = Out::default();
        out.begin().unwrap();
        std::thread::scope(|scope| {
            let fails = || out.turn("written", || panic!("on purpose"));
            assert!(scope.spawn(fails).join().is_err());
        });
        let standing = out.standing();
        assert!(!standing.busy && standing.failed && standing.says.contains("a fault"), "{standing:?}");
        out.begin().unwrap();
        out.turn("written", || Ok(()));
        assert_eq!((out.standing().failed, out.standing().says.as_str()), (false, "written"));
    }
}
