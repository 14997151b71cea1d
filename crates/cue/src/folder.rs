//! Reading and writing files of a cue.

use crate::CueError;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

/// The largest file that is read: no music or plan comes near it.
const MOST_BYTES: u64 = 512 << 20;

/// Reads a file whole.
pub(crate) fn read(path: &Path, remedy: &str) -> Result<Vec<u8>, CueError> {
    let disk = |error: std::io::Error| {
        if error.kind() == std::io::ErrorKind::NotFound {
            CueError::Missing { path: path.to_path_buf(), remedy: remedy.to_string() }
        } else {
            CueError::Disk { path: path.to_path_buf(), error }
        }
    };
    let place = |message: String| CueError::Place { path: path.to_path_buf(), message };
    let large = |bytes: u64| {
        place(format!("{} MB are more than any music; the most is {} MB", bytes >> 20, MOST_BYTES >> 20))
    };
    let meta = std::fs::metadata(path)
        .map_err(|error| leads_nowhere(path, remedy).unwrap_or_else(|| disk(error)))?;
    if meta.is_dir() {
        return Err(place(format!("this is a folder, not a file. {remedy}").trim_end().into()));
    }
    // A device never ends and a pipe may never begin: neither is even opened.
    if !meta.is_file() {
        return Err(place(
            "this is a device or a pipe, not a file; copy what it gives into a file first".into(),
        ));
    }
    if meta.len() > MOST_BYTES {
        return Err(large(meta.len()));
    }
    // What is said of the length may change, or not be so.
    let mut bytes = Vec::new();
    std::fs::File::open(path)
        .and_then(|file| file.take(MOST_BYTES + 1).read_to_end(&mut bytes))
        .map_err(disk)?;
    let read = bytes.len() as u64;
    if read > MOST_BYTES { Err(large(read)) } else { Ok(bytes) }
}

/// Says of a link where it leads, if nothing is there.
pub(crate) fn leads_nowhere(path: &Path, remedy: &str) -> Option<CueError> {
    let to = std::fs::read_link(path).ok().filter(|_| !path.exists())?;
    let message = format!("this is a link to {}, and there is no such file. {remedy}", to.display());
    Some(CueError::Place { path: path.to_path_buf(), message: message.trim_end().into() })
}

/// Does a file begin as music does: MIDI, MusicXML, or MusicXML that is packed? No text that Ripieno reads begins so.
fn is_music(bytes: &[u8]) -> bool {
    let text = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes).trim_ascii_start();
    let starts = [&b"MThd"[..], b"PK\x03\x04", b"<?xml", b"<!DOCTYPE score", b"<score-"];
    starts.iter().any(|start| text.starts_with(start)) || bytes.get(8..12) == Some(b"RMID")
}

/// Reads a text file; music, and what is not UTF-8, is an error, which for the latter names the byte.
pub(crate) fn read_text(path: &Path, remedy: &str) -> Result<String, CueError> {
    let bytes = read(path, remedy)?;
    if is_music(&bytes) {
        let file = path.display();
        let message = format!(
            "this is music (MIDI or MusicXML), and a text file is wanted. {remedy} `ripieno read {file}` looks at music"
        );
        return Err(CueError::Place { path: path.to_path_buf(), message });
    }
    if let Some(what) = ripieno_formats::kind(&bytes) {
        let message = format!("this is {what}, and a text file is wanted. {remedy}");
        return Err(CueError::Place { path: path.to_path_buf(), message: message.trim_end().into() });
    }
    String::from_utf8(bytes).map_err(|e| CueError::Place {
        path: path.to_path_buf(),
        message: format!(
            "not a text in UTF-8 from byte {} on; save it as UTF-8 in a text editor",
            e.utf8_error().valid_up_to()
        ),
    })
}

/// Writes a file whole: aside, synced, renamed over the old one, the folder synced too. A link is followed: what it leads to is
/// written. A file that is there keeps who may read and write it.
pub fn write_file(path: &Path, bytes: &[u8]) -> Result<(), CueError> {
    let disk = |error| CueError::Disk { path: path.to_path_buf(), error };
    let path = &path.canonicalize().unwrap_or_else(|_| path.to_path_buf());
    let folder = parent(path);
    std::fs::create_dir_all(&folder).map_err(disk)?;
    let mut file = tempfile::NamedTempFile::new_in(&folder).map_err(disk)?;
    file.write_all(bytes).map_err(disk)?;
    match std::fs::metadata(path) {
        Ok(meta) => file.as_file().set_permissions(meta.permissions()).map_err(disk)?,
        Err(_) => readable(file.as_file()),
    }
    file.as_file().sync_all().map_err(disk)?;
    file.persist(path).map_err(|e| disk(e.error))?;
    if let Ok(folder) = std::fs::File::open(&folder) {
        // Not every file system lets a folder be synced; the file itself is safe by then.
        let _ = folder.sync_all();
    }
    Ok(())
}

/// Temporary files are the user's alone; what becomes a result is as other files are.
#[cfg(unix)]
pub(crate) fn readable(file: &std::fs::File) {
    use std::os::unix::fs::PermissionsExt;
    let _ = file.set_permissions(std::fs::Permissions::from_mode(0o644));
}

#[cfg(not(unix))]
pub(crate) fn readable(_file: &std::fs::File) {}

/// Length and time of the last change of a file, as a word; empty for none.
pub(crate) fn stamp(path: &Path) -> String {
    let Ok(meta) = std::fs::metadata(path) else { return String::new() };
    let time = meta.modified().ok().and_then(|t| t.duration_since(std::time::UNIX_EPOCH).ok());
    format!("{}-{}", meta.len(), time.map_or(0, |t| t.as_nanos()))
}

pub(crate) fn parent(path: &Path) -> PathBuf {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder.to_path_buf(),
        _ => PathBuf::from("."),
    }
}

#[cfg(test)]
mod tests {
    #[cfg(unix)]
    #[test]
    fn devices_and_pipes_are_not_read() {
        let home = tempfile::tempdir().unwrap();
        let pipe = home.path().join("pipe");
        assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
        let (say, said) = std::sync::mpsc::channel();
        std::thread::spawn(move || {
            for path in [pipe.as_path(), std::path::Path::new("/dev/null")] {
                let _ = say.send(super::read(path, "").map_err(|e| e.to_string()));
            }
        });
        for _ in 0..2 {
            let result = said.recv_timeout(std::time::Duration::from_secs(20)).expect("it waits for ever");
            assert!(result.unwrap_err().contains("a device or a pipe"));
        }
    }

    #[test]
    fn files_are_read_whole() {
        let home = tempfile::tempdir().unwrap();
        let path = home.path().join("plan");
        super::write_file(&path, b"music").unwrap();
        assert_eq!(super::read(&path, "").unwrap(), b"music");
        let folder = super::read(home.path(), "Name a file.").unwrap_err().to_string();
        assert!(folder.ends_with("a folder, not a file. Name a file."), "{folder}");
    }

    #[test]
    fn what_is_of_another_kind_is_called_by_it() {
        let home = tempfile::tempdir().unwrap();
        let path = home.path().join("x");
        for (bytes, what) in [
            (&b"%PDF-1.7\n"[..], "a PDF"),
            (b"RIFF\0\0\0\0WAVE", "a sound recording (WAV)"),
            (b"\x89PNG\r\n\x1a\n", "a picture"),
        ] {
            std::fs::write(&path, bytes).unwrap();
            let said = super::read_text(&path, "Name a plan.").unwrap_err().to_string();
            assert!(said.contains(what) && said.contains("Name a plan."), "{said}");
        }
    }

    #[cfg(unix)]
    #[test]
    fn a_link_that_leads_nowhere_says_where_it_leads() {
        let home = tempfile::tempdir().unwrap();
        let path = home.path().join("cue.toml");
        std::os::unix::fs::symlink("gone.toml", &path).unwrap();
        let said = super::read(&path, "Name a plan.").unwrap_err().to_string();
        assert!(said.contains("a link to gone.toml") && said.contains("Name a plan."), "{said}");
    }

    #[test]
    fn music_is_no_text() {
        let home = tempfile::tempdir().unwrap();
        let path = home.path().join("x");
        for music in [
            &b"MThd\0\0\0\x06"[..],
            b"PK\x03\x04x",
            b"\xEF\xBB\xBF\n<?xml version=\"1.0\"?>",
            b"<score-partwise>",
        ] {
            std::fs::write(&path, music).unwrap();
            let said = super::read_text(&path, "Name a plan.").unwrap_err().to_string();
            assert!(said.contains("this is music") && said.contains("Name a plan."), "{said}");
        }
        std::fs::write(&path, "[cue]\ntitle = \"<?xml\"\n").unwrap();
        assert!(super::read_text(&path, "").is_ok());
    }
}
