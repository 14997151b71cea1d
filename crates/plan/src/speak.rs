//! A cell written out: its one canonical form, which reads back as the same.

use crate::lex::in_quotes;
use crate::{CellMark, CellWords, DynamicStep, LineVoice, PlaceWord, Source, Turn};
use ripieno_music::OrnamentKind;
use std::fmt;

/// Octave marks, in semitones of what sounds.
pub(crate) const OCTAVES: [(&str, i16); 6] =
    [("8va", 12), ("8vb", -12), ("15ma", 24), ("15mb", -24), ("22ma", 36), ("22mb", -36)];

/// Ornaments by the words that cells use.
pub(crate) const ORNAMENTS: [(&str, OrnamentKind); 16] = [
    ("trill", OrnamentKind::Trill),
    ("turn", OrnamentKind::Turn),
    ("delayed turn", OrnamentKind::DelayedTurn),
    ("inverted turn", OrnamentKind::InvertedTurn),
    ("delayed inverted turn", OrnamentKind::DelayedInvertedTurn),
    ("mordent", OrnamentKind::Mordent),
    ("upper mordent", OrnamentKind::UpperMordent),
    ("shake", OrnamentKind::Shake),
    ("schleifer", OrnamentKind::Schleifer),
    ("haydn", OrnamentKind::Haydn),
    ("cut", OrnamentKind::Cut),
    ("strike", OrnamentKind::Strike),
    ("short roll", OrnamentKind::ShortRoll),
    ("long roll", OrnamentKind::LongRoll),
    ("cran", OrnamentKind::Cran),
    ("slide", OrnamentKind::Slide),
];

impl fmt::Display for CellWords {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.divisions.len() > 1 {
            f.write_str("div.: ")?;
        }
        for (i, turns) in self.divisions.iter().enumerate() {
            if i > 0 {
                f.write_str(" / ")?;
            }
            for (k, turn) in turns.iter().enumerate() {
                match turn.from {
                    // As one reads it: `melody; from 12.3 counter`.
                    Some(from) if k > 0 => {
                        write!(f, "; from {from} {}", Turn { from: None, ..turn.clone() })?
                    }
                    _ => write!(f, "{}{turn}", if k > 0 { "; " } else { "" })?,
                }
            }
        }
        let bare = self.divisions.iter().all(Vec::is_empty);
        for (i, mark) in self.marks.iter().enumerate() {
            if i > 0 || !bare {
                f.write_str(", ")?;
            }
            mark.fmt(f)?;
        }
        Ok(())
    }
}

impl fmt::Display for Turn {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.source.fmt(f)?;
        if let Some((word, _)) = OCTAVES.iter().find(|o| o.1 == self.octave) {
            write!(f, " {word}")?;
        }
        if let Some(from) = self.from {
            write!(f, " from {from}")?;
        }
        if let Some(to) = self.to {
            write!(f, " to {to}")?;
        }
        Ok(())
    }
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Line { name, voice } => match voice {
                LineVoice::All => f.write_str(name),
                LineVoice::Top => write!(f, "{name}.top"),
                LineVoice::Nth(n) => write!(f, "{name}.{n}"),
                LineVoice::Bottom => write!(f, "{name}.bottom"),
            },
            Self::Col { chair } => write!(f, "col {chair}"),
            Self::AsWritten => f.write_str("as written"),
            Self::Tacet => f.write_str("tacet"),
        }
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

impl fmt::Display for CellMark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Playing(playing) => f.write_str(&playing.word()),
            Self::Dynamics(steps) => dynamics(f, steps),
            Self::Ornament(kind) => f.write_str(ornament_word(*kind)),
            Self::AsWritten(kept) => f.write_str(crate::cell::kept_words(*kept)),
            Self::Words(text) => write!(f, "words {}", in_quotes(text)),
            Self::Breath(places) => {
                f.write_str(crate::breath::WORD)?;
                places.iter().try_for_each(|at| in_brackets(f, *at))
            }
            Self::Articulation(name) => f.write_str(name),
        }
    }
}

fn dynamics(f: &mut fmt::Formatter<'_>, steps: &[DynamicStep]) -> fmt::Result {
    for (i, step) in steps.iter().enumerate() {
        f.write_str(match (i, step.hairpin) {
            (0, None) => "",
            (0, Some(true)) => "< ",
            (0, Some(false)) => "> ",
            (_, None) => ", ",
            (_, Some(true)) => " < ",
            (_, Some(false)) => " > ",
        })?;
        f.write_str(step.dynamic.word())?;
        if let Some(at) = step.at {
            in_brackets(f, at)?;
        }
    }
    Ok(())
}

fn in_brackets(f: &mut fmt::Formatter<'_>, at: PlaceWord) -> fmt::Result {
    match at.beat {
        Some(_) => write!(f, " ({at})"),
        None => write!(f, " (bar {at})"),
    }
}

fn ornament_word(kind: OrnamentKind) -> &'static str {
    ORNAMENTS.iter().find(|(_, k)| *k == kind).map_or("trill", |(word, _)| word)
}
