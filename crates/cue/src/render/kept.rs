//! Stems that are kept from render to render, inside the cue's folder, each under the fingerprint of all that made it.

use crate::{CueError, folder};
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};

/// Folder of what is kept, in the cue's folder. It may be deleted at any time: all in it can be made again.
pub const FOLDER: &str = ".ripieno";

/// What is known of a kept file beside its samples.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Facts {
    /// The highest sample, as amplitude, before integers cut it off.
    pub peak: f32,
    /// Samples that were cut off.
    pub clipped: u64,
}

/// The kept stems of a cue.
pub struct Kept {
    folder: PathBuf,
}

impl Kept {
    /// Opens the folder, makes it where there is none.
    pub fn open(cue: &Path) -> Result<Self, CueError> {
        let folder = cue.join(FOLDER).join("stems");
        fs::create_dir_all(&folder).map_err(|error| CueError::Disk { path: folder.clone(), error })?;
        Ok(Self { folder })
    }

    /// Where a file of this key stands.
    pub fn path(&self, key: &str) -> PathBuf {
        self.folder.join(format!("{key}.wav"))
    }

    fn note(&self, key: &str) -> PathBuf {
        self.folder.join(format!("{key}.txt"))
    }

    /// What is known of a file, if it is there and is what was kept: whoever opened a linked stem and changed it has changed this
    /// one too.
    pub fn find(&self, key: &str) -> Option<Facts> {
        let note = fs::read_to_string(self.note(key)).ok()?;
        let mut words = note.split_whitespace();
        let stamp = words.next()?;
        let facts = Facts { peak: words.next()?.parse().ok()?, clipped: words.next()?.parse().ok()? };
        (folder::stamp(&self.path(key)) == stamp).then_some(facts)
    }

    /// A file to write to, beside the kept ones; it is gone if it is not kept.
    pub fn fresh(&self) -> Result<tempfile::NamedTempFile, CueError> {
        tempfile::Builder::new().prefix("new-").tempfile_in(&self.folder).map_err(|error| self.disk(error))
    }

    /// Keeps a file that is complete.
    pub fn keep(&self, key: &str, file: tempfile::NamedTempFile, facts: Facts) -> Result<(), CueError> {
        folder::readable(file.as_file());
        let path = self.path(key);
        file.persist(&path).map_err(|e| self.disk(e.error))?;
        let note = format!("{} {} {}\n", folder::stamp(&path), facts.peak, facts.clipped);
        let mut file = self.fresh()?;
        file.write_all(note.as_bytes()).map_err(|error| self.disk(error))?;
        file.persist(self.note(key)).map_err(|e| self.disk(e.error))?;
        Ok(())
    }

    /// Puts a kept file where the composer looks for it: as a second name where the disk can, as a copy otherwise.
    pub fn put(&self, key: &str, to: &Path) -> Result<(), CueError> {
        let disk = |error| CueError::Disk { path: to.to_path_buf(), error };
        let beside = folder::parent(to).join(format!(".new-{key}"));
        let _ = fs::remove_file(&beside);
        if fs::hard_link(self.path(key), &beside).is_err() {
            fs::copy(self.path(key), &beside).map_err(disk)?;
        }
        fs::rename(&beside, to).map_err(disk)?;
        // Two names of one file are not renamed over each other: then the first one stays.
        let _ = fs::remove_file(&beside);
        Ok(())
    }

    /// Deletes what was kept longest until all takes no more than so many bytes; never what is in use.
    pub fn tidy(&self, most: u64, used: &[String]) {
        let Ok(entries) = fs::read_dir(&self.folder) else { return };
        let mut all = Vec::new();
        for entry in entries.flatten() {
            let Ok(meta) = entry.metadata() else { continue };
            let name = entry.file_name().to_string_lossy().into_owned();
            let Some(key) = name.strip_suffix(".wav") else { continue };
            all.push((meta.modified().ok(), key.to_string(), meta.len()));
        }
        all.sort();
        let mut total: u64 = all.iter().map(|a| a.2).sum();
        for (_, key, length) in all {
            if total <= most {
                break;
            }
            if used.contains(&key) {
                continue;
            }
            // What cannot be deleted takes room; that is no reason to fail.
            let _ = fs::remove_file(self.path(&key));
            let _ = fs::remove_file(self.note(&key));
            total = total.saturating_sub(length);
        }
    }

    fn disk(&self, error: std::io::Error) -> CueError {
        CueError::Disk { path: self.folder.clone(), error }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn keep(kept: &Kept, key: &str, bytes: &[u8]) {
        let mut file = kept.fresh().unwrap();
        file.write_all(bytes).unwrap();
        kept.keep(key, file, Facts { peak: 0.5, clipped: 0 }).unwrap();
    }

    #[test]
    fn what_is_kept_is_found_until_it_is_changed_or_in_the_way() {
        let folder = tempfile::tempdir().unwrap();
        let kept = Kept::open(folder.path()).unwrap();
        assert_eq!(kept.find("a"), None);
        keep(&kept, "a", b"first");
        assert_eq!(kept.find("a"), Some(Facts { peak: 0.5, clipped: 0 }));
        let stem = folder.path().join("stem.wav");
        kept.put("a", &stem).unwrap();
        kept.put("a", &stem).unwrap();
        assert_eq!(fs::read(&stem).unwrap(), b"first");
        // Somebody writes into the stem, which is the kept file by another name.
        fs::write(&stem, b"other").unwrap();
        let later = std::time::SystemTime::now() + std::time::Duration::from_secs(5);
        fs::File::options().append(true).open(&stem).unwrap().set_modified(later).unwrap();
        assert_eq!(kept.find("a"), None);
        keep(&kept, "b", &[1; 1000]);
        keep(&kept, "c", &[2; 1000]);
        kept.tidy(1500, &["b".to_string()]);
        assert!(kept.find("b").is_some());
        assert!(kept.find("c").is_none() && !kept.path("c").exists());
    }
}
