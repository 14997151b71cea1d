//! Writing a cell: the canonical text of what it says.

use crate::cell::{OCTAVES, ORNAMENTS};
use crate::{CellMark, CellWords, DynamicStep, LineVoice, PlaceWord, Source, Turn};
use ripieno_music::{Playing, words};
use std::fmt;

impl fmt::Display for CellWords {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let groups: Vec<String> = self
            .divisions
            .iter()
            .map(|turns| turns.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))
            .collect();
        if groups.len() > 1 {
            write!(f, "div.: {}", groups.join(" / "))?;
        } else {
            write!(f, "{}", groups.join(""))?;
        }
        for mark in &self.marks {
            write!(f, ", {}", mark_text(mark))?;
        }
        Ok(())
    }
}

impl fmt::Display for Turn {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.source {
            Source::Line { name, voice } => {
                write!(f, "{name}")?;
                match voice {
                    LineVoice::All => {}
                    LineVoice::Top => write!(f, ".top")?,
                    LineVoice::Nth(n) => write!(f, ".{n}")?,
                    LineVoice::Bottom => write!(f, ".bottom")?,
                }
            }
            Source::Col { chair } => write!(f, "col {chair}")?,
            Source::AsWritten => write!(f, "as written")?,
            Source::Tacet => write!(f, "tacet")?,
        }
        if let Some((word, _)) = OCTAVES.iter().find(|(_, semitones)| *semitones == self.octave) {
            write!(f, " {word}")?;
        }
        if let Some(place) = &self.from {
            write!(f, " from {place}")?;
        }
        if let Some(place) = &self.to {
            write!(f, " to {place}")?;
        }
        Ok(())
    }
}

impl fmt::Display for PlaceWord {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.beat {
            Some(beat) => write!(f, "{}.{beat}", self.bar),
            None => write!(f, "{}", self.bar),
        }
    }
}

fn mark_text(mark: &CellMark) -> String {
    match mark {
        CellMark::Playing(playing) => playing_word(playing),
        CellMark::Dynamics(steps) => steps.iter().enumerate().map(|(i, s)| step_text(i, s)).collect(),
        CellMark::Ornament(kind) => {
            ORNAMENTS.iter().find(|(_, k)| k == kind).map_or("trill", |(word, _)| word).to_string()
        }
        CellMark::Words(text) => format!("words \"{text}\""),
        CellMark::Articulation(name) => name.clone(),
    }
}

fn step_text(index: usize, step: &DynamicStep) -> String {
    let before = match (step.hairpin, index) {
        (Some(true), 0) => "< ",
        (Some(false), 0) => "> ",
        (Some(true), _) => " < ",
        (Some(false), _) => " > ",
        (None, 0) => "",
        (None, _) => " ",
    };
    let place = step.at.map_or(String::new(), |p| match p.beat {
        Some(_) => format!(" ({p})"),
        None => format!(" (bar {p})"),
    });
    format!("{before}{}{place}", step.dynamic.word())
}

/// The trade's word for a playing mark, as cells are written.
fn playing_word(playing: &Playing) -> String {
    match playing {
        Playing::Div(0) => "div.".into(),
        Playing::Div(n) => format!("div. a {n}"),
        Playing::Together(n) => format!("a {n}"),
        Playing::Players(set) => {
            let players: Vec<String> =
                (0..32).filter(|i| set & (1 << i) != 0).map(|i| format!("{}.", i + 1)).collect();
            players.join(" ")
        }
        other => words::vocabulary()
            .find(|w| words::mark(w).as_ref() == Some(other))
            .map_or_else(|| "ord".to_string(), str::to_string),
    }
}
