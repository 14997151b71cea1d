//! What the server holds: its token, and the cues that are open.

use crate::error::PageError;
use crate::open::Open;
use crate::recent::Recent;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

/// The house: everything that requests share.
pub struct House {
    /// The token of this start.
    pub token: String,
    /// The port that is listened on.
    pub port: u16,
    /// Where cues that are made on the page are put.
    pub home: PathBuf,
    /// The cues opened lately.
    pub recent: Recent,
    cues: Mutex<BTreeMap<String, Arc<Open>>>,
}

impl House {
    /// Nothing open yet.
    pub fn new(token: String, port: u16, home: PathBuf, recent: Recent) -> Self {
        Self { token, port, home, recent, cues: Mutex::default() }
    }

    /// Opens a cue, or gives the one that is open already. Gives its id in addresses.
    pub fn open(&self, path: &Path) -> Result<Arc<Open>, PageError> {
        let whole = path.canonicalize().unwrap_or_else(|_| path.to_path_buf());
        let folder = if whole.is_file() { whole.parent().map(Path::to_path_buf) } else { None };
        let folder = folder.unwrap_or(whole);
        let mut cues = self.cues.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(open) = cues.values().find(|c| c.folder == folder) {
            return Ok(Arc::clone(open));
        }
        let name = folder.file_name().map_or_else(|| "cue".into(), |n| n.to_string_lossy().into_owned());
        let slug: String = name
            .chars()
            .map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' })
            .collect();
        let slug = if slug.trim_matches('-').is_empty() { "cue".to_string() } else { slug };
        let mut id = slug.clone();
        for n in 2.. {
            if !cues.contains_key(&id) {
                break;
            }
            id = format!("{slug}-{n}");
        }
        let open = Open::new(&id, path, folder)?;
        self.recent.remember(&open.folder, &open.title());
        cues.insert(id, Arc::clone(&open));
        Ok(open)
    }

    /// An open cue by its id.
    pub fn cue(&self, id: &str) -> Result<Arc<Open>, PageError> {
        let cues = self.cues.lock().unwrap_or_else(PoisonError::into_inner);
        cues.get(id).cloned().ok_or_else(|| {
            PageError::Missing("this cue is not open; go to the start page and open it".into())
        })
    }

    /// Ends what works for the cues.
    pub fn close(&self) {
        let cues = self.cues.lock().unwrap_or_else(PoisonError::into_inner);
        cues.values().for_each(|c| c.close());
    }
}
