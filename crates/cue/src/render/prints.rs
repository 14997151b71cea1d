//! Prints: whether a recording is of what the chair plays now.

use super::jobs::{Chair, options};
use super::kept::FOLDER;
use crate::fingerprint::Fingerprint;
use crate::{Cue, CueError, Performed, folder};
use ripieno_formats::audio::Reader;
use ripieno_sound::print::{self, Verdict};
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
    write(&state(cue, PERFORMED), &lines)?;
    crate::adopt::note_written(cue, performed)
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
    let found = match alignment(cue, performed, chair, path, &stamp, &now) {
        Ok(Some(found)) => found,
        Ok(None) => return Seconds(0.0),
        Err(why) => {
            remarks.push(format!("{id}: the print {}: {why}", path.display()));
            return Seconds(0.0);
        }
    };
    let milliseconds = found.offset.0 * 1000.0;
    let side = if milliseconds < 0.0 { "early" } else { "late" };
    let name = path.display();
    match found.verdict {
        Verdict::OtherNotes => {
            remarks.push(format!(
                "{id}: the print {name} is of other notes than the chair plays; record the chair again"
            ));
            Seconds(0.0)
        }
        Verdict::Doubtful => {
            remarks.push(format!(
                "{id}: whether the print {name} is of the chair's notes cannot be told; listen to it. It is not moved"
            ));
            Seconds(0.0)
        }
        Verdict::Fits if align => {
            remarks.push(format!(
                "{id}: the print {name} was {:.1} ms {side}, and is moved",
                milliseconds.abs()
            ));
            found.offset
        }
        Verdict::Fits => {
            let help = if milliseconds.abs() < 5.0 { "" } else { "; `print-align = true` moves it" };
            remarks.push(format!("{id}: the print {name} is {:.1} ms {side}{help}", milliseconds.abs()));
            Seconds(0.0)
        }
    }
}

/// How a print lies to the performance.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Found {
    offset: Seconds,
    verdict: Verdict,
}

/// Of every print: its stamp, what its chair plays, and how they lie to each other, which takes a second to find.
const ALIGNMENTS: &str = "alignments.txt";

const VERDICTS: [(&str, Verdict); 3] =
    [("fits", Verdict::Fits), ("doubtful", Verdict::Doubtful), ("other-notes", Verdict::OtherNotes)];

fn alignment(
    cue: &Cue,
    performed: &Performed,
    chair: &Chair<'_>,
    path: &Path,
    stamp: &str,
    notes: &str,
) -> Result<Option<Found>, String> {
    let Some(performance) = chair.performance else { return Ok(None) };
    let file = state(cue, ALIGNMENTS);
    let mut known = read(&file);
    let before = known.get(&chair.plan.id).map(|line| line.split(' ').collect::<Vec<_>>());
    if let Some([old_stamp, old_notes, offset, verdict]) = before.as_deref()
        && *old_stamp == stamp
        && *old_notes == notes
        && let (Ok(offset), Some((_, verdict))) =
            (offset.parse(), VERDICTS.into_iter().find(|(word, _)| word == verdict))
    {
        return Ok(Some(Found { offset: Seconds(offset), verdict }));
    }
    let (samples, rate) = mono(path)?;
    // The recording begins with the lead-in, as the MIDI file does.
    let lead_in = (performed.patches.lead_in.0 * f64::from(rate)).round() as usize;
    let found = print::align(samples.get(lead_in..).unwrap_or_default(), performance, &options(cue, rate));
    let found = Found { offset: found.offset, verdict: found.verdict };
    let word = VERDICTS.into_iter().find(|(_, v)| *v == found.verdict).map_or("", |(word, _)| word);
    known.insert(chair.plan.id.clone(), format!("{stamp} {notes} {} {word}", found.offset.0));
    let _ = write(&file, &known);
    Ok(Some(found))
}

/// Longest stretch of a recording that is compared, seconds.
const COMPARED: f64 = 1800.0;

/// A recording in one channel, and its sample rate.
fn mono(path: &Path) -> Result<(Vec<f32>, u32), String> {
    let file = std::fs::File::open(path).map_err(|e| e.to_string())?;
    let mut reader = Reader::open(file).map_err(|e| e.to_string())?;
    let shape = reader.shape();
    let mut samples = Vec::new();
    while let Some(block) = reader.next_block().map_err(|e| e.to_string())? {
        let frames = block.first().map_or(0, Vec::len);
        samples.extend((0..frames).map(|i| block.iter().map(|c| c[i]).sum::<f32>()));
        if samples.len() as f64 > COMPARED * f64::from(shape.sample_rate) {
            break;
        }
    }
    Ok((samples, shape.sample_rate))
}
