//! Why a cue cannot be worked on.

use ripieno_formats::FormatError;
use ripieno_plan::Diagnostic;
use std::path::{Path, PathBuf};

/// What stops the work, with its place and what to do.
#[derive(Debug, thiserror::Error)]
pub enum CueError {
    /// The composer's own files say something that cannot be meant.
    #[error("{}", list(.0))]
    Written(Vec<Diagnostic>),
    /// The music cannot be read.
    #[error("{}: {error}", .path.display())]
    Music {
        /// The file.
        path: PathBuf,
        /// Why.
        error: FormatError,
    },
    /// A file or folder is not what it should be.
    #[error("{}: {message}", .path.display())]
    Place {
        /// The file or folder.
        path: PathBuf,
        /// What is wrong and what to do.
        message: String,
    },
    /// A file that is needed is not there.
    #[error("{}: there is no such file. {remedy}", .path.display())]
    Missing {
        /// The file.
        path: PathBuf,
        /// What to do.
        remedy: String,
    },
    /// What was asked for cannot be done.
    #[error("{0}")]
    Refused(String),
    /// Somebody else has changed the cell meanwhile.
    #[error("{chair} in {passage} was changed elsewhere meanwhile; it says now: {}", if .now.is_empty() { "nothing" } else { .now })]
    Conflict {
        /// The passage.
        passage: String,
        /// The chair.
        chair: String,
        /// What its cell says now.
        now: String,
    },
    /// Whoever asked for the work has stopped it.
    #[error("stopped; what was there before is as it was")]
    Stopped,
    /// The machine would not read or write.
    #[error("{}: {}", .path.display(), troubled(.path, .error))]
    Disk {
        /// The file or folder.
        path: PathBuf,
        /// What the machine said.
        error: std::io::Error,
    },
}

impl CueError {
    /// Is it the machine's trouble, and not the input's?
    pub fn is_machine(&self) -> bool {
        match self {
            Self::Disk { error, .. } => !misnamed(error.kind()),
            other => matches!(other, Self::Stopped),
        }
    }
}

/// Would another name or place do?
fn misnamed(kind: std::io::ErrorKind) -> bool {
    use std::io::ErrorKind as Kind;
    matches!(kind, Kind::AlreadyExists | Kind::NotADirectory | Kind::IsADirectory | Kind::InvalidFilename)
}

/// The machine's trouble, and what to do about it.
fn troubled(path: &Path, error: &std::io::Error) -> String {
    if error.kind() == std::io::ErrorKind::PermissionDenied {
        return denied(path);
    }
    // Its number, and the name of what was being written aside, are for programmers.
    let said = error.to_string();
    let said = said.split(" (os error").next().unwrap_or(&said);
    let mut letters = said.chars();
    let first: String = letters.next().map(|c| c.to_lowercase().collect()).unwrap_or_default();
    format!("{first}{}{}", letters.as_str(), advice(error))
}

/// What may not be done, and where: a file that is there may not be read, or else the folder may not be written into.
fn denied(path: &Path) -> String {
    use std::io::ErrorKind::PermissionDenied;
    let is_denied = |error: std::io::Error| error.kind() == PermissionDenied;
    let what = if std::fs::metadata(path).is_err_and(is_denied) {
        "you may not look into the folder it is in".to_string()
    } else if path.is_file() && std::fs::File::open(path).is_err_and(is_denied) {
        return "you may not read this file. Change its permissions, or name another".into();
    } else {
        // Results are written beside what they replace: it is the folder that must let them in.
        let folder = if path.is_dir() { Some(path) } else { path.ancestors().skip(1).find(|p| p.is_dir()) };
        let folder = folder.map_or_else(|| ".".into(), |f| f.display().to_string());
        format!("you may not write into the folder {folder}")
    };
    format!("{what}. Change its permissions, or choose another place; what was there before is as it was")
}

/// What to do about it.
fn advice(error: &std::io::Error) -> &'static str {
    use std::io::ErrorKind;
    match error.kind() {
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => {
            ". There is no room left: free some, or write to another disk; what was there before is as it was"
        }
        ErrorKind::FileTooLarge => {
            ". This disk or account does not take so large a file: write to another disk; what was there before is as it was"
        }
        ErrorKind::ReadOnlyFilesystem => ". This disk cannot be written to: choose another folder",
        ErrorKind::AlreadyExists => {
            ". A file of this name is there where a folder is needed: name another place"
        }
        ErrorKind::NotADirectory => ". A part of this path is a file, not a folder: name another place",
        ErrorKind::IsADirectory => ". This is a folder where a file is needed: add the name of a file",
        ErrorKind::InvalidFilename => ". This name is too long, or not one for this disk: choose another",
        _ => "",
    }
}

fn list(diagnostics: &[Diagnostic]) -> String {
    diagnostics.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wrong_place_is_the_command_lines_fault_and_says_what_to_do() {
        let home = tempfile::tempdir().unwrap();
        let file = home.path().join("file");
        std::fs::write(&file, "x").unwrap();
        let in_file = std::fs::create_dir_all(&file).unwrap_err();
        let below = std::fs::write(file.join("x"), "x").unwrap_err();
        let folder = std::fs::write(home.path(), "x").unwrap_err();
        for (error, advice) in
            [(in_file, "folder is needed"), (below, "not a folder"), (folder, "name of a file")]
        {
            let said = CueError::Disk { path: file.clone(), error };
            assert!(!said.is_machine() && said.to_string().contains(advice), "{said}");
        }
        // What the machine says is put into words of ours: no numbers, no names of what is written aside.
        let said =
            CueError::Disk { path: file.clone(), error: std::io::Error::from_raw_os_error(20) }.to_string();
        assert!(
            said.contains(": not a directory. A part of this path is a file") && !said.contains("os error"),
            "{said}"
        );
        let below = home.path().join("out").join("mix.wav");
        let denied = CueError::Disk { path: below, error: std::io::ErrorKind::PermissionDenied.into() };
        let folder = format!("you may not write into the folder {}.", home.path().display());
        assert!(denied.is_machine() && denied.to_string().contains(&folder), "{denied}");
        let full = CueError::Disk { path: file, error: std::io::ErrorKind::StorageFull.into() };
        assert!(full.is_machine());
    }
}
