//! Pencil marks rubbed out by mistake: the marks before the last change come back.

use crate::{Cue, CueError, folder};

/// Puts back the pencil marks that stood before the last change of them; those of now are then kept in their place, so that a second
/// time undoes the first.
///
/// Errors: nothing was rubbed out here; the disk.
pub fn pencil_back(cue: &Cue) -> Result<(), CueError> {
    let (path, before) =
        (cue.folder.join("pencil.toml"), cue.folder.join(".ripieno").join("pencil-before.toml"));
    if !before.is_file() {
        return Err(CueError::Refused(
            "no pencil mark was rubbed out here; there is nothing to put back".into(),
        ));
    }
    let old = folder::read_text(&before, "")?;
    let now = if path.exists() { folder::read_text(&path, "")? } else { String::new() };
    folder::write_file(&path, old.as_bytes())?;
    folder::write_file(&before, now.as_bytes())
}
