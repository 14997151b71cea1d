//! The cast score and its parts on paper: what `notation` prints, from the plan, the template and the solved pedals.

use crate::{Cue, CueError, Performed, check};
use ripieno_music::{Part, Place};
use ripieno_notation::{Mark, Piece, Pitched, Player, Word};
use ripieno_plan::ChairPlan;
use ripieno_readthrough::solve::charts;
use ripieno_units::Beats;
use std::path::Path;

/// The score as MusicXML 4.0, in the pitch that the plan says.
pub fn score_xml(cue: &Cue, performed: &Performed) -> String {
    ripieno_notation::score(&piece(cue, performed, None))
}

/// The part of one chair as MusicXML 4.0, transposed for its player. `None` for a chair that does not play.
pub fn part_xml(cue: &Cue, performed: &Performed, chair: &str) -> Option<String> {
    let piece = piece(cue, performed, None);
    let index = piece.players.iter().position(|p| p.part.chair == chair)?;
    ripieno_notation::part(&piece, index)
}

/// Every file with its name: `score.musicxml`, then `parts/01-CHAIR.musicxml` and on, in score order.
pub fn notation_files(cue: &Cue, performed: &Performed) -> Vec<(String, Vec<u8>)> {
    notation_files_at(cue, performed, None)
}

/// The same with the score at another pitch than the plan's.
pub fn notation_files_at(
    cue: &Cue,
    performed: &Performed,
    pitched: Option<Pitched>,
) -> Vec<(String, Vec<u8>)> {
    let piece = piece(cue, performed, pitched);
    let mut files = vec![("score.musicxml".to_string(), ripieno_notation::score(&piece).into_bytes())];
    for (i, player) in piece.players.iter().enumerate() {
        if let Some(text) = ripieno_notation::part(&piece, i) {
            files.push((format!("parts/{:02}-{}.musicxml", i + 1, player.part.chair), text.into_bytes()));
        }
    }
    files
}

/// Says so by itself in every file that `notation` prints.
const OURS: &str = "<software>Ripieno</software>";

/// Writes the score and the parts into a folder; gives the number of parts, and remarks on parts of an earlier score that stay.
///
/// Errors: the cue's own music, or a file that Ripieno has not printed, at the place of one of these: nothing is written then; the disk.
pub fn write_notation(
    cue: &Cue,
    performed: &Performed,
    into: &Path,
    pitched: Option<Pitched>,
) -> Result<(usize, Vec<String>), CueError> {
    let files = notation_files_at(cue, performed, pitched);
    let music = cue.folder.join(&cue.plan.music).canonicalize().ok();
    for (name, _) in &files {
        let path = into.join(name);
        let refused = |what: &str| {
            let path = path.display();
            CueError::Refused(format!("{path}: {what}. Nothing was written; choose another folder with -o"))
        };
        if music.is_some() && path.canonicalize().ok() == music {
            return Err(refused("this file is the cue's own music, which the score would replace"));
        }
        match std::fs::read(&path) {
            Ok(bytes) if !String::from_utf8_lossy(&bytes).contains(OURS) => {
                return Err(refused("this file is there already, and Ripieno has not printed it"));
            }
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                return Err(CueError::Disk { path, error });
            }
            _ => {}
        }
    }
    for (name, bytes) in &files {
        crate::write_file(&into.join(name), bytes)?;
    }
    Ok((files.len() - 1, left_over(&into.join("parts"), &files)))
}

/// Parts that an earlier score had and this one has not: a stand that gets one of these plays something else.
fn left_over(parts: &Path, files: &[(String, Vec<u8>)]) -> Vec<String> {
    let Ok(entries) = std::fs::read_dir(parts) else { return Vec::new() };
    let mut names: Vec<String> = entries
        .filter_map(|e| e.ok()?.file_name().into_string().ok())
        .filter(|n| n.ends_with(".musicxml") && !files.iter().any(|(f, _)| *f == format!("parts/{n}")))
        .collect();
    names.sort();
    names
        .iter()
        .map(|n| format!("parts/{n} is not of this score and stays; take it away before printing"))
        .collect()
}

fn piece<'a>(cue: &'a Cue, performed: &'a Performed, pitched: Option<Pitched>) -> Piece<'a> {
    let timeline = &cue.score.timeline;
    let mut players: Vec<(usize, Player<'a>)> = performed
        .parts
        .iter()
        .filter(|part| part.content.notes.iter().any(|n| n.length.is_positive()))
        .filter_map(|part| {
            let at = cue.template.chairs.iter().position(|c| c.id == part.chair)?;
            Some((at, player(&cue.template.chairs[at], part)?))
        })
        .collect();
    players.sort_by_key(|(at, p)| (p.instrument.order, *at));
    let mut players: Vec<Player<'a>> = players.into_iter().map(|(_, p)| p).collect();
    pedals_and_drums(cue, performed, &mut players);
    let title = if cue.plan.title.trim().is_empty() {
        cue.score.title.clone().unwrap_or_default()
    } else {
        cue.plan.title.clone()
    };
    let planned = if cue.plan.score.transposed { Pitched::Transposed } else { Pitched::Concert };
    Piece {
        title,
        composer: cue.plan.score.composer.clone().or_else(|| cue.score.composer.clone()),
        date: cue.plan.date.clone(),
        about: format!("Length {}", clock(timeline.seconds(timeline.end()).0)),
        marks: marks(cue),
        timeline,
        players,
        pitched: pitched.unwrap_or(planned),
    }
}

/// Minutes, seconds and tenths.
fn clock(seconds: f64) -> String {
    let tenths = (seconds.max(0.0) * 10.0).round() as u64;
    format!("{}:{:02}.{}", tenths / 600, tenths / 10 % 60, tenths % 10)
}

/// Rehearsal marks from the second passage on, each with the passage's name, where that is more than a mark itself, and the clock.
fn marks(cue: &Cue) -> Vec<Mark> {
    let timeline = &cue.score.timeline;
    let passages = crate::stages::passages(cue);
    let names: Vec<&str> = passages.iter().map(|p| p.0.as_str()).collect();
    let marks = rehearsal_marks(&names);
    passages
        .iter()
        .zip(marks)
        .map(|((name, at), letter)| {
            // A letter of the form (A, B, A') beside a rehearsal letter would mislead.
            let told = !is_mark(name);
            let clock = letter.as_ref().map(|_| clock(timeline.seconds(*at).0));
            let words: Vec<String> = told.then(|| name.trim().to_string()).into_iter().chain(clock).collect();
            Mark { at: *at, letter, words: (!words.is_empty()).then(|| words.join("  ")) }
        })
        .collect()
}

/// Is a passage's name as short as a rehearsal mark: `B`, `A'`, its fifth time `A (5)`, `12`; or a number that another passage
/// shares, `112b`?
pub(crate) fn is_mark(name: &str) -> bool {
    let name = name.trim();
    let time = name.strip_suffix(')').and_then(|n| n.rsplit_once(" ("));
    let name = match time {
        Some((name, time)) if time.parse::<u16>().is_ok() => name,
        _ => name,
    };
    if name.is_empty() || name.contains(char::is_whitespace) {
        return false;
    }
    let told: Vec<char> = name.chars().filter(|c| c.is_alphanumeric()).collect();
    let numbered = |number: &[char]| number.len() <= 3 && number.iter().all(char::is_ascii_digit);
    told.len() <= 2 || numbered(&told) || numbered(&told[..told.len() - 1])
}

/// The rehearsal marks of passages with these names, the same wherever they are shown: nothing for the first, which begins where the
/// music does. Names that are marks themselves are the marks; of others the second is A, to Z, then AA, BB and on (common
/// practice, no source).
pub(crate) fn rehearsal_marks(names: &[&str]) -> Vec<Option<String>> {
    let own = names.iter().skip(1).all(|name| is_mark(name));
    let mark = |(i, name): (usize, &&str)| match i.checked_sub(1)? {
        _ if own => Some(name.trim().to_string()),
        n => Some(letter(n)),
    };
    names.iter().enumerate().map(mark).collect()
}

fn letter(index: usize) -> String {
    let letter = char::from(b'A' + (index % 26) as u8);
    letter.to_string().repeat(index / 26 + 1)
}

fn player<'a>(chair: &ChairPlan, part: &'a Part) -> Option<Player<'a>> {
    let instrument = ripieno_instruments::by_id(&chair.instrument)?;
    // `horns-1-2` are the horns 1 and 2.
    let numbers: Vec<&str> =
        chair.id.split('-').skip(1).filter(|w| w.chars().all(|c| c.is_ascii_digit())).collect();
    let numbers = numbers.join(" ");
    let several = chair.players > 1;
    let plain = instrument.names.english.get(usize::from(several)).map_or(instrument.name(), String::as_str);
    let name = chair.name.clone().unwrap_or_else(|| format!("{plain} {numbers}").trim().to_string());
    let stem = instrument.abbreviations.first().map_or(plain, String::as_str);
    let short = format!("{}. {numbers}", stem.trim_end_matches('.')).trim().to_string();
    Some(Player { part, instrument, name, short, words: Vec::new() })
}

/// Pedals of harps and tunings of timpani, where the feet move.
fn pedals_and_drums(cue: &Cue, performed: &Performed, players: &mut [Player<'_>]) {
    let solved = check::charts_of(cue, performed);
    let timeline = &cue.score.timeline;
    let at = |place: Place| timeline.at(place.bar, place.beat).unwrap_or(Beats::ZERO);
    let mut tell = |chair: &str, at: Beats, text: String| {
        if let Some(player) = players.iter_mut().find(|p| p.part.chair == chair) {
            player.words.push(Word { at, text });
        }
    };
    for chart in &solved.pedals {
        let setting = charts::diagram(&chart.start);
        let signed = setting.split(' ').map(|s| if s == "|" { s.into() } else { charts::in_print(s) });
        tell(&chart.chair, timeline.start(), signed.collect::<Vec<String>>().join(" "));
        for change in &chart.changes {
            let moved: Vec<String> =
                change.pedals.iter().map(|(l, p)| charts::in_print(&charts::pedal(*l, *p))).collect();
            tell(&chart.chair, at(change.at), moved.join(" "));
        }
    }
    let drum = |key: i16| charts::in_print(&charts::drum_note(key));
    for chart in &solved.tunings {
        let start: Vec<String> = chart.start.iter().flatten().map(|k| drum(*k)).collect();
        if !start.is_empty() {
            tell(&chart.chair, timeline.start(), start.join(", "));
        }
        for change in &chart.changes {
            let (from, to) = (drum(change.from), drum(change.to));
            tell(&chart.chair, at(change.at), format!("{from} to {to}"));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_and_clock() {
        assert_eq!(
            (letter(0), letter(25), letter(26), letter(27)),
            ("A".into(), "Z".into(), "AA".into(), "BB".into())
        );
        let marks = |names: &[&str]| -> Vec<String> {
            rehearsal_marks(names).into_iter().map(Option::unwrap_or_default).collect()
        };
        assert_eq!(marks(&["A", "B", "A'", "12", "AB''"]), ["", "B", "A'", "12", "AB''"]);
        assert_eq!(marks(&["Quay", "Fog", "B"]), ["", "A", "B"]);
        assert_eq!(marks(&["A", "B", "A'", "A (5)"]), ["", "B", "A'", "A (5)"]);
        assert_eq!(marks(&["A", "Fog (5)", "A (x)"]), ["", "A", "B"]);
        // Numbers of the score, with what was found between two of them.
        assert_eq!(
            marks(&["(before 1)", "1", "1b", "12b", "104", "104b"]),
            ["", "1", "1b", "12b", "104", "104b"]
        );
        assert_eq!(marks(&["(before 1)", "Fog", "12b", "1040"]), ["", "A", "B", "C"]);
        assert!(rehearsal_marks(&[]).is_empty());
        assert_eq!(
            (clock(0.0), clock(59.96), clock(135.32)),
            ("0:00.0".into(), "1:00.0".into(), "2:15.3".into())
        );
    }
}
