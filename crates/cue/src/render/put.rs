//! Rendered files put where they belong: all of a folder belong together, and nothing of the user's is touched.

use super::jobs::Chair;
use super::kept::{self, Kept};
use super::{mixdown, place};
use crate::outputs::{keep_by_hand, spare};
use crate::{Cue, CueError, folder};
use rayon::prelude::*;
use ripieno_formats::wav::SampleFormat;
use ripieno_plan::Bits;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// The list of files that the render before has put into a folder, each with its stamp.
const LIST: &str = "rendered.txt";
const MIX: &str = "mix.wav";
const COPY: &str = "listening.wav";
/// The mix by another name: it is what stands before the master of the copy.
const BEFORE_MASTER: &str = "mix-before-master.wav";
/// A file of the list that is ours, whatever its stamp is.
const ANY: &str = "-";

/// By name the stamp.
type List = BTreeMap<String, String>;

fn list_of(into: &Path) -> List {
    let text = std::fs::read_to_string(into.join(kept::FOLDER).join(LIST)).unwrap_or_default();
    let mut list: List = text
        .lines()
        // Whoever has written into the list leads nowhere else with it.
        .filter(|line| !line.contains("..") && !line.starts_with('/'))
        .map(|line| line.split_once('\t').unwrap_or((line, ANY)))
        .map(|(name, stamp)| (name.to_string(), stamp.to_string()))
        .collect();
    if list.contains_key(MIX) {
        // They come together; older lists name only one.
        list.entry(BEFORE_MASTER.into()).or_insert_with(|| ANY.into());
    }
    list
}

fn note(into: &Path, list: &List) -> Result<(), CueError> {
    let lines: Vec<String> = list.iter().map(|(name, stamp)| format!("{name}\t{stamp}\n")).collect();
    crate::write_file(&into.join(kept::FOLDER).join(LIST), lines.concat().as_bytes())
}

/// Asks before the work whether its files may stand where they belong.
///
/// Errors: a file that the cue is made from, a print for one, stands there.
pub(super) fn may_be_put(cue: &Cue, into: &Path, chairs: &[Chair<'_>]) -> Result<(), CueError> {
    let mut names: Vec<String> = [MIX, COPY, BEFORE_MASTER].map(String::from).to_vec();
    for chair in chairs {
        names.push(format!("stems/{}.wav", chair.plan.id));
        names.push(format!("families/{}.wav", place::family(chair.plan)));
    }
    let paths: Vec<PathBuf> = names.iter().map(|name| into.join(name)).collect();
    spare(cue, paths.iter().map(PathBuf::as_path))
}

/// Do two files have the same bytes?
fn same(a: &Path, b: &Path) -> bool {
    let read = |path: &Path| std::fs::read(path).ok();
    let length = |path: &Path| std::fs::metadata(path).ok().map(|m| m.len());
    length(a).is_some() && length(a) == length(b) && read(a) == read(b)
}

/// Moves what was rendered aside to where it belongs; until then the last good files stand. What an earlier render has put
/// there, and this one has not, is taken away. A file that no render has put there, or that was changed by hand since, is kept
/// under another name: the second list says so.
pub(super) fn put_in_place(
    into: &Path,
    aside: &Path,
    kept: &Kept,
    parts: &[(String, &str)],
    bits: Bits,
) -> Result<(Vec<PathBuf>, Vec<String>), CueError> {
    let disk = |path: &Path, error| CueError::Disk { path: path.to_path_buf(), error };
    let sixteen = bits == Bits::Sixteen;
    for name in ["stems", "families"] {
        for folder in [into.join(name), aside.join(name)] {
            std::fs::create_dir_all(&folder).map_err(|error| disk(&folder, error))?;
        }
    }
    if sixteen {
        let convert = |(name, key): &(String, &str)| {
            mixdown::convert(&kept.path(key), &aside.join(name), SampleFormat::Int16)
        };
        parts.par_iter().map(convert).collect::<Result<Vec<()>, CueError>>()?;
    }
    // By name where the new file is.
    let mut new: Vec<(String, PathBuf)> = [MIX, COPY].map(|n| (n.to_string(), aside.join(n))).to_vec();
    new.extend(parts.iter().map(|(name, key)| {
        let made = if sixteen { aside.join(name) } else { kept.path(key) };
        (name.clone(), made)
    }));
    let known = list_of(into);
    let mut remarks = Vec::new();
    let before = (BEFORE_MASTER.to_string(), aside.join(MIX));
    for (name, made) in new.iter().chain([&before]) {
        let path = into.join(name);
        let ours = known.get(name).is_some_and(|stamp| stamp == ANY || *stamp == folder::stamp(&path));
        if path.is_file() && !ours && !same(&path, made) {
            let now = keep_by_hand(&path)?;
            remarks
                .push(format!("{name} was not as a render had left it: what stood there is kept as {now}"));
        }
    }
    let gone: Vec<&String> = known
        .iter()
        .filter(|(name, _)| name.starts_with("stems/") || name.starts_with("families/"))
        .filter(|(name, _)| !new.iter().any(|n| n.0 == **name))
        .filter(|(name, stamp)| *stamp == ANY || **stamp == folder::stamp(&into.join(name)))
        .map(|(name, _)| name)
        .collect();
    // Whatever happens from here on, the next render knows all of it for its own.
    let mut both = known.clone();
    both.extend(new.iter().chain([&before]).map(|(name, _)| (name.clone(), ANY.to_string())));
    note(into, &both)?;
    for (name, made) in &new {
        let to = into.join(name);
        match parts.iter().find(|(part, _)| part == name) {
            Some((_, key)) if !sixteen => kept.put(key, &to)?,
            _ => std::fs::rename(made, &to).map_err(|error| disk(&to, error))?,
        }
    }
    let (mix, before) = (into.join(MIX), into.join(BEFORE_MASTER));
    let _ = std::fs::remove_file(&before);
    if std::fs::hard_link(&mix, &before).is_err() {
        std::fs::copy(&mix, &before).map_err(|error| disk(&before, error))?;
    }
    for old in gone {
        // What cannot be deleted, or is gone already, is no reason to fail.
        let _ = std::fs::remove_file(into.join(old));
    }
    let stamped = new.iter().map(|n| n.0.as_str()).chain([BEFORE_MASTER]);
    note(into, &stamped.map(|name| (name.to_string(), folder::stamp(&into.join(name)))).collect())?;
    Ok((new.iter().map(|(name, _)| into.join(name)).collect(), remarks))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{PerformOptions, RenderOptions, Unwatched, perform, render, write_demo};

    fn rendered(folder: &Path) -> Result<Vec<String>, CueError> {
        let cue = Cue::open(folder)?;
        let options = RenderOptions {
            into: folder.join("excerpt"),
            only: vec!["low-whistle".into()],
            passage: Some(cue.plan.passages[0].name.clone()),
            ..RenderOptions::default()
        };
        let performed = perform(&cue, PerformOptions::default());
        Ok(render(&cue, &performed, &options, &Unwatched)?.remarks)
    }

    #[test]
    fn what_is_the_users_stays() {
        let home = tempfile::tempdir().unwrap();
        let folder = home.path().join("demo");
        write_demo(&folder).unwrap();
        let into = folder.join("excerpt");
        std::fs::create_dir(&into).unwrap();
        std::fs::write(into.join("mix.wav"), "mine").unwrap();
        let by_hand = |remarks: Vec<String>| remarks.into_iter().filter(|r| r.contains("by-hand")).count();
        assert_eq!(by_hand(rendered(&folder).unwrap()), 1);
        assert_eq!(std::fs::read(into.join("mix.by-hand.wav")).unwrap(), b"mine");
        assert_eq!(by_hand(rendered(&folder).unwrap()), 0);
        // Cut by hand: both are there afterwards.
        std::fs::write(into.join("listening.wav"), "cut").unwrap();
        assert_eq!(by_hand(rendered(&folder).unwrap()), 1);
        assert_eq!(std::fs::read(into.join("listening.by-hand.wav")).unwrap(), b"cut");
        assert!(std::fs::metadata(into.join("listening.wav")).unwrap().len() > 1000);
        // Without the list, what comes out the same is taken for ours.
        std::fs::remove_dir_all(into.join(".ripieno")).unwrap();
        assert_eq!(by_hand(rendered(&folder).unwrap()), 0);
    }

    #[test]
    fn a_print_is_not_rendered_over() {
        let home = tempfile::tempdir().unwrap();
        let folder = home.path().join("demo");
        write_demo(&folder).unwrap();
        let print = folder.join("excerpt/stems/low-whistle.wav");
        std::fs::create_dir_all(print.parent().unwrap()).unwrap();
        std::fs::write(&print, "recorded").unwrap();
        let template = folder.join("template.toml");
        let text = std::fs::read_to_string(&template).unwrap();
        let head = "[chair.low-whistle]\n";
        assert!(text.contains(head), "the demo has a low whistle");
        let text = text.replace(head, &format!("{head}print = \"excerpt/stems/low-whistle.wav\"\n"));
        std::fs::write(&template, text).unwrap();
        let refused = rendered(&folder);
        assert!(
            matches!(&refused, Err(CueError::Refused(m)) if m.contains("the print of low-whistle")),
            "{refused:?}"
        );
        assert_eq!(std::fs::read(&print).unwrap(), b"recorded");
    }
}
