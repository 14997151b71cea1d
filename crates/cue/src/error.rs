//! Why a cue cannot be worked on.

use ripieno_formats::FormatError;
use ripieno_plan::Diagnostic;
use std::path::PathBuf;

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
    /// Whoever asked for the work has stopped it.
    #[error("stopped; what was there before is as it was")]
    Stopped,
    /// The machine would not read or write.
    #[error("{}: {error}", .path.display())]
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
        matches!(self, Self::Disk { .. } | Self::Stopped)
    }
}

fn list(diagnostics: &[Diagnostic]) -> String {
    diagnostics.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
}
