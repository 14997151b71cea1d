//! Files that came back: compared with what was written, though the plan may have changed since.
//!
//! Under `.ripieno` stand the last versions that were written, note by note (`written-1.txt` is the newest), and the file that was
//! adopted last (`adopted.txt`). A file is compared with the version that it was edited from.

use crate::fingerprint::Fingerprint;
use crate::pencil::{keep, marks, names, pencil, put, text_of};
use crate::{Cue, CueError, Pencilled, PerformOptions, Performed, folder, stages};
use ripieno_formats::midi;
use ripieno_handwork::{Adopted, Written, WrittenTrack, likeness, restore, store};
use std::path::{Path, PathBuf};

/// So many versions are kept.
const KEPT: usize = 3;
/// A file with so many times fewer changes against an earlier version was edited from that one.
const CLEARLY: usize = 2;

/// What came of an edited file.
#[derive(Clone, Debug)]
pub struct Adoption {
    /// How many marks were made or changed.
    pub changed: usize,
    /// All marks.
    pub marks: Vec<Pencilled>,
    /// What was not taken.
    pub remarks: Vec<String>,
}

fn beside(cue: &Cue, name: &str) -> PathBuf {
    cue.folder.join(".ripieno").join(name)
}

fn version(cue: &Cue, number: usize) -> PathBuf {
    beside(cue, &format!("written-{number}.txt"))
}

fn print_of(text: &str) -> String {
    let mut print = Fingerprint::default();
    print.bytes(text.as_bytes());
    print.to_string()
}

/// Notes what is written. To be called before the MIDI file is: a version too many does no harm, one that is missing would.
pub(crate) fn note_written(cue: &Cue, performed: &Performed) -> Result<(), CueError> {
    let text = match &performed.written {
        Some(written) => store(written),
        None => store(&crate::pencil::written(cue, &performed.patches).0),
    };
    let same = |old: String| old == text;
    if !std::fs::read_to_string(version(cue, 1)).is_ok_and(same) {
        for number in (1..KEPT).rev() {
            // A version that cannot be moved is one that is not kept.
            let _ = std::fs::rename(version(cue, number), version(cue, number + 1));
        }
        folder::write_file(&version(cue, 1), text.as_bytes())?;
    }
    let _ = std::fs::remove_file(beside(cue, "adopted.txt"));
    Ok(())
}

/// What was adopted last, while pencil.toml is as it was left then.
fn adopted_last(cue: &Cue) -> Option<Written> {
    let text = std::fs::read_to_string(beside(cue, "adopted.txt")).ok()?;
    let (print, written) = text.split_once('\n')?;
    (print == print_of(&text_of(cue).ok()?)).then(|| restore(written))?
}

/// As computed, without marks: do two versions come from the same plan?
fn same_plan(a: &Written, b: &Written) -> bool {
    let one = |a: &WrittenTrack, b: &WrittenTrack| {
        let notes = |t: &WrittenTrack| -> Vec<_> {
            let music = t.notes.iter().filter(|n| matches!(n.who, ripieno_handwork::Who::Computed(_)));
            music.map(|n| (n.computed, n.used.clone())).collect()
        };
        a.chair == b.chair && a.card == b.card && a.computed == b.computed && notes(a) == notes(b)
    };
    a.lead == b.lead
        && a.tracks.len() == b.tracks.len()
        && a.tracks.iter().zip(&b.tracks).all(|(a, b)| one(a, b))
}

/// Takes what was changed by hand in a performed file that came back.
///
/// Errors: a file that is no MIDI, or of which next to nothing was written for this cue; nothing noted of what was written, and a
/// plan that has changed since, so that nobody can tell one's changes from the other's.
pub fn adopt(cue: &Cue, file: &Path) -> Result<Adoption, CueError> {
    let bytes = folder::read(file, "Name the MIDI file that came back from your session.")?;
    let wrong = |error| CueError::Music { path: file.to_path_buf(), error };
    let events = midi::read_events(&bytes).map_err(wrong)?;
    let before = marks(cue)?;
    let used = |_: usize, track: &WrittenTrack| names(cue, track);
    let against = |written: &Written| ripieno_handwork::adopt(written, &events, &before, &used);
    let read = |n: usize| std::fs::read_to_string(version(cue, n)).ok().and_then(|text| restore(&text));
    let mut versions: Vec<Written> = (1..=KEPT).filter_map(read).collect();
    if versions.is_empty() {
        versions.extend(recomputed(cue, &before));
    }
    if versions.is_empty() && !cue.folder.join("performed.mid").exists() {
        return Err(CueError::Refused(format!(
            "{}: nothing of this cue was written yet that it could be compared with. Run `ripieno perform`, edit the file that this writes, and adopt that",
            file.display()
        )));
    }
    let Some(newest) = versions.first() else {
        return Err(CueError::Refused(format!(
            "{}: nothing is noted of what was written, and performed.mid is not what the plan, the music, the patch cards and pencil.toml give now, so its changes cannot be told from yours. Set the plan back to how it was (`.ripieno/cue-before.toml` holds the version before the last change on the page) and run `ripieno perform` and `ripieno adopt`; then change the plan",
            file.display()
        )));
    };
    let last = adopted_last(cue);
    // What is no edit of any of them would be thousands of marks that nobody made.
    let mut known = versions.iter().chain(&last);
    if !known.any(|written| likeness(written, &events).is_edit()) {
        return Err(stranger(cue, file));
    }
    let mut best = against(newest);
    if differs(&best) {
        if let Some(now) = last
            .map(|last| against(&last))
            .filter(|now| now.strange <= best.strange && apart(now) < apart(&best))
        {
            best = now;
        }
        for (i, old) in versions.iter().enumerate().skip(1).filter(|v| !same_plan(v.1, newest)) {
            let mut then = against(old);
            // A version in which a chair was silent knows nothing of its track: not a single difference is no sign then.
            if then.strange <= best.strange && apart(&then) * CLEARLY < apart(&best) {
                then.remarks.push(format!(
                    "compared with the version before the last{}: the file was edited from that one",
                    if i > 1 { " but one" } else { "" }
                ));
                best = then;
            }
        }
    }
    keep(cue, &best.marks)?;
    let text = format!("{}\n{}", print_of(&text_of(cue)?), store(&best.after));
    folder::write_file(&beside(cue, "adopted.txt"), text.as_bytes())?;
    Ok(Adoption { changed: best.changed, marks: pencil(cue)?, remarks: best.remarks })
}

fn stranger(cue: &Cue, file: &Path) -> CueError {
    CueError::Refused(format!(
        "{}: next to nothing of this file is what was written for the cue \"{}\", so it is taken for another cue's and nothing was changed; name the file that came back from {}, with all its tracks",
        file.display(),
        cue.plan.title,
        cue.folder.join("performed.mid").display()
    ))
}

fn differs(adopted: &Adopted) -> bool {
    apart(adopted) > 0
}

fn apart(adopted: &Adopted) -> usize {
    adopted.differences
}

/// What the plan gives now, if it is what stands in performed.mid.
fn recomputed(cue: &Cue, marks: &[ripieno_handwork::Mark]) -> Option<Written> {
    let on_disk = std::fs::read(cue.folder.join("performed.mid")).ok()?;
    [PerformOptions::default(), PerformOptions::on_grid()].into_iter().find_map(|how| {
        let mut out = stages::plain(cue, how).patches;
        let (_, all) = put(cue, &mut out, marks);
        (midi::write(&out.file) == on_disk).then_some(all)
    })
}
