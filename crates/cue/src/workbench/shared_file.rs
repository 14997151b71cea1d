//! A text file that somebody else may be writing at the same moment: an editor beside the page.
//!
//! Nothing is ever written over unseen. A new text is exchanged with the file in one step, and what comes out is looked at: if it
//! is not what the new text was made from, it goes back, and the change is made again to what is there. An editor that saves a
//! copy it has read before our change is recognised by the lines it has from then, and both changes are joined. An editor that
//! writes in place may have had the old file open when it was exchanged: files that were taken out are held open and looked at
//! again.

use super::join::join;
use crate::CueError;
use crate::folder::{self, parent, read_text};
use std::collections::VecDeque;
use std::io::ErrorKind::{AlreadyExists, NotFound};
use std::io::{Read, Seek, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// States of the file that are remembered: an editor's copy may be as old.
const REMEMBERED: usize = 500;

/// Exchanges that are tried while somebody else keeps writing.
const TRIES: usize = 50;

/// How often a file that is being written is read again, and how long that takes each time.
const SETTLING: (usize, Duration) = (60, Duration::from_millis(2));

/// How many readings in a row must agree on a text that does not end with a line.
const BROKEN_OFF: usize = 20;

/// How long, and how many, files that were taken out of an editor's hands are looked at.
const HELD: (Duration, usize) = (Duration::from_secs(60), 32);

/// A file that is shared with editors.
#[derive(Debug)]
pub struct SharedFile {
    path: PathBuf,
    /// The text as last seen.
    present: String,
    /// Texts that it had, or that were there for a moment; an editor may have read any of them. The latest is last.
    known: Vec<String>,
    /// Files that were taken out; an editor may still be writing into them.
    held: Vec<Held>,
    /// Whole texts of an editor that were out of its hands for a moment and went back; nobody has judged them yet.
    unjudged: VecDeque<String>,
}

/// A file that was taken out, what is known of its text, and since when.
#[derive(Debug)]
struct Held {
    file: std::fs::File,
    said: Option<String>,
    since: Instant,
}

/// What somebody else has done to the file. It has been taken over, and the file has the new text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Seen {
    /// Nothing.
    Same,
    /// It was changed.
    Changed,
    /// A copy from before our last changes was saved over them; both are joined.
    Joined,
    /// A copy from before our last changes was saved over them, and both changed the same lines: these are theirs now.
    Overwritten {
        /// The text as we had left it.
        ours: String,
    },
}

impl Seen {
    /// What is to be told of two that were seen together.
    fn and(self, other: Self) -> Self {
        let weight = |seen: &Self| match seen {
            Self::Same => 0,
            Self::Changed => 1,
            Self::Joined => 2,
            Self::Overwritten { .. } => 3,
        };
        if weight(&other) > weight(&self) { other } else { self }
    }
}

/// What came of writing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Replaced {
    /// The file has the new text.
    Done,
    /// Somebody else has written meanwhile: the file has their text. Look, and try again.
    Meanwhile,
}

impl SharedFile {
    /// Opens a file that has this text.
    pub fn new(path: &Path, text: String) -> Self {
        // A link is followed: what it leads to is exchanged, and not the link.
        let path = path.canonicalize().unwrap_or_else(|_| path.to_path_buf());
        Self { path, known: vec![text.clone()], present: text, held: Vec::new(), unjudged: VecDeque::new() }
    }

    /// Its text as last seen.
    pub fn text(&self) -> &str {
        &self.present
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Looks whether somebody else has changed it, and takes that over. `sound` tells whether a joined text can be read; the
    /// state before is kept at `before`.
    pub fn look(&mut self, before: &Path, sound: &dyn Fn(&str) -> bool) -> Result<Seen, CueError> {
        let mut seen = Seen::Same;
        for _ in 0..TRIES {
            let now = self.settled()?;
            // What was written into files that were taken out is older than what stands in the file: it is judged first.
            let late = self.late(&now);
            let (theirs, late) = match late {
                Some(theirs) => (theirs, true),
                None if now == self.present => return Ok(seen),
                None => (now.clone(), false),
            };
            let (text, this) = self.judge(&theirs, late, sound);
            self.remember(theirs);
            seen = seen.and(this);
            let ours_stands = now == self.present;
            if text != now && (!late || ours_stands) {
                // Where somebody is quicker here, what was judged is joined with theirs the next time round.
                let _ = self.replace(&now, &text, before)?;
            }
            self.present = text;
        }
        Err(self.restless())
    }

    /// What the file is to say, where somebody else has written this; `late`: not into the file, but into one that was taken out.
    fn judge(&self, theirs: &str, late: bool, sound: &dyn Fn(&str) -> bool) -> (String, Seen) {
        let ours = self.present.as_str();
        let from = self.origin(theirs);
        if from == ours {
            return (theirs.to_string(), Seen::Changed);
        }
        if from == theirs {
            // An older state as it was: a wish where it stands in the file, and nothing new where it does not.
            return match late {
                false => (theirs.to_string(), Seen::Changed),
                true => (ours.to_string(), Seen::Same),
            };
        }
        let (both, lost) = join(from, ours, theirs);
        if !sound(&both) {
            return (theirs.to_string(), Seen::Overwritten { ours: ours.to_string() });
        }
        let seen = match lost {
            true => Seen::Overwritten { ours: ours.to_string() },
            false if both == theirs => Seen::Changed,
            false if both == ours => Seen::Same,
            false => Seen::Joined,
        };
        (both, seen)
    }

    /// What an editor has written into a file that was taken out of its hands, unless it is what stands there now.
    fn late(&mut self, now: &str) -> Option<String> {
        while let Some(text) = self.unjudged.pop_front() {
            if text != now {
                return Some(text);
            }
        }
        self.held.retain(|h| h.since.elapsed() < HELD.0);
        for held in &mut self.held {
            let file = &mut held.file;
            let Some(text) = settle(held.said.as_deref(), || content(file)).ok().flatten() else { continue };
            if text.trim().is_empty() || held.said.as_ref() == Some(&text) {
                continue;
            }
            held.said = Some(text.clone());
            if text != now {
                return Some(text);
            }
        }
        None
    }

    /// The state that a text was made from: the one it shares most lines with, the latest of equals.
    fn origin(&self, text: &str) -> &str {
        let theirs = sorted(text);
        let nearest = self.known.iter().rev().min_by_key(|known| difference(&sorted(known), &theirs));
        nearest.map_or("", String::as_str)
    }

    fn remember(&mut self, text: String) {
        if self.known.last() == Some(&text) {
            return;
        }
        self.known.push(text);
        if self.known.len() > REMEMBERED {
            self.known.remove(0);
        }
    }

    /// Writes `new` where the file says `there`, in one step. The state before is kept at `before`. On an error, and where
    /// somebody else was quicker, the file is as they have left it.
    pub fn replace(&mut self, there: &str, new: &str, before: &Path) -> Result<Replaced, CueError> {
        if new == there {
            return Ok(Replaced::Done);
        }
        let aside = self.write_aside(new)?;
        let result = self.exchange_for(&aside, there, new, before);
        if !matches!(result, Ok(Replaced::Done)) {
            let _ = std::fs::remove_file(&aside);
        }
        result
    }

    /// Puts the text back where the file is away. `false` where it is there again meanwhile: then it is left as it is.
    pub fn put_back(&self) -> Result<bool, CueError> {
        let aside = self.write_aside(&self.present)?;
        // The name is given only where nobody has it: a link to the file that is written.
        let linked = std::fs::hard_link(&aside, &self.path).or_else(|error| match error.kind() {
            AlreadyExists => Err(error),
            // Not every disk has such links: there the file is made anew, and filled.
            _ => std::fs::File::create_new(&self.path).and_then(|mut f| f.write_all(self.present.as_bytes())),
        });
        let _ = std::fs::remove_file(&aside);
        match linked {
            Ok(()) => Ok(true),
            Err(error) if error.kind() == AlreadyExists => Ok(false),
            Err(error) => Err(self.disk(error)),
        }
    }

    fn exchange_for(
        &mut self,
        aside: &Path,
        there: &str,
        new: &str,
        before: &Path,
    ) -> Result<Replaced, CueError> {
        let (mut file, mut out) = match self.exchange(aside) {
            // An editor that moves the old file away before it writes the new one.
            Err(error) if error.kind() == NotFound && aside.exists() => return Ok(Replaced::Meanwhile),
            other => other.map_err(|error| self.disk(error))?,
        };
        if out == there {
            self.hold(file, Some(out));
            keep(aside, before);
            self.remember(there.to_string());
            self.remember(new.to_string());
            self.present = new.to_string();
            return Ok(Replaced::Done);
        }
        // Somebody was quicker: what came out goes back. What comes out then is ours; or it was written over ours in between, by
        // one who had read ours or who had not. Then that one, the latest, goes back, and the other is held and joined to it when
        // the file is looked at.
        // The editor may have read ours while it was there, and save that over its own text: so that text is remembered as well.
        let mut put = new.to_string();
        self.remember(put.clone());
        if self.whole(&out) {
            self.unjudged.push_back(out.clone());
        }
        for _ in 0..TRIES {
            match self.exchange(aside) {
                Ok((other, text)) if text == put => {
                    self.hold(other, Some(text));
                    return Ok(Replaced::Meanwhile);
                }
                Ok((other, text)) => {
                    if self.whole(&text) {
                        self.unjudged.push_back(text.clone());
                    }
                    self.hold(file, None);
                    put = out;
                    (file, out) = (other, text);
                }
                Err(error) if error.kind() == NotFound => {
                    self.hold(file, None);
                    return Ok(Replaced::Meanwhile);
                }
                Err(error) => return Err(self.disk(error)),
            }
        }
        self.hold(file, None);
        Err(self.restless())
    }

    /// Whether a text that was read at once, perhaps while it was being written, has come to its end.
    fn whole(&self, text: &str) -> bool {
        last_line(text).is_some() && last_line(text) == last_line(&self.present)
    }

    fn hold(&mut self, file: std::fs::File, said: Option<String>) {
        self.held.push(Held { file, said, since: Instant::now() });
        if self.held.len() > HELD.1 {
            self.held.remove(0);
        }
    }

    /// Exchanges the file with the one aside; gives the one that is aside then, open, and its text.
    fn exchange(&self, aside: &Path) -> std::io::Result<(std::fs::File, String)> {
        swap(aside, &self.path)?;
        if let Ok(folder) = std::fs::File::open(parent(&self.path)) {
            let _ = folder.sync_all();
        }
        let opened = std::fs::File::open(aside).and_then(|mut file| {
            let text = content(&mut file)?;
            Ok((file, text))
        });
        if opened.is_err() {
            let _ = swap(aside, &self.path);
        }
        opened
    }

    fn disk(&self, error: std::io::Error) -> CueError {
        CueError::Disk { path: self.path.clone(), error }
    }

    /// The file's text. An editor that is in the middle of writing leaves it empty, half, or away for a moment.
    fn settled(&self) -> Result<String, CueError> {
        let read = || read_text(&self.path, "Put it back: it is the cue's own.");
        let settled = settle(Some(&self.present), || Ok::<_, CueError>(read().unwrap_or_default()))?;
        settled.map_or_else(read, Ok)
    }

    fn restless(&self) -> CueError {
        let message = "another program writes this file again and again; close it there, and try once more";
        CueError::Place { path: self.path.clone(), message: message.into() }
    }

    fn write_aside(&self, text: &str) -> Result<PathBuf, CueError> {
        let disk = |error| self.disk(error);
        let mut file =
            tempfile::Builder::new().prefix(".cue-").tempfile_in(parent(&self.path)).map_err(disk)?;
        file.write_all(text.as_bytes()).map_err(disk)?;
        match std::fs::metadata(&self.path) {
            Ok(meta) => file.as_file().set_permissions(meta.permissions()).map_err(disk)?,
            Err(_) => folder::readable(file.as_file()),
        }
        file.as_file().sync_all().map_err(disk)?;
        file.into_temp_path().keep().map_err(|e| disk(e.error))
    }
}

/// Reads until two readings agree and there is something, or until it is what was expected; a text that breaks off in a line may be
/// half of one and must stay so for longer. Nothing if it never settles.
fn settle<E>(
    expected: Option<&str>,
    mut read: impl FnMut() -> Result<String, E>,
) -> Result<Option<String>, E> {
    let mut text = read()?;
    let mut same = 0;
    for _ in 0..SETTLING.0 {
        if Some(text.as_str()) == expected {
            return Ok(Some(text));
        }
        std::thread::sleep(SETTLING.1);
        let again = read()?;
        same = if again == text { same + 1 } else { 0 };
        let enough = if again.ends_with('\n') { 1 } else { BROKEN_OFF };
        if same >= enough && !again.trim().is_empty() {
            return Ok(Some(again));
        }
        text = again;
    }
    Ok(None)
}

fn content(file: &mut std::fs::File) -> std::io::Result<String> {
    file.rewind()?;
    let mut bytes = Vec::new();
    file.read_to_end(&mut bytes)?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// The lines in order, each with the table it stands in.
fn sorted(text: &str) -> Vec<(&str, &str)> {
    let mut lines: Vec<(&str, &str)> = in_tables(text).collect();
    lines.sort_unstable();
    lines
}

/// The lines, each with the table it stands in: cells of two passages that say the same are two things.
fn in_tables(text: &str) -> impl DoubleEndedIterator<Item = (&str, &str)> {
    let mut table = "";
    let mut lines: Vec<(&str, &str)> = Vec::new();
    for line in text.lines() {
        let start = line.trim_start();
        // Tables of a list are known by their name; `[passage.casting]` belongs to the passage whose name came before it.
        let opens = start.starts_with("[[") || (start.starts_with('[') && !start.starts_with("[passage."));
        let names = table.trim_start().starts_with("[[") && start.starts_with("name");
        if opens || names {
            table = line;
        }
        lines.push((table, line));
    }
    lines.into_iter()
}

/// The last line that says something, with the table it stands in.
fn last_line(text: &str) -> Option<(&str, &str)> {
    in_tables(text).rfind(|(_, line)| !line.trim().is_empty())
}

/// Lines of either that the other has not; both are sorted.
fn difference(a: &[(&str, &str)], b: &[(&str, &str)]) -> usize {
    let (mut i, mut j, mut alike) = (0, 0, 0);
    while i < a.len() && j < b.len() {
        match a[i].cmp(&b[j]) {
            std::cmp::Ordering::Less => i += 1,
            std::cmp::Ordering::Greater => j += 1,
            std::cmp::Ordering::Equal => {
                (i, j, alike) = (i + 1, j + 1, alike + 1);
            }
        }
    }
    a.len() + b.len() - 2 * alike
}

/// Puts the state before aside; where it cannot be kept the present one is safe all the same.
fn keep(aside: &Path, before: &Path) {
    let _ = std::fs::create_dir_all(parent(before));
    if std::fs::rename(aside, before).is_err() {
        let _ = std::fs::remove_file(aside);
    }
}

#[cfg(target_os = "linux")]
fn swap(a: &Path, b: &Path) -> std::io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    match renameat_with(CWD, a, CWD, b, RenameFlags::EXCHANGE) {
        Ok(()) => Ok(()),
        // Some file systems cannot: then in two steps.
        Err(rustix::io::Errno::INVAL | rustix::io::Errno::NOSYS) => swap_in_steps(a, b),
        Err(error) => Err(error.into()),
    }
}

#[cfg(not(target_os = "linux"))]
fn swap(a: &Path, b: &Path) -> std::io::Result<()> {
    swap_in_steps(a, b)
}

/// The old file is there under its name until the new one takes it.
fn swap_in_steps(a: &Path, b: &Path) -> std::io::Result<()> {
    let old = tempfile::Builder::new().prefix(".cue-").tempdir_in(parent(a))?;
    let link = old.path().join("old");
    // A second name for the same file, so that one who writes in place is still followed.
    if std::fs::hard_link(b, &link).is_err() {
        std::fs::copy(b, &link)?;
    }
    std::fs::rename(a, b)?;
    std::fs::rename(&link, a)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An editor saves, reads what the page has put there for the moment of an exchange, and saves that with one more change.
    #[test]
    fn an_editor_that_has_read_what_was_there_for_a_moment() {
        let folder = tempfile::tempdir().unwrap();
        let (path, before) = (folder.path().join("cue.toml"), folder.path().join("before.toml"));
        let text = |cells: [&str; 3]| {
            let lines: Vec<String> = ["flute", "oboe", "horn"]
                .iter()
                .zip(cells)
                .map(|(chair, cell)| format!("{chair} = {cell}\n"))
                .collect();
            lines.concat() + "end = true\n"
        };
        let first = text(["a", "a", "a"]);
        let mut shared = SharedFile::new(&path, first.clone());
        std::fs::write(&path, text(["b", "a", "a"])).unwrap();
        let page = text(["a", "p", "a"]);
        assert_eq!(shared.replace(&first, &page, &before).unwrap(), Replaced::Meanwhile);
        assert_eq!(std::fs::read_to_string(&path).unwrap(), text(["b", "a", "a"]));
        std::fs::write(&path, text(["a", "p", "c"])).unwrap();
        while shared.look(&before, &|_| true).unwrap() != Seen::Same {}
        // The page was told that it was not quick enough, and makes its change again.
        assert_eq!(shared.text(), text(["b", "a", "c"]));
        assert_eq!(
            shared.replace(&text(["b", "a", "c"]), &text(["b", "p", "c"]), &before).unwrap(),
            Replaced::Done
        );
        assert_eq!(std::fs::read_to_string(&path).unwrap(), shared.text());
    }

    /// A file that is away is put back; one that has come back meanwhile, or a link that leads nowhere, is left as it is.
    #[test]
    fn a_file_is_put_back_only_where_nothing_is() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("cue.toml");
        let shared = SharedFile::new(&path, "flute = a\n".into());
        assert!(shared.put_back().unwrap());
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "flute = a\n");
        std::fs::write(&path, "flute = b\n").unwrap();
        assert!(!shared.put_back().unwrap());
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "flute = b\n");
        #[cfg(unix)]
        {
            std::fs::remove_file(&path).unwrap();
            std::os::unix::fs::symlink("nowhere", &path).unwrap();
            assert!(!shared.put_back().unwrap());
            assert_eq!(std::fs::read_link(&path).unwrap(), Path::new("nowhere"));
        }
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1, "and nothing is left beside it");
    }

    /// What was read before the editor had come to its end is not taken for its text.
    #[test]
    fn half_a_text_is_not_judged() {
        let folder = tempfile::tempdir().unwrap();
        let (path, before) = (folder.path().join("cue.toml"), folder.path().join("before.toml"));
        let first = "flute = a\noboe = a\nhorn = a\n".to_string();
        let mut shared = SharedFile::new(&path, first.clone());
        std::fs::write(&path, "flute = b\n").unwrap();
        assert_eq!(
            shared.replace(&first, &first.replace("horn = a", "horn = p"), &before).unwrap(),
            Replaced::Meanwhile
        );
        std::fs::write(&path, first.replace("flute = a", "flute = b")).unwrap();
        while shared.look(&before, &|_| true).unwrap() != Seen::Same {}
        assert_eq!(shared.text(), first.replace("flute = a", "flute = b"));
    }
}
