//! The delivered folder: built aside, put in place, what an earlier deliver left taken away; nothing of the user's is touched.

use super::texts::Text;
use super::under;
use crate::outputs::keep_by_hand;
use crate::{CueError, folder};
use ripieno_delivery::digest;
use ripieno_delivery::manifest::Entry;
use ripieno_delivery::names::Names;
use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::{Path, PathBuf};

/// One file, ready to be put in place.
pub struct Ready {
    pub entry: Entry,
    /// Of all that made it; empty for what is made anew each time.
    pub print: String,
    /// It is the file that stands there already.
    pub reused: bool,
}

/// What is known of a file that an earlier deliver has put there.
#[derive(Clone, Debug, PartialEq)]
struct Known {
    stamp: String,
    print: String,
    bytes: u64,
    sha256: String,
}

/// A folder that is being filled.
pub struct Place {
    into: PathBuf,
    aside: tempfile::TempDir,
    known: BTreeMap<String, Vec<Known>>,
    /// Held while the work goes on.
    _lock: File,
}

/// In the delivered folder: what an earlier deliver has put there, and the lock.
const OURS: &str = ".ripieno";
const LIST: &str = "delivered.txt";
const LOCK: &str = "deliver.lock";
const ASIDE: &str = ".delivering-";
/// How often the lock is asked for, and what lies between, before it is called another's.
const LOCK_TRIES: u32 = 5;
const LOCK_WAIT: std::time::Duration = std::time::Duration::from_millis(50);

impl Place {
    /// Opens the folder for one deliver at a time.
    pub fn open(into: &Path) -> Result<Self, CueError> {
        let disk = |path: &Path, error| CueError::Disk { path: path.to_path_buf(), error };
        let ours = into.join(OURS);
        fs::create_dir_all(&ours).map_err(|e| disk(into, e))?;
        let lock_path = ours.join(LOCK);
        let lock =
            File::options().create(true).append(true).open(&lock_path).map_err(|e| disk(&lock_path, e))?;
        // A program that is being started has a copy of the lock for a moment.
        let mut tries = 0;
        let locked = loop {
            match lock.try_lock() {
                Err(fs::TryLockError::WouldBlock) if tries < LOCK_TRIES => tries += 1,
                other => break other,
            }
            std::thread::sleep(LOCK_WAIT);
        };
        match locked {
            Err(fs::TryLockError::WouldBlock) => {
                return Err(CueError::Refused(format!(
                    "{}: another deliver is at work in this folder; wait until it has ended",
                    into.display()
                )));
            }
            // A file system without locks cannot tell; two at once are rare.
            Err(fs::TryLockError::Error(_)) | Ok(()) => {}
        }
        // What a deliver that was killed has left.
        for entry in fs::read_dir(into).map_err(|e| disk(into, e))?.flatten() {
            if entry.file_name().to_string_lossy().starts_with(ASIDE) {
                let _ = fs::remove_dir_all(entry.path());
            }
        }
        let aside = tempfile::Builder::new().prefix(ASIDE).tempdir_in(into).map_err(|e| disk(into, e))?;
        let known = read(&fs::read_to_string(ours.join(LIST)).unwrap_or_default());
        Ok(Self { into: into.to_path_buf(), aside, known, _lock: lock })
    }

    /// Where a file is built.
    pub fn aside(&self, path: &str) -> Result<PathBuf, CueError> {
        let to = under(self.aside.path(), path);
        fs::create_dir_all(folder::parent(&to))
            .map_err(|error| CueError::Disk { path: to.clone(), error })?;
        Ok(to)
    }

    /// If a file of this print stands at its place already, it is taken: its bytes and its digest.
    pub fn reuse(&self, path: &str, print: &str) -> Option<(u64, String)> {
        let there = under(&self.into, path);
        let stamp = folder::stamp(&there);
        let known = self.known.get(path)?.iter().find(|k| k.print == print && k.stamp == stamp)?;
        let to = self.aside(path).ok()?;
        fs::hard_link(&there, &to).ok()?;
        Some((known.bytes, known.sha256.clone()))
    }

    /// Writes a small file.
    pub fn write_text(&self, path: String, kind: &str, what: &str, bytes: &[u8]) -> Result<Ready, CueError> {
        let to = self.aside(&path)?;
        fs::write(&to, bytes).map_err(|error| CueError::Disk { path: under(&self.into, &path), error })?;
        let entry = Entry {
            file: path,
            kind: kind.into(),
            what: what.into(),
            bytes: bytes.len() as u64,
            sha256: digest::of(bytes),
            sound: None,
        };
        Ok(Ready { entry, print: String::new(), reused: false })
    }

    /// Writes small files, under names that no other has.
    pub fn write_texts(&self, names: &mut Names, texts: Vec<Text>) -> Result<Vec<Ready>, CueError> {
        let mut out = Vec::new();
        for text in texts {
            let (folder, name) = text.path.rsplit_once('/').unwrap_or(("", &text.path));
            let (name, ending) = name.rsplit_once('.').unwrap_or((name, "txt"));
            let path = names.take(folder, name, ending);
            out.push(self.write_text(path, text.kind, &text.what, &text.bytes)?);
        }
        Ok(out)
    }

    /// Puts all files in place, and takes away what an earlier deliver has put there and this one has not, if nobody has changed
    /// it since. What somebody has changed stays, where a new file takes its place under another name: both are said.
    ///
    /// Errors: a file of somebody else's at the place of one of ours; the disk.
    pub fn put(&self, files: &[Ready]) -> Result<Vec<String>, CueError> {
        let disk = |path: &Path, error| CueError::Disk { path: path.to_path_buf(), error };
        let foreign =
            |f: &&Ready| !self.known.contains_key(&f.entry.file) && under(&self.into, &f.entry.file).exists();
        if let Some(file) = files.iter().find(foreign) {
            return Err(CueError::Refused(format!(
                "{}: this file is there already, and no earlier deliver has put it there. Move it away, or deliver into another folder with -o",
                under(&self.into, &file.entry.file).display()
            )));
        }
        let mut remarks = Vec::new();
        for file in files {
            let to = under(&self.into, &file.entry.file);
            let stamp = folder::stamp(&to);
            let known = self.known.get(&file.entry.file);
            let ours = |known: &Vec<Known>| known.iter().any(|k| k.stamp == stamp);
            if to.is_file() && !known.is_some_and(ours) {
                let name = keep_by_hand(&to)?;
                remarks
                    .push(format!("{} was changed by hand: what it was is kept as {name}", file.entry.file));
            }
        }
        let mut new: BTreeMap<String, Vec<Known>> = BTreeMap::new();
        for file in files {
            let stamp = folder::stamp(&under(self.aside.path(), &file.entry.file));
            let known = Known {
                stamp,
                print: file.print.clone(),
                bytes: file.entry.bytes,
                sha256: file.entry.sha256.clone(),
            };
            new.insert(file.entry.file.clone(), vec![known]);
        }
        // Both, so that whatever happens from here on, the next deliver knows all of it for its own.
        let mut both = self.known.clone();
        for (path, known) in &new {
            both.entry(path.clone()).or_default().extend(known.iter().cloned());
        }
        let list = self.into.join(OURS).join(LIST);
        crate::write_file(&list, text(&both).as_bytes())?;
        for file in files {
            let to = under(&self.into, &file.entry.file);
            fs::create_dir_all(folder::parent(&to)).map_err(|e| disk(&to, e))?;
            fs::rename(under(self.aside.path(), &file.entry.file), &to).map_err(|e| disk(&to, e))?;
        }
        for (path, known) in self.known.iter().filter(|(path, _)| !new.contains_key(*path)) {
            let old = under(&self.into, path);
            if !old.is_file() {
                continue;
            }
            let stamp = folder::stamp(&old);
            if known.iter().any(|k| k.stamp == stamp) {
                // What cannot be deleted is no reason to fail.
                let _ = fs::remove_file(&old);
                tidy(&self.into, &old);
            } else {
                remarks.push(format!("{path} is of an earlier deliver and was changed since: it stays"));
            }
        }
        crate::write_file(&list, text(&new).as_bytes())?;
        Ok(remarks)
    }
}

/// Takes away folders that have become empty.
fn tidy(into: &Path, file: &Path) {
    let mut folder = file.parent();
    while let Some(path) = folder.filter(|p| *p != into && p.starts_with(into)) {
        if fs::remove_dir(path).is_err() {
            return;
        }
        folder = path.parent();
    }
}

fn read(text: &str) -> BTreeMap<String, Vec<Known>> {
    let mut out: BTreeMap<String, Vec<Known>> = BTreeMap::new();
    for line in text.lines() {
        let words: Vec<&str> = line.split('\t').collect();
        let [path, stamp, print, bytes, sha256] = words[..] else { continue };
        // Whoever has written into the list leads nowhere else with it.
        let inside = !path.is_empty()
            && Path::new(path).components().all(|c| matches!(c, std::path::Component::Normal(_)));
        let (true, Ok(bytes)) = (inside, bytes.parse()) else { continue };
        let known = Known { stamp: stamp.into(), print: print.into(), bytes, sha256: sha256.into() };
        out.entry(path.to_string()).or_default().push(known);
    }
    out
}

fn text(known: &BTreeMap<String, Vec<Known>>) -> String {
    let lines = known.iter().flat_map(|(path, all)| all.iter().map(move |k| (path, k)));
    lines.map(|(path, k)| format!("{path}\t{}\t{}\t{}\t{}\n", k.stamp, k.print, k.bytes, k.sha256)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ready(place: &Place, path: &str) -> Ready {
        place.write_text(path.into(), "document", "", b"new").unwrap()
    }

    #[test]
    fn what_is_the_users_stays() {
        let folder = tempfile::tempdir().unwrap();
        let into = folder.path().join("x");
        let place = Place::open(&into).unwrap();
        assert!(matches!(Place::open(&into), Err(CueError::Refused(_))));
        place.put(&[ready(&place, "a/b.txt"), ready(&place, "c.txt"), ready(&place, "d/e.txt")]).unwrap();
        drop(place);
        fs::write(into.join("a/mine.txt"), "mine").unwrap();
        fs::write(into.join("d/e.txt"), "changed by hand").unwrap();
        let place = Place::open(&into).unwrap();
        let remarks = place.put(&[ready(&place, "c.txt")]).unwrap();
        assert!(remarks.len() == 1 && remarks[0].starts_with("d/e.txt"), "{remarks:?}");
        drop(place);
        assert!(!into.join("a/b.txt").exists() && into.join("a/mine.txt").exists());
        // Changed by hand and delivered again: both are there.
        fs::write(into.join("c.txt"), "corrected by hand").unwrap();
        let place = Place::open(&into).unwrap();
        let remarks = place.put(&[ready(&place, "c.txt")]).unwrap();
        assert!(remarks.iter().any(|r| r.contains("c.by-hand.txt")), "{remarks:?}");
        assert_eq!(fs::read_to_string(into.join("c.txt")).unwrap(), "new");
        assert_eq!(fs::read_to_string(into.join("c.by-hand.txt")).unwrap(), "corrected by hand");
        drop(place);
        let place = Place::open(&into).unwrap();
        assert!(place.put(&[ready(&place, "c.txt")]).unwrap().is_empty());
        drop(place);
        // Not ours: nothing is written over it, and nothing else has changed.
        let place = Place::open(&into).unwrap();
        let refused = place.put(&[ready(&place, "c.txt"), ready(&place, "a/mine.txt")]);
        assert!(matches!(refused, Err(CueError::Refused(m)) if m.contains("mine.txt")));
        assert_eq!(fs::read_to_string(into.join("a/mine.txt")).unwrap(), "mine");
        drop(place);
        let left: Vec<_> = fs::read_dir(&into).unwrap().flatten().map(|e| e.file_name()).collect();
        assert!(left.iter().all(|n| !n.to_string_lossy().starts_with(ASIDE)), "{left:?}");
    }

    #[test]
    fn a_list_leads_nowhere_else() {
        let line = |path: &str| format!("{path}\ts\tp\t1\tx\n");
        let known = read(&(line("../x") + &line("/etc/x") + &line("a/b") + "nonsense\n"));
        assert_eq!(known.keys().collect::<Vec<_>>(), ["a/b"]);
        assert_eq!(read(&text(&known)), known);
    }
}
