//! Scores as small as they can be.

use ripieno_formats::musicxml;
use ripieno_music::{DirectionKind, Note, Score};
use ripieno_units::Beats;

/// A score of one part, bars as given; `divisions` is 4.
pub fn partwise(bars: &[&str]) -> String {
    let bars: String = bars
        .iter()
        .enumerate()
        .map(|(i, b)| {
            let first = if i == 0 { "<attributes><divisions>4</divisions></attributes>" } else { "" };
            format!("<measure number=\"{}\">{first}{b}</measure>", i + 1)
        })
        .collect();
    score_of(
        "<score-part id=\"P1\"><part-name>Flute</part-name></score-part>",
        &format!("<part id=\"P1\">{bars}</part>"),
    )
}

pub fn score_of(list: &str, parts: &str) -> String {
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 \
         Partwise//EN\" \"http://www.musicxml.org/dtds/partwise.dtd\">\n<score-partwise version=\"4.0\"><part-list>{list}\
         </part-list>{parts}</score-partwise>"
    )
}

pub fn read(text: &str) -> Score {
    musicxml::read(text.as_bytes()).unwrap()
}

pub fn notes(bars: &[&str]) -> Vec<Note> {
    read(&partwise(bars)).tracks.remove(0).content.notes
}

/// `<note>` of a pitch such as `C4`, `F#5`, so many divisions (quarters of a quarter) long, with more inside.
pub fn note(pitch: &str, duration: u32, more: &str) -> String {
    format!("<note>{}<duration>{duration}</duration>{more}</note>", pitch_of(pitch))
}

pub fn pitch_of(pitch: &str) -> String {
    let (step, rest) = pitch.split_at(1);
    let (alter, octave) = match rest.as_bytes()[0] {
        b'#' => ("<alter>1</alter>", &rest[1..]),
        b'b' => ("<alter>-1</alter>", &rest[1..]),
        _ => ("", rest),
    };
    format!("<pitch><step>{step}</step>{alter}<octave>{octave}</octave></pitch>")
}

pub fn grace(pitch: &str, slash: &str, more: &str) -> String {
    format!("<note><grace{slash}/>{}{more}</note>", pitch_of(pitch))
}

pub fn rest(duration: u32) -> String {
    format!("<note><rest/><duration>{duration}</duration></note>")
}

pub fn notations(inside: &str) -> String {
    format!("<notations>{inside}</notations>")
}

pub fn keys(notes: &[Note]) -> Vec<i16> {
    notes.iter().filter_map(Note::pitch).map(|p| p.key).collect()
}

pub fn onsets(notes: &[Note]) -> Vec<Beats> {
    notes.iter().map(|n| n.at).collect()
}

pub fn quarters(values: &[i64]) -> Vec<Beats> {
    values.iter().map(|v| Beats::new(*v, 4)).collect()
}

/// One note with these notations.
pub fn with(inside: &str) -> Note {
    notes(&[&note("C5", 16, &notations(inside))]).remove(0)
}

pub fn direction(inside: &str) -> String {
    format!("<direction><direction-type>{inside}</direction-type></direction>")
}

pub fn directions(bars: &[&str]) -> Vec<(Beats, DirectionKind)> {
    let mut score = read(&partwise(bars));
    score.tracks.remove(0).content.directions.into_iter().map(|d| (d.at, d.kind)).collect()
}
