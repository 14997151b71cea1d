//! Files of other kinds than are wanted, and places that may not be read or written.

use crate::printed::{cue, ripieno, text};
use std::path::Path;

/// Ends with this code and without a panic, and says each of these words.
fn says(folder: &Path, words: &[&str], code: i32, wanted: &[&str]) {
    let done = ripieno(folder, words);
    let said = text(&done.stderr);
    assert_eq!(done.status.code(), Some(code), "{words:?}: {said}");
    assert!(!said.contains("panicked") && !said.contains("os error"), "{words:?}: {said}");
    for word in wanted {
        assert!(said.contains(word), "{words:?}: {word}: {said}");
    }
}

/// Each is called by what it is, with its name and what to do; nothing is left behind.
#[test]
fn a_file_of_another_kind_is_called_by_it() {
    let made = cue("tune.musicxml");
    let folder = made.path();
    let kinds: [(&str, &[u8], &str); 6] = [
        (
            "a.wav",
            b"RIFF\x24\0\0\0WAVEfmt \x10\0\0\0\x01\0\x01\0\x40\x1f\0\0\x80\x3e\0\0\x02\0\x10\0",
            "a sound recording (WAV)",
        ),
        ("a.pdf", b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n", "a PDF"),
        ("a.png", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "a picture (PNG)"),
        ("a.flac", b"fLaC\0\0\0\x22", "a sound recording (FLAC)"),
        ("a.gz", b"\x1f\x8b\x08\0\0\0\0\0", "an archive (gzip)"),
        ("a.mp4", b"\0\0\0\x20ftypisom", "a film or a sound recording"),
    ];
    for (name, bytes, what) in kinds {
        std::fs::write(folder.join(name), bytes).unwrap();
        says(folder, &["read", name], 2, &[name, what, "Export the music as .mid, .musicxml or .mxl"]);
        says(folder, &["new", "x", "--music", name], 2, &[name, what, "Export"]);
        says(folder, &["adopt", "cue", name], 2, &[name, what, "no MIDI file", "Export"]);
        says(folder, &["check", name], 2, &[name, what, "Make a cue with `ripieno new"]);
        says(folder, &["patch", name], 2, &[name, what, "Name a patch card"]);
    }
    std::fs::write(folder.join("empty"), b"").unwrap();
    says(folder, &["read", "empty"], 2, &["it is empty", "Export"]);
    says(folder, &["adopt", "cue", "empty"], 2, &["it is empty", "Export"]);
    says(folder, &["check", "empty"], 2, &["empty", "music ="]);
    std::fs::write(folder.join("words.txt"), "hello there").unwrap();
    says(folder, &["read", "words.txt"], 2, &["a text that begins with “hello there”"]);
    std::fs::write(folder.join("cut.mxl"), b"PK\x03\x04\x14\0\0\0").unwrap();
    says(folder, &["read", "cut.mxl"], 2, &["it breaks off", "Export it again"]);
    std::fs::create_dir(folder.join("empty-folder")).unwrap();
    says(folder, &["read", "empty-folder"], 2, &["this is a folder"]);
    says(folder, &["check", "nowhere"], 2, &["nowhere: there is no such", "ripieno new"]);
    assert!(!folder.join("x").exists());
}

/// What is wrong in a plan is said, and not that its template is not where nobody said it is.
#[test]
fn a_plan_that_cannot_be_read_is_said_before_its_template() {
    let made = cue("tune.musicxml");
    let folder = made.path();
    std::fs::write(folder.join("lone.toml"), "[cue\nmusic = \"tune.musicxml\"\n").unwrap();
    says(folder, &["check", "lone.toml"], 2, &["lone.toml:1:"]);
    std::fs::write(folder.join("lone.toml"), "[cue]\nmusic = \"tune.musicxml\"\n").unwrap();
    says(folder, &["check", "lone.toml"], 2, &["template.toml: there is no such file", "[cue] template"]);
}

/// Of a template it is not said that all its files are there where they are not.
#[test]
fn sounds_that_are_not_beside_the_template_are_named() {
    let made = cue("tune.musicxml");
    let folder = made.path();
    let path = folder.join("cue/template.toml");
    let text_of = std::fs::read_to_string(&path).unwrap();
    let said = |words: &str| {
        std::fs::write(
            &path,
            text_of.replacen("instrument = \"flute\"", &format!("instrument = \"flute\"\n{words}"), 1),
        )
        .unwrap();
        let done = ripieno(folder, &["template", "cue/template.toml"]);
        assert!(done.status.success(), "{}", text(&done.stderr));
        text(&done.stdout) + &text(&done.stderr)
    };
    assert!(text_of.contains("instrument = \"flute\""), "{text_of}");
    assert!(said("").contains("every file that it names is there"));
    for (words, what) in [
        ("print = \"x.wav\"", "the print of"),
        ("font = { file = \"x.sf2\", preset = [0, 73] }", "the SoundFont of"),
    ] {
        let told = said(words);
        assert!(told.contains(what) && told.contains("`x.") && !told.contains("every file"), "{told}");
    }
}

#[cfg(unix)]
mod unix {
    use super::*;
    use std::os::unix::fs::{PermissionsExt, symlink};

    #[test]
    fn a_link_that_leads_nowhere_says_where_it_leads() {
        let made = cue("tune.musicxml");
        let folder = made.path();
        symlink("gone.mid", folder.join("link.mid")).unwrap();
        says(folder, &["read", "link.mid"], 2, &["link.mid: this is a link to gone.mid", "Name a MIDI file"]);
        says(folder, &["check", "link.mid"], 2, &["link.mid: this is a link to gone.mid", "ripieno new"]);
    }

    /// A folder that may be read only: what is not written there is said with the folder, and the cue is as it was.
    #[test]
    fn a_folder_that_may_not_be_written_into_is_named() {
        let made = cue("tune.musicxml");
        let folder = made.path();
        let mode = |path: &str, mode: u32| {
            std::fs::set_permissions(folder.join(path), std::fs::Permissions::from_mode(mode)).unwrap();
        };
        mode("tune.musicxml", 0o000);
        if std::fs::File::open(folder.join("tune.musicxml")).is_ok() {
            // Who may do everything learns nothing here.
            return;
        }
        says(folder, &["read", "tune.musicxml"], 3, &["tune.musicxml: you may not read this file"]);
        mode("tune.musicxml", 0o644);
        let texts =
            || ["cue.toml", "template.toml"].map(|n| std::fs::read(folder.join("cue").join(n)).unwrap());
        let before = texts();
        mode("cue", 0o555);
        let denied = ["you may not write into the folder cue.", "choose another place"];
        for words in [&["perform", "cue"][..], &["deliver", "cue"], &["report", "cue"], &["score", "cue"]] {
            says(folder, words, 3, &denied);
        }
        says(folder, &["new", "cue/inside", "--music", "tune.musicxml"], 3, &denied[..1]);
        let checked = ripieno(folder, &["check", "cue"]);
        assert!(checked.status.success(), "{}", text(&checked.stderr));
        mode("cue", 0o755);
        assert_eq!(texts(), before);
    }
}
