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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::write_demo;

    #[test]
    fn twice_is_as_before_and_a_cut_exchange_is_ended() {
        let home = tempfile::tempdir().unwrap();
        write_demo(home.path()).unwrap();
        let cue = Cue::open(home.path()).unwrap();
        let (path, kept) = (home.path().join("pencil.toml"), home.path().join(".ripieno"));
        let both = |now: &str, before: &str| {
            folder::write_file(&path, now.as_bytes()).unwrap();
            folder::write_file(&kept.join("pencil-before.toml"), before.as_bytes()).unwrap();
        };
        let says = |name: &std::path::Path| std::fs::read_to_string(name).unwrap();
        both("# now\n", "# old\n");
        pencil_back(&cue).unwrap();
        assert_eq!(
            (says(&path), says(&kept.join("pencil-before.toml"))),
            ("# old\n".into(), "# now\n".into())
        );
        pencil_back(&cue).unwrap();
        assert_eq!(
            (says(&path), says(&kept.join("pencil-before.toml"))),
            ("# now\n".into(), "# old\n".into())
        );
        // Cut off when the old marks were back and those of now still aside.
        both("# old\n", "# old\n");
        folder::write_file(&kept.join("pencil-aside.toml"), b"# now\n").unwrap();
        pencil_back(&cue).unwrap();
        assert_eq!(
            (says(&path), says(&kept.join("pencil-before.toml"))),
            ("# old\n".into(), "# now\n".into())
        );
        assert!(!kept.join("pencil-aside.toml").exists());
    }
}
