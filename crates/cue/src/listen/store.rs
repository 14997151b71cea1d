//! Stretches on the disk, each under the fingerprint of what makes it: 16 bits, at the level of its own highest sample.

use crate::fingerprint::Fingerprint;
use crate::render::kept::FOLDER;
use crate::{CueError, folder};
use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

/// Bytes before the samples: the level, how many frames there are, and what kind of file it is.
const HEAD: usize = 16;
const KIND: &[u8; 8] = b"stretch1";

/// The largest number of a sample.
const FULL: f32 = 32_767.0;

/// The folder of the stretches of a cue.
pub struct Store {
    folder: PathBuf,
    there: Mutex<BTreeSet<u128>>,
}

impl Store {
    /// Opens it, makes it where there is none.
    pub fn open(cue: &Path) -> Result<Self, CueError> {
        let folder = cue.join(FOLDER).join("heard");
        let disk = |error| CueError::Disk { path: folder.clone(), error };
        fs::create_dir_all(&folder).map_err(disk)?;
        let mut there = BTreeSet::new();
        for entry in fs::read_dir(&folder).map_err(disk)?.flatten() {
            let name = entry.file_name().to_string_lossy().into_owned();
            if let Ok(number) = u128::from_str_radix(&name, 16) {
                there.insert(number);
            }
        }
        Ok(Self { folder, there: Mutex::new(there) })
    }

    fn path(&self, key: Fingerprint) -> PathBuf {
        self.folder.join(key.to_string())
    }

    /// Whether a stretch is there.
    pub fn has(&self, key: Fingerprint) -> bool {
        self.there.lock().unwrap_or_else(PoisonError::into_inner).contains(&key.number())
    }

    /// Keeps a stretch.
    pub fn put(&self, key: Fingerprint, left: &[f32], right: &[f32]) -> Result<(), CueError> {
        let disk = |error| CueError::Disk { path: self.folder.clone(), error };
        let peak = left.iter().chain(right).fold(0.0_f32, |a, x| a.max(x.abs()));
        let frames = if peak > 0.0 { left.len().min(right.len()) } else { 0 };
        let mut bytes = Vec::with_capacity(HEAD + 4 * frames);
        bytes.extend_from_slice(KIND);
        bytes.extend_from_slice(&peak.to_le_bytes());
        bytes.extend_from_slice(&(frames as u32).to_le_bytes());
        let scale = if peak > 0.0 { FULL / peak } else { 0.0 };
        for (l, r) in left.iter().zip(right).take(frames) {
            for x in [l, r] {
                bytes.extend_from_slice(&((x * scale).round() as i16).to_le_bytes());
            }
        }
        let mut file = tempfile::Builder::new().prefix("new-").tempfile_in(&self.folder).map_err(disk)?;
        file.write_all(&bytes).map_err(disk)?;
        folder::readable(file.as_file());
        file.persist(self.path(key)).map_err(|e| disk(e.error))?;
        self.there.lock().unwrap_or_else(PoisonError::into_inner).insert(key.number());
        Ok(())
    }

    /// Adds frames of a stretch from one on, times a gain for each; false if the stretch is gone or damaged, and is then
    /// forgotten, so that it is made again.
    pub fn add(&self, key: Fingerprint, from: usize, gains: &Gains<'_>, sums: [&mut [f32]; 2]) -> bool {
        let read = || -> std::io::Result<Option<(f32, Vec<u8>)>> {
            let mut file = File::open(self.path(key))?;
            let mut head = [0; HEAD];
            file.read_exact(&mut head)?;
            let word = |at: usize| [head[at], head[at + 1], head[at + 2], head[at + 3]];
            if &head[..8] != KIND {
                return Ok(None);
            }
            let (peak, frames) = (f32::from_le_bytes(word(8)), u32::from_le_bytes(word(12)) as usize);
            let wanted = sums[0].len().min(frames.saturating_sub(from));
            file.seek(SeekFrom::Start((HEAD + 4 * from.min(frames)) as u64))?;
            let mut bytes = vec![0; 4 * wanted];
            file.read_exact(&mut bytes)?;
            Ok(Some((peak, bytes)))
        };
        let Ok(Some((peak, bytes))) = read() else {
            self.forget(key);
            return false;
        };
        let scale = peak / FULL;
        let [left, right] = sums;
        let samples = bytes.chunks_exact(4).zip(left.iter_mut().zip(right.iter_mut()));
        for (i, (b, (l, r))) in samples.enumerate() {
            let gain = scale * gains.at(i);
            *l += gain * f32::from(i16::from_le_bytes([b[0], b[1]]));
            *r += gain * f32::from(i16::from_le_bytes([b[2], b[3]]));
        }
        true
    }

    fn forget(&self, key: Fingerprint) {
        let _ = fs::remove_file(self.path(key));
        self.there.lock().unwrap_or_else(PoisonError::into_inner).remove(&key.number());
    }

    /// Deletes what was kept longest until all takes no more than so many bytes; never what is in use.
    pub fn tidy(&self, most: u64, used: &BTreeSet<u128>) {
        let Ok(entries) = fs::read_dir(&self.folder) else { return };
        let mut all = Vec::new();
        for entry in entries.flatten() {
            let Ok(meta) = entry.metadata() else { continue };
            let name = entry.file_name().to_string_lossy().into_owned();
            let Ok(number) = u128::from_str_radix(&name, 16) else { continue };
            all.push((meta.modified().ok(), number, meta.len(), entry.path()));
        }
        all.sort();
        let mut total: u64 = all.iter().map(|a| a.2).sum();
        for (_, number, length, path) in all {
            if total <= most {
                break;
            }
            if used.contains(&number) {
                continue;
            }
            // What cannot be deleted takes room; that is no reason to fail.
            let _ = fs::remove_file(path);
            self.there.lock().unwrap_or_else(PoisonError::into_inner).remove(&number);
            total = total.saturating_sub(length);
        }
    }
}

/// A gain for every frame of a block.
#[derive(Clone, Copy, Debug)]
pub enum Gains<'a> {
    /// The same for all.
    Even(f32),
    /// One for each.
    Each(&'a [f32]),
}

impl<'a> Gains<'a> {
    /// The gain of a frame.
    #[inline]
    pub fn at(&self, frame: usize) -> f32 {
        match self {
            Self::Even(gain) => *gain,
            Self::Each(gains) => gains.get(frame).copied().unwrap_or(0.0),
        }
    }

    /// Of the frames from one on.
    pub fn from(&self, frame: usize) -> Gains<'a> {
        match self {
            Self::Even(gain) => Gains::Even(*gain),
            Self::Each(gains) => Gains::Each(gains.get(frame..).unwrap_or_default()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_kept_comes_back_within_its_bits() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path()).unwrap();
        let key = Fingerprint::default().of(&1);
        let left: Vec<f32> = (0..1000).map(|i| 0.01 * (i as f32 / 1000.0 - 0.5)).collect();
        let right: Vec<f32> = left.iter().map(|x| -2.0 * x).collect();
        store.put(key, &left, &right).unwrap();
        let again = Store::open(folder.path()).unwrap();
        assert!(again.has(key) && !again.has(Fingerprint::default()));
        let (mut l, mut r) = (vec![1.0; 300], vec![0.0; 300]);
        assert!(again.add(key, 800, &Gains::Even(2.0), [&mut l, &mut r]));
        for i in 0..200 {
            assert!(
                (l[i] - 1.0 - 2.0 * left[800 + i]).abs() < 1e-6 && (r[i] - 2.0 * right[800 + i]).abs() < 1e-6
            );
        }
        assert!(l[200..].iter().all(|x| *x == 1.0), "nothing after its end");
    }

    #[test]
    fn what_is_damaged_is_forgotten_and_what_is_used_stays() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path()).unwrap();
        let keys = [1, 2, 3].map(|i| Fingerprint::default().of(&i));
        for key in keys {
            store.put(key, &[0.5; 100], &[0.5; 100]).unwrap();
        }
        fs::write(store.path(keys[0]), b"nonsense").unwrap();
        let (mut l, mut r) = ([0.0; 10], [0.0; 10]);
        assert!(!store.add(keys[0], 0, &Gains::Even(1.0), [&mut l, &mut r]));
        assert!(!store.has(keys[0]));
        store.tidy(500, &[keys[1].number()].into());
        assert!(store.has(keys[1]) && !store.has(keys[2]));
        store.put(keys[0], &[0.0; 10], &[0.0; 10]).unwrap();
        assert!(store.add(keys[0], 0, &Gains::Even(1.0), [&mut l, &mut r]), "silence takes no room");
    }
}
