//! Results that stand beside the user's own files: none is ever written over what a cue is made from, and what somebody has
//! changed by hand is kept.

use crate::{Cue, CueError, folder};
use ripieno_plan::{HallKind, Origin};
use std::path::{Path, PathBuf};

/// Everything that a cue is made from, as it was named and where it stands, with what it is to the cue.
fn inputs(cue: &Cue) -> Vec<(PathBuf, String)> {
    let beside = cue.beside_template();
    let mut all = vec![
        (cue.plan_path.clone(), "the cue's plan".to_string()),
        (cue.template_path.clone(), "the cue's template".to_string()),
        (cue.folder.join(&cue.plan.music), "the cue's own music".to_string()),
        (cue.folder.join("pencil.toml"), "the cue's pencil marks".to_string()),
    ];
    for chair in &cue.template.chairs {
        all.extend(chair.cards.iter().map(|c| (beside.join(c), format!("a patch card of {}", chair.id))));
        match &chair.origin {
            Origin::Print { path, .. } => {
                all.push((cue.print_path(path), format!("the print of {}", chair.id)))
            }
            Origin::Font(font) => {
                all.push((beside.join(&font.file), format!("the SoundFont of {}", chair.id)))
            }
            Origin::House => {}
        }
    }
    for hall in &cue.template.stage.halls {
        if let HallKind::Impulse { path, .. } = &hall.kind {
            all.push((beside.join(path), format!("the impulse response of the hall {}", hall.name)));
        }
    }
    all
}

/// Refuses results at the place of a file that the cue is made from, before any is written.
pub(crate) fn spare<'p>(cue: &Cue, results: impl IntoIterator<Item = &'p Path>) -> Result<(), CueError> {
    let real = |path: &Path| path.canonicalize().ok();
    let inputs: Vec<(PathBuf, String)> =
        inputs(cue).into_iter().filter_map(|(path, what)| Some((real(&path)?, what))).collect();
    for result in results {
        let Some(there) = real(result) else { continue };
        if let Some((_, what)) = inputs.iter().find(|(input, _)| *input == there) {
            return Err(CueError::Refused(format!(
                "{}: this file is {what}, which the result would replace. Nothing was written; give it another name or place",
                result.display()
            )));
        }
    }
    Ok(())
}

/// Writes a result of a cue whole, as [`crate::write_file`] does.
///
/// Errors: a file that the cue is made from stands there; the disk.
pub fn write_result(cue: &Cue, path: &Path, bytes: &[u8]) -> Result<(), CueError> {
    spare(cue, [path])?;
    crate::write_file(path, bytes)
}

/// Moves a result that somebody has changed by hand out of the way of a new one: `mix.wav` becomes `mix.by-hand.wav`, or
/// `mix.by-hand-2.wav` where there is one already. Gives its new name.
pub(crate) fn keep_by_hand(path: &Path) -> Result<String, CueError> {
    let part = |part: Option<&std::ffi::OsStr>| part.map(|s| s.to_string_lossy().into_owned());
    let (stem, ending) = (part(path.file_stem()).unwrap_or_default(), part(path.extension()));
    let disk = |error| CueError::Disk { path: path.to_path_buf(), error };
    for n in 1..10_000 {
        let mut name = format!("{stem}.by-hand");
        if n > 1 {
            name += &format!("-{n}");
        }
        if let Some(ending) = &ending {
            name += &format!(".{ending}");
        }
        let to = folder::parent(path).join(&name);
        if !to.exists() {
            std::fs::rename(path, &to).map_err(disk)?;
            return Ok(name);
        }
    }
    let message = "too many copies of this file that were changed by hand; move them away".to_string();
    Err(CueError::Place { path: path.to_path_buf(), message })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::write_demo;

    #[test]
    fn no_input_is_written_over() {
        let home = tempfile::tempdir().unwrap();
        let folder = home.path().join("demo");
        write_demo(&folder).unwrap();
        let cue = Cue::open(&folder).unwrap();
        let card = cue.template.chairs.iter().find_map(|c| c.cards.first()).unwrap();
        let files = ["cue.toml", "template.toml", cue.plan.music.as_str(), card.as_str()];
        for name in files {
            // By any way to it.
            let path = folder.join("cards/..").join(name);
            let before = std::fs::read(&path).unwrap();
            let refused = write_result(&cue, &path, b"result");
            assert!(
                matches!(&refused, Err(CueError::Refused(m)) if m.contains("Nothing was written")),
                "{name}: {refused:?}"
            );
            assert_eq!(std::fs::read(&path).unwrap(), before);
        }
        write_result(&cue, &folder.join("performed.mid"), b"result").unwrap();
        write_result(&cue, &folder.join("performed.mid"), b"again").unwrap();
    }

    #[test]
    fn what_was_changed_by_hand_has_a_name_of_its_own() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.b.txt");
        for (text, name) in [("1", "a.b.by-hand.txt"), ("2", "a.b.by-hand-2.txt")] {
            std::fs::write(&path, text).unwrap();
            assert_eq!(keep_by_hand(&path).unwrap(), name);
            assert_eq!(std::fs::read_to_string(folder.path().join(name)).unwrap(), text);
            assert!(!path.exists());
        }
    }
}
