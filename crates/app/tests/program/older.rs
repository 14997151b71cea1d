//! A cue folder that an older version made: it opens, or what to change is said to the line.
//!
//! `older/first` is the demo as the first version wrote it; its music has not changed since and is taken from there.

use super::printed::{ripieno, text};
use std::path::{Path, PathBuf};

/// Copies a folder with all in it.
pub fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap().map(Result::unwrap) {
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &target)
        } else {
            assert!(std::fs::copy(entry.path(), target).is_ok())
        }
    }
}

/// Every file that is the user's, with its bytes.
fn owned(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let cards = std::fs::read_dir(folder.join("cards")).unwrap().map(|e| e.unwrap().path());
    let mut all: Vec<PathBuf> = cards.chain(["cue.toml", "template.toml"].map(|f| folder.join(f))).collect();
    all.sort();
    all.into_iter().map(|p| (p.clone(), std::fs::read(p).unwrap())).collect()
}

fn first() -> (tempfile::TempDir, PathBuf) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let folder = tempfile::tempdir().unwrap();
    let cue = folder.path().join("night-ferry");
    copy(&root.join("tests/program/older/first"), &cue);
    std::fs::copy(root.join("../../demo/night-ferry/night-ferry.musicxml"), cue.join("night-ferry.musicxml"))
        .unwrap();
    (folder, cue)
}

#[test]
fn the_first_demo_opens_and_stays_as_it_was() {
    let (folder, cue) = first();
    let before = owned(&cue);
    for words in [&["check"][..], &["perform"], &["score"], &["report"], &["fit"]] {
        let done = ripieno(folder.path(), &[words, &["night-ferry"]].concat());
        let said = text(&done.stderr) + &text(&done.stdout);
        // There is no picture in it, and `fit` says what to write.
        match words[0] {
            "fit" => assert!(done.status.code() == Some(2) && said.contains("[picture]"), "{said}"),
            _ => assert!(done.status.success(), "{words:?}: {said}"),
        }
    }
    assert!(owned(&cue) == before, "a file of the user's was changed");
    // What it performs comes back without a mark.
    let done = ripieno(folder.path(), &["adopt", "night-ferry", "night-ferry/performed.mid"]);
    assert!(done.status.success(), "{}", text(&done.stderr));
    assert!(!cue.join("pencil.toml").exists(), "{}", text(&done.stdout));
}

#[test]
fn what_another_version_kept_for_itself_does_no_harm() {
    let (folder, cue) = first();
    assert!(ripieno(folder.path(), &["perform", "night-ferry"]).status.success());
    let performed = std::fs::read(cue.join("performed.mid")).unwrap();
    let kept: Vec<PathBuf> =
        std::fs::read_dir(cue.join(".ripieno")).unwrap().map(|e| e.unwrap().path()).collect();
    assert!(kept.iter().any(|p| p.ends_with("written-1.txt")), "{kept:?}");
    for path in kept.iter().filter(|p| p.is_file()) {
        std::fs::write(path, "ripieno, of another time\n\u{0}\u{1}").unwrap();
    }
    for words in [["check", "night-ferry"], ["perform", "night-ferry"]] {
        let done = ripieno(folder.path(), &words);
        assert!(done.status.success(), "{words:?}: {}", text(&done.stderr));
    }
    assert!(std::fs::read(cue.join("performed.mid")).unwrap() == performed);
}

#[test]
fn a_key_that_is_not_known_is_named_with_its_line() {
    for (file, from, to, wanted) in [
        ("cue.toml", "seed     = 7", "seed     = 7\nsead     = 8", &["cue.toml:10", "sead", "seed"][..]),
        ("cue.toml", "[performance]", "[performanse]", &["cue.toml:11", "performanse", "performance"]),
        ("template.toml", "[chair.piccolo]", "[chairs.piccolo]", &["template.toml:11", "chairs", "chair"]),
    ] {
        let (folder, cue) = first();
        let path = cue.join(file);
        let before = std::fs::read_to_string(&path).unwrap();
        assert!(before.contains(from), "{file} has no {from}");
        std::fs::write(&path, before.replacen(from, to, 1)).unwrap();
        let done = ripieno(folder.path(), &["check", "night-ferry"]);
        let said = text(&done.stderr);
        assert_eq!(done.status.code(), Some(2), "{said}");
        assert!(wanted.iter().all(|w| said.contains(w)), "{said}");
    }
}
