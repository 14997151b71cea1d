//! A cell written out: its one canonical form, which reads back as the same.

use crate::lex::in_quotes;
use crate::{CellMark, CellWords, DynamicStep, LineVoice, PlaceWord, Source, Turn};
use ripieno_music::{OrnamentKind, Playing};
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
            Self::Playing(playing) => f.write_str(&playing_word(playing)),
            Self::Dynamics(steps) => dynamics(f, steps),
            Self::Ornament(kind) => f.write_str(ornament_word(*kind)),
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

/// The trade's word for a playing mark, as cells are written.
pub(crate) fn playing_word(playing: &Playing) -> String {
    let word = match playing {
        Playing::Arco => "arco",
        Playing::Pizz => "pizz.",
        Playing::ColLegnoBattuto => "col legno batt.",
        Playing::ColLegnoTratto => "col legno tratto",
        Playing::ConSord => "con sord.",
        Playing::SenzaSord => "senza sord.",
        Playing::SulPont => "sul pont.",
        Playing::SulTasto => "sul tasto",
        Playing::Ord => "ord.",
        Playing::Harmonics => "harm.",
        Playing::NonVib => "non vib.",
        Playing::Vib => "vib.",
        Playing::Trem(true) => "trem.",
        Playing::Trem(false) => "non trem.",
        Playing::Flutter => "flutter",
        Playing::Stopped => "stopped",
        Playing::Open => "open",
        Playing::Legato => "legato",
        Playing::Staccato => "stacc.",
        Playing::Staccatissimo => "staccatissimo",
        Playing::Spiccato => "spiccato",
        Playing::Tenuto => "ten.",
        Playing::Portato => "portato",
        Playing::Marcato => "marcato",
        Playing::Detache => "détaché",
        Playing::Div(0) => "div.",
        Playing::Div(n) => return format!("div. a {n}"),
        Playing::Unis => "unis.",
        Playing::NonDiv => "non div.",
        Playing::Solo => "solo",
        Playing::Tutti => "tutti",
        Playing::Players(set) => {
            let numbers: Vec<String> =
                (0..32).filter(|i| set & (1 << i) != 0).map(|i| format!("{}.", i + 1)).collect();
            return numbers.join(" ");
        }
        Playing::Together(n) => return format!("a {n}"),
        Playing::LetRing => "l.v.",
        Playing::Damp => "damp",
        Playing::Roll => "roll",
        Playing::Strokes => "strokes",
        Playing::Swell => "swell",
        Playing::Mallets(true) => "hard mallets",
        Playing::Mallets(false) => "soft mallets",
    };
    word.to_string()
}
