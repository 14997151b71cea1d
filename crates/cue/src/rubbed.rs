//! Pencil marks changed or rubbed out by mistake: the marks before the last change come back.

use crate::{Cue, CueError, folder};

/// Puts back the pencil marks that stood before the last change of them; those of now are then kept in their place, so that a second
/// time undoes the first.
///
/// Errors: there was no change here; the disk.
pub fn pencil_back(cue: &Cue) -> Result<(), CueError> {
    let kept = cue.folder.join(".ripieno");
    let (path, before) = (cue.folder.join("pencil.toml"), kept.join("pencil-before.toml"));
    if !before.is_file() {
        return Err(CueError::Refused(
            "no pencil mark was rubbed out here; there is nothing to put back".into(),
        ));
    }
    let old = folder::read_text(&before, "")?;
    let now = if path.exists() { folder::read_text(&path, "")? } else { String::new() };
    // Both stand on the disk at every moment: those of now go aside before the old ones take their place.
    let aside = kept.join("pencil-aside.toml");
    let disk = |error| CueError::Disk { path: aside.clone(), error };
    if aside.is_file() && now == old {
        // An earlier exchange was cut off before its last step.
        return std::fs::rename(&aside, &before).map_err(disk);
    }
    folder::write_file(&aside, now.as_bytes())?;
    folder::write_file(&path, old.as_bytes())?;
    std::fs::rename(&aside, &before).map_err(disk)
}
