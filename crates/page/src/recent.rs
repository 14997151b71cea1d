//! The cues opened lately: a small file of the user's own.

use std::path::{Path, PathBuf};
use std::sync::Mutex;

/// How many are listed.
const MOST: usize = 12;

/// The list, a line each: folder, tab, title. Trouble with it is no reason to fail: then nothing is listed.
#[derive(Debug)]
pub struct Recent {
    file: Option<PathBuf>,
    turn: Mutex<()>,
}

impl Recent {
    /// In this file; nowhere if none.
    pub fn new(file: Option<PathBuf>) -> Self {
        Self { file, turn: Mutex::default() }
    }

    /// The cues that are still there, the latest first.
    pub fn list(&self) -> Vec<(PathBuf, String)> {
        let text = self.file.as_ref().and_then(|f| std::fs::read_to_string(f).ok()).unwrap_or_default();
        let lines = text.lines().filter_map(|l| l.split_once('\t'));
        let all = lines.map(|(folder, title)| (PathBuf::from(folder), title.to_string()));
        all.filter(|(folder, _)| folder.join("cue.toml").is_file()).take(MOST).collect()
    }

    /// Puts a cue first.
    pub fn remember(&self, folder: &Path, title: &str) {
        let _turn = self.turn.lock();
        let Some(file) = &self.file else { return };
        let shown = folder.display().to_string();
        if shown.contains(['\n', '\t']) {
            return;
        }
        let mut all = self.list();
        all.retain(|(other, _)| other != folder);
        all.insert(0, (folder.to_path_buf(), title.replace(['\n', '\t'], " ")));
        all.truncate(MOST);
        let lines: Vec<String> = all.iter().map(|(f, t)| format!("{}\t{t}\n", f.display())).collect();
        let _ = ripieno_cue::write_file(file, lines.concat().as_bytes());
    }
}
