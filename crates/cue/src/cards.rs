//! Patch cards that the composer edits or writes on the page. A card is written to only when the composer saves it, never over
//! what somebody else has changed meanwhile, and only inside the folders of the cue and of its template.

use crate::{Cue, CueError, Replaced, SharedFile, folder};
use ripieno_plan::{Diagnostic, PatchCard};
use std::path::{Path, PathBuf};

/// Longest name of a card's file, letters.
const LONGEST_NAME: usize = 60;

/// Where a card of the template stands. Errors: the template names no such card.
fn place(cue: &Cue, file: &str) -> Result<PathBuf, CueError> {
    if cue.template.chairs.iter().any(|c| c.cards.iter().any(|n| n == file)) {
        return Ok(cue.beside_template().join(file));
    }
    Err(CueError::Refused(format!("no chair of the template has the card {file}")))
}

/// The text of a card that the template names.
pub fn read(cue: &Cue, file: &str) -> Result<String, CueError> {
    folder::read_text(&place(cue, file)?, "The template names it; put it back.")
}

/// Where a card stands, if it may be written: inside the cue's folder or the template's.
pub fn writable(cue: &Cue, file: &str) -> Result<PathBuf, CueError> {
    let path = place(cue, file)?;
    let whole = |p: &Path| p.canonicalize().map_err(|error| CueError::Disk { path: p.to_path_buf(), error });
    let real = whole(&path)?;
    let folders = [whole(&cue.folder)?, whole(&cue.beside_template())?];
    if folders.iter().any(|f| real.starts_with(f)) {
        return Ok(real);
    }
    let message = "this card lies outside the cue and its template, and is not written to from here; edit it where it is";
    Err(CueError::Place { path, message: message.into() })
}

/// Saves a card that was opened as `was`; the version before is kept in the cue's `.ripieno` folder.
///
/// Errors: the text is no sound card; the file was changed elsewhere meanwhile; it lies outside.
pub fn save_card(cue: &Cue, file: &str, text: &str, was: &str) -> Result<(), CueError> {
    let path = writable(cue, file)?;
    sound(file, text)?;
    let name: String = file.chars().map(|c| if c.is_alphanumeric() || c == '.' { c } else { '-' }).collect();
    let before = cue.folder.join(".ripieno").join(format!("before-{name}"));
    let other = || {
        CueError::Refused(format!(
            "{file} was changed elsewhere meanwhile and is left as it is; copy your text, open the card again, and make the change to what is there"
        ))
    };
    if folder::read_text(&path, "The template names it; put it back.")? != was {
        return Err(other());
    }
    match SharedFile::new(&path, was.to_string()).replace(was, text, &before)? {
        Replaced::Done => Ok(()),
        Replaced::Meanwhile => Err(other()),
    }
}

/// Writes a new card beside the template; gives its file as the template is to name it. Never writes over a file.
///
/// Errors: a name without letters; a text that is no sound card; the folder cannot be written.
pub fn new_card(cue: &Cue, name: &str, text: &str) -> Result<String, CueError> {
    let plain = |c: char| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' };
    let slug: String = name.trim().chars().map(plain).take(LONGEST_NAME).collect();
    let slug = slug.split('-').filter(|p| !p.is_empty()).collect::<Vec<_>>().join("-");
    if slug.is_empty() {
        return Err(CueError::Refused("the card needs a name with letters, for its file".into()));
    }
    sound(&format!("cards/{slug}.toml"), text)?;
    let folder = cue.beside_template().join("cards");
    let disk = |path: &Path, error| CueError::Disk { path: path.to_path_buf(), error };
    std::fs::create_dir_all(&folder).map_err(|e| disk(&folder, e))?;
    for n in 1..1000 {
        let stem = if n == 1 { slug.clone() } else { format!("{slug}-{n}") };
        let path = folder.join(format!("{stem}.toml"));
        // Created only if there is none: two pages may ask at once.
        match std::fs::OpenOptions::new().write(true).create_new(true).open(&path) {
            Ok(file) => {
                drop(file);
                folder::write_file(&path, text.as_bytes())?;
                return Ok(format!("cards/{stem}.toml"));
            }
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {}
            Err(e) => return Err(disk(&path, e)),
        }
    }
    Err(CueError::Refused(format!("there are too many cards called {slug}; choose another name")))
}

/// A card that has errors is not written: the cue could not be opened with it.
fn sound(file: &str, text: &str) -> Result<(), CueError> {
    let faults: Vec<Diagnostic> = PatchCard::parse(file, text).1.into_iter().filter(|f| !f.warning).collect();
    if faults.is_empty() { Ok(()) } else { Err(CueError::Written(faults)) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::write_demo;

    const CARD: &str = "patch = \"x\"\ninstrument = \"flute\"\n[[articulation]]\nname = \"sustain\"\n";

    #[test]
    fn a_card_is_saved_once_and_never_over_a_stranger() {
        let home = tempfile::tempdir().unwrap();
        let folder = home.path().join("demo");
        write_demo(&folder).unwrap();
        let cue = Cue::open(&folder).unwrap();
        let file = "cards/quay-flutes.toml";
        let was = read(&cue, file).unwrap();
        save_card(&cue, file, CARD, &was).unwrap();
        assert_eq!(read(&cue, file).unwrap(), CARD);
        let kept = std::fs::read_to_string(folder.join(".ripieno/before-cards-quay-flutes.toml")).unwrap();
        assert_eq!(kept, was);
        // From an older copy: refused, and nothing is changed.
        assert!(save_card(&cue, file, "patch = \"y\"", &was).is_err());
        assert!(save_card(&cue, file, "patch = ", CARD).is_err());
        assert_eq!(read(&cue, file).unwrap(), CARD);
        assert!(save_card(&cue, "../../other.toml", CARD, "").is_err());
        // New ones beside the old ones.
        let first = new_card(&cue, "My Flute!", CARD).unwrap();
        let second = new_card(&cue, "my/flute", CARD).unwrap();
        assert_eq!([first.as_str(), second.as_str()], ["cards/my-flute.toml", "cards/my-flute-2.toml"]);
        assert!(new_card(&cue, "../", CARD).is_err() && new_card(&cue, "a", "[[").is_err());
        assert!(!folder.join("cards/a.toml").exists());
    }

    #[cfg(unix)]
    #[test]
    fn a_card_that_lies_elsewhere_is_read_and_not_written() {
        let home = tempfile::tempdir().unwrap();
        let folder = home.path().join("demo");
        write_demo(&folder).unwrap();
        let (inside, outside) = (folder.join("cards/quay-flutes.toml"), home.path().join("outside.toml"));
        std::fs::rename(&inside, &outside).unwrap();
        std::os::unix::fs::symlink(&outside, &inside).unwrap();
        let cue = Cue::open(&folder).unwrap();
        let was = read(&cue, "cards/quay-flutes.toml").unwrap();
        let error = save_card(&cue, "cards/quay-flutes.toml", CARD, &was).unwrap_err().to_string();
        assert!(error.contains("outside"), "{error}");
        assert_eq!(std::fs::read_to_string(&outside).unwrap(), was);
    }
}
