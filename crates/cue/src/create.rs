//! Making a cue: from the composer's music, or the demo.

use crate::open::standing;
use crate::{CueError, folder, read_music, source, write_file};
use ripieno_casting::{Draft, DraftOptions, draft_for};
use ripieno_plan::{PlacedCell, Source};
use std::path::{Path, PathBuf};

/// What was made.
#[derive(Clone, Debug)]
pub struct Created {
    /// The cue's folder.
    pub folder: PathBuf,
    /// Chairs that were guessed without certainty, in words.
    pub doubts: Vec<String>,
    /// What was read by a rule, in words.
    pub warnings: Vec<String>,
    /// How many chairs there are.
    pub chairs: usize,
    /// How many passages.
    pub passages: usize,
    /// How many of its cells say `col`, and how many there are.
    pub cols: (usize, usize),
}

/// Makes a cue in `folder` from a music file: the music is copied into it, a plan and a template are written.
///
/// A folder that holds a cue already, or a file of that name, is an error: nothing of the user's is written over.
pub fn create(into: &Path, music: &Path) -> Result<Created, CueError> {
    create_with(into, music, None)
}

/// The same with the composer's own template, which the plan then names: tracks become its chairs by their names, and what was
/// played is read through the chairs' cards.
pub fn create_with(into: &Path, music: &Path, own: Option<&Path>) -> Result<Created, CueError> {
    if into.join("cue.toml").exists() {
        let message =
            "there is a cue here already; choose another folder, or remove its cue.toml".to_string();
        return Err(CueError::Place { path: into.to_path_buf(), message });
    }
    if into.is_file() {
        let message = "this is a file; choose a folder for the cue".to_string();
        return Err(CueError::Place { path: into.to_path_buf(), message });
    }
    let (score, ()) = rayon::join(|| read_music(music), ripieno_instruments::prepare);
    let score = score?;
    if score.tracks.iter().all(|t| t.content.notes.is_empty()) {
        let message =
            "there are no notes in it that a chair could play; see whether the music was exported whole"
                .to_string();
        return Err(CueError::Place { path: music.to_path_buf(), message });
    }
    let there = into.join("template.toml");
    let named =
        own.is_some_and(|p| p.canonicalize().ok().is_some_and(|p| there.canonicalize().ok() == Some(p)));
    if there.exists() && !named {
        let message =
            "there is a template here already; name it with --template, or choose another folder".to_string();
        return Err(CueError::Place { path: there, message });
    }
    let bytes = folder::read(music, "")?;
    // The composer's own session, exported, stands for a template that is still to be written.
    let session = own.filter(|p| p.extension().is_some_and(|e| e.eq_ignore_ascii_case("mid")));
    let made = session.map(crate::template_from_session).transpose()?;
    if let Some(made) = &made {
        write_file(&there, made.text.as_bytes())?;
    }
    let own = if made.is_some() { Some(there.as_path()) } else { own };
    let name = music.file_name().map_or_else(|| "music.mid".into(), |n| n.to_string_lossy().into_owned());
    let own = own.map(|path| standing(path).map(|s| (path, s))).transpose()?;
    let source::Heard { score, plan, chairs, remarks } =
        source::hear(score, own.as_ref().map(|(_, s)| (&s.template, &s.cards)));
    let template_name = match &own {
        Some((path, _)) => beside(into, path),
        None => "template.toml".to_string(),
    };
    let within = own.as_ref().map(|(_, s)| s.template.chairs.iter().map(|c| c.id.clone()).collect());
    let options = DraftOptions { title: None, music: name.clone(), template: template_name, within };
    let Draft { cue, template, doubts } =
        draft_for(&score, &ripieno_discovery::read(&score), &options, &chairs);
    let cue = with_source(cue, &source::text(&plan));
    let copy = into.join(&name);
    let same = copy.canonicalize().ok().zip(music.canonicalize().ok()).is_some_and(|(a, b)| a == b);
    if !same && copy.exists() && folder::read(&copy, "")? != bytes {
        let message = "another file of this name is here already; choose an empty folder".to_string();
        return Err(CueError::Place { path: copy, message });
    }
    if !same {
        write_file(&copy, &bytes)?;
    }
    if own.is_none() {
        write_file(&there, template.as_bytes())?;
    }
    write_file(&into.join("cue.toml"), cue.as_bytes())?;
    let opened = crate::Cue::open(into)?;
    let cells = || opened.plan.passages.iter().flat_map(|p| &p.cells);
    let follows = |cell: &PlacedCell| {
        cell.words.divisions.iter().flatten().any(|turn| matches!(turn.source, Source::Col { .. }))
    };
    Ok(Created {
        folder: into.to_path_buf(),
        doubts,
        warnings: score
            .warnings
            .iter()
            .map(ToString::to_string)
            .chain(remarks)
            .chain(made.into_iter().flat_map(|m| m.doubts))
            .collect(),
        chairs: opened.template.chairs.len(),
        passages: opened.plan.passages.len(),
        cols: (cells().filter(|c| follows(c)).count(), cells().count()),
    })
}

/// The plan with `[source]` before its lines.
fn with_source(cue: String, source: &str) -> String {
    if source.is_empty() {
        return cue;
    }
    match cue.find("\n# One line for each chair") {
        Some(at) => format!("{}{source}{}", &cue[..at], &cue[at..]),
        None => format!("{cue}{source}"),
    }
}

/// The way to a template as the plan names it: relative where it lies in the cue's folder or beside it, else the whole path.
fn beside(into: &Path, template: &Path) -> String {
    let whole =
        |p: &Path| p.canonicalize().or_else(|_| std::path::absolute(p)).unwrap_or_else(|_| p.to_path_buf());
    let (folder, file) = (whole(into), whole(template));
    let shown = |p: &Path| p.display().to_string().replace('\\', "/");
    if let Ok(inside) = file.strip_prefix(&folder) {
        return shown(inside);
    }
    match folder.parent().and_then(|up| file.strip_prefix(up).ok()) {
        Some(near) => format!("../{}", shown(near)),
        None => shown(&file),
    }
}

include!(concat!(env!("OUT_DIR"), "/demo.rs"));

/// The files of the demo cue, by their paths in its folder.
pub fn demo_files() -> &'static [(&'static str, &'static [u8])] {
    DEMO
}

/// Writes the demo cue. In a cue that is there already inputs are kept; a folder with anything else in it is an error.
pub fn write_demo(into: &Path) -> Result<(), CueError> {
    let place = |message: &str| CueError::Place { path: into.to_path_buf(), message: message.to_string() };
    if into.is_file() {
        return Err(place("this is a file; choose a folder for the demo"));
    }
    if into.is_dir() && !into.join("cue.toml").is_file() {
        let mut entries =
            std::fs::read_dir(into).map_err(|error| CueError::Disk { path: into.into(), error })?;
        if entries.next().is_some() {
            return Err(place("this folder holds other files and no cue; choose an empty or a new one"));
        }
    }
    for (name, bytes) in DEMO {
        let path = into.join(name);
        if !path.exists() {
            write_file(&path, bytes)?;
        }
    }
    Ok(())
}
