//! Reading a cell: sources first, then marks; every fault with its exact place.
//!
//! ```text
//! cell  = [ "div.:" ] turns { "/" turns } { "," mark }
//! turns = turn { ";" turn }
//! turn  = ( line | "col" chair | "as written" | "tacet" ) { octave | "from" place | "to" place }
//! mark  = dynamics | text | ( "marks" | "rhythm" ) "as written" | "breath" { "(" place ")" } | ornament | mark of the trade | articulation of a card
//! ```
//! Marks may also come before the first source.

use crate::diagnostic::did_you_mean;
use crate::lex::{Kind, Token, lex};
use crate::speak::{OCTAVES, ORNAMENTS};
use crate::{CellMark, CellWords, Kept, PlaceWord, Span, Turn, breath, dynamics};
use ripieno_music::words;

/// One complaint about a cell: where in its text, what, and what would be right.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CellFault {
    /// Bytes of the cell's text.
    pub span: Span,
    /// What is wrong.
    pub message: String,
    /// The nearest valid word, or what is expected.
    pub help: String,
    /// The cell may be written all the same.
    pub warning: bool,
}

impl CellWords {
    /// Reads a cell. A word that is neither a source nor a mark may still be an articulation of a card, if `known`
    /// says so. Value and complaints together; what is not understood is left out of the value.
    pub fn parse_with(text: &str, known: &dyn Fn(&str) -> bool) -> (Self, Vec<CellFault>) {
        Self::parse_among(text, known, &[])
    }

    /// Reads a cell with the trade's words alone.
    pub fn parse(text: &str) -> (Self, Vec<CellFault>) {
        Self::parse_with(text, &|_| false)
    }

    /// Reads a cell, with further words (lines, chairs, articulations) that may have been meant.
    pub fn parse_among(text: &str, known: &dyn Fn(&str) -> bool, near: &[&str]) -> (Self, Vec<CellFault>) {
        let reader = Reader { text, known, near, faults: Vec::new() };
        reader.cell()
    }

    /// The words that a cell may use for marks: the trade's, and ornaments.
    pub fn vocabulary<'a>() -> impl Iterator<Item = &'a str> {
        let shorter = |word: &'static str| -> &'a str { word };
        words::vocabulary().chain(ORNAMENTS.iter().map(|o| o.0)).chain(KEPT.iter().map(|k| k.0)).map(shorter)
    }
}

/// The marks that keep something of a chair's own line where it goes with another.
const KEPT: [(&str, Kept); 2] = [("marks as written", Kept::Marks), ("rhythm as written", Kept::Rhythm)];

pub(crate) fn kept_words(kept: Kept) -> &'static str {
    KEPT.iter().find(|(_, k)| *k == kept).map_or("", |(words, _)| words)
}

fn kept(phrase: &str) -> Option<Kept> {
    KEPT.iter().find(|(words, _)| *words == phrase).map(|(_, kept)| *kept)
}

pub(crate) const SOURCES: &str = "begin with a line, `col` and a chair, `as written`, or `tacet`";

/// Complaints about one cell, at most.
const MOST_FAULTS: usize = 50;

pub(crate) struct Reader<'t> {
    text: &'t str,
    known: &'t dyn Fn(&str) -> bool,
    pub(crate) near: &'t [&'t str],
    faults: Vec<CellFault>,
}

/// What stands between two separators.
struct Piece<'p, 't> {
    tokens: &'p [Token<'t>],
    /// The separator before it.
    after: Option<Token<'t>>,
}

impl Piece<'_, '_> {
    fn span(&self) -> Span {
        spanned(self.tokens)
    }
}

pub(crate) fn spanned(tokens: &[Token<'_>]) -> Span {
    match (tokens.first(), tokens.last()) {
        (Some(first), Some(last)) => Span { start: first.span.start, end: last.span.end },
        _ => Span::default(),
    }
}

/// Lower-case words with one space between; empty if there is anything but words.
pub(crate) fn phrase(tokens: &[Token<'_>]) -> String {
    let mut out = String::new();
    for token in tokens {
        let Kind::Word(word) = token.kind else { return String::new() };
        if !out.is_empty() {
            out.push(' ');
        }
        out.push_str(&word.to_lowercase());
    }
    out
}

impl<'t> Reader<'t> {
    pub(crate) fn fault(&mut self, span: Span, message: impl Into<String>, help: impl Into<String>) {
        // Nobody reads more of one cell.
        if self.faults.len() >= MOST_FAULTS {
            return;
        }
        self.faults.push(CellFault { span, message: message.into(), help: help.into(), warning: false });
    }

    pub(crate) fn at(&self, span: Span) -> &'t str {
        self.text.get(span.start..span.end).unwrap_or("")
    }

    fn cell(mut self) -> (CellWords, Vec<CellFault>) {
        let tokens = lex(self.text);
        let mut cell = CellWords { divisions: vec![Vec::new()], marks: Vec::new() };
        // `div.: a / b` names the sources of each division.
        let (divided, skipped) = match tokens.first().map(|t| t.kind) {
            Some(Kind::Word(w)) if matches!(w.to_lowercase().as_str(), "div.:" | "div:" | "divisi:") => {
                (true, 1)
            }
            Some(Kind::Word(w))
                if w.to_lowercase() == "div." && tokens.get(1).map(|t| t.kind) == Some(Kind::Word(":")) =>
            {
                (true, 2)
            }
            _ => (false, 0),
        };
        let whole = spanned(&tokens);
        for piece in pieces(&tokens[skipped..]) {
            let separator = piece.after;
            match separator.map(|s| s.kind) {
                Some(Kind::Slash) => {
                    if !divided && cell.divisions.len() == 1 {
                        let at = separator.map(|s| s.span).unwrap_or_default();
                        self.fault(
                            at,
                            "`/` parts the sources of a divided chair",
                            "begin the cell with `div.:`",
                        );
                    }
                    if !cell.marks.is_empty() {
                        let help = "marks hold for the whole chair: write them after the last source";
                        let at = separator.map(|s| s.span).unwrap_or_default();
                        self.fault(at, "marks stand before this `/`", help);
                    }
                    cell.divisions.push(Vec::new());
                }
                Some(Kind::Semicolon) if cell.divisions.last().is_none_or(Vec::is_empty) => {
                    let at = separator.map(|s| s.span).unwrap_or_default();
                    self.fault(at, "nothing is played before this `;`", SOURCES);
                }
                _ => {}
            }
            if piece.tokens.is_empty() {
                if let Some(separator) = separator {
                    let sign = self.at(separator.span);
                    self.fault(
                        separator.span,
                        format!("nothing stands after this `{sign}`"),
                        "remove it, or go on",
                    );
                }
                continue;
            }
            let turns = cell.divisions.last().map_or(0, Vec::len);
            // A source is due at the start, after `;` and `/`, and as long as only marks were read.
            let due = turns == 0 || separator.is_none_or(|s| s.kind != Kind::Comma);
            self.piece(&piece, due, &mut cell);
        }
        if divided && cell.divisions.len() == 1 {
            self.fault(
                whole,
                "`div.:` is followed by one source",
                "name a source for each division: div.: melody / melody 8vb",
            );
        }
        let empty = cell.divisions.iter().filter(|d| d.is_empty()).count();
        if empty > 0 && self.faults.is_empty() {
            let (message, help) = match (whole == Span::default(), cell.divisions.len()) {
                (true, _) => ("the cell is empty", "write what the chair plays, or `tacet`"),
                (false, 1) => ("the cell names no source", SOURCES),
                _ => ("a division names no source", SOURCES),
            };
            self.fault(whole, message, help);
        }
        for turns in &cell.divisions {
            self.in_turn(turns);
        }
        self.faults.sort_by_key(|f| f.span.start);
        (cell, self.faults)
    }

    /// Sources in turn must say where they change over.
    fn in_turn(&mut self, turns: &[Turn]) {
        for (i, turn) in turns.iter().enumerate() {
            if let Some(before) = i.checked_sub(1).and_then(|i| turns.get(i))
                && turn.from.is_none()
                && before.to.is_none()
            {
                let help = format!("say from where: {before}; from 12.3 {}", turn.source);
                self.fault(turn.span, format!("where does `{}` take over?", turn.source), help);
            }
            let place = |p: PlaceWord| (p.bar, p.beat);
            if let (Some(from), Some(to)) = (turn.from, turn.to)
                && (to.bar < from.bar
                    || (to.bar == from.bar && place(to).1.is_some_and(|b| b < from.beat.unwrap_or(1.0))))
            {
                self.fault(
                    turn.span,
                    format!("from {from} to {to} goes backwards"),
                    "name the earlier place first",
                );
            }
        }
    }

    fn piece(&mut self, piece: &Piece<'_, 't>, due: bool, cell: &mut CellWords) {
        if self.mark(piece.tokens, &mut cell.marks) {
            if let Some(sign) = piece.after.filter(|s| s.kind != Kind::Comma) {
                let message = format!(
                    "`{}` is a mark, and a source is due after `{}`",
                    self.at(piece.span()),
                    self.at(sign.span)
                );
                self.fault(piece.span(), message, "put a comma before marks");
            }
            return;
        }
        let first = match piece.tokens.first().map(|t| t.kind) {
            Some(Kind::Word(word)) => word.to_lowercase(),
            _ => String::new(),
        };
        let sole = cell
            .divisions
            .last()
            .filter(|d| d.len() == 1 && cell.divisions.len() == 1)
            .and_then(|d| d.last())
            .cloned();
        if due {
            let (turn, rest) = self.turn(piece.tokens, None);
            let found = turn.is_some();
            if let (Some(turn), Some(turns)) = (turn, cell.divisions.last_mut()) {
                turns.push(turn);
            }
            self.rest(rest, found, cell);
        } else if let (true, Some(sole)) =
            (is_octave(&first).is_some() || matches!(first.as_str(), "from" | "to"), sole)
        {
            // `melody, 8va`: the octave or the place of the one source, after its comma.
            let (turn, rest) = self.turn(piece.tokens, Some(sole));
            if let (Some(turn), Some(last)) = (turn, cell.divisions.last_mut().and_then(|d| d.last_mut())) {
                *last = turn;
            }
            self.rest(rest, true, cell);
        } else {
            self.unknown_mark(piece.tokens);
        }
    }

    /// What stands after a source without a comma: read as a mark all the same, and complained about.
    fn rest(&mut self, rest: &[Token<'t>], after_source: bool, cell: &mut CellWords) {
        if rest.is_empty() || !after_source {
            return;
        }
        let span = spanned(rest);
        let faults = self.faults.len();
        if self.mark(rest, &mut cell.marks) {
            if self.faults.len() == faults {
                self.fault(
                    span,
                    format!("`{}` stands without a comma", self.at(span)),
                    format!("put a comma before `{}`", self.at(span)),
                );
            }
            return;
        }
        let word = self.at(rest.first().map_or(span, |t| t.span));
        let octaves = OCTAVES.iter().map(|o| o.0).chain(["from", "to", "loco"]);
        let help = did_you_mean(word, octaves.chain(CellWords::vocabulary()), || {
            "expected an octave (8va, 8vb, 15ma, 15mb), `from`, `to`, or a comma before a mark".to_string()
        });
        self.fault(rest.first().map_or(span, |t| t.span), format!("`{word}` is not understood"), help);
    }

    fn unknown_mark(&mut self, tokens: &[Token<'t>]) {
        let span = spanned(tokens);
        let text = self.at(span);
        let lower = text.to_lowercase();
        let first = phrase(tokens.get(..1).unwrap_or(&[]));
        // A source after a comma.
        if matches!(first.as_str(), "col" | "colla" | "coi" | "coll'" | "tacet" | "as") {
            self.fault(
                span,
                format!("`{text}` is a second source"),
                "sources in turn are parted by `;` and say from where: melody; from 12.3 col violins-1",
            );
            return;
        }
        if let Some(name) = self.near.iter().find(|n| lower == n.to_lowercase()) {
            self.fault(
                span,
                format!("`{text}` is a second source"),
                format!("sources in turn are parted by `;`: melody; from 12.3 {name}"),
            );
            return;
        }
        if is_octave(&first).is_some() || matches!(first.as_str(), "from" | "to") {
            self.fault(
                span,
                format!("`{text}` does not say which source it is for"),
                "write it after its source, before the comma",
            );
            return;
        }
        // Two marks without a comma between.
        for n in 1..tokens.len().min(8) {
            let (a, b) = tokens.split_at(n);
            if self.is_mark(a) && self.is_mark(b) {
                let b = spanned(b);
                self.fault(
                    span,
                    format!("`{text}` is not one mark"),
                    format!("put a comma before `{}`", self.at(b)),
                );
                return;
            }
        }
        let sources = ["tacet", "as written"].into_iter();
        let near = CellWords::vocabulary().chain(self.near.iter().copied()).chain(sources);
        let help = did_you_mean(text.trim_end_matches('.'), near, || {
            "expected a mark of the trade, a dynamic, an articulation of a card, or text in quotes"
                .to_string()
        });
        self.fault(span, format!("`{text}` is not understood"), help);
    }

    fn is_mark(&self, tokens: &[Token<'_>]) -> bool {
        let phrase = phrase(tokens);
        !phrase.is_empty()
            && (words::mark(&phrase).is_some()
                || dynamics::starts(&phrase)
                || ornament(&phrase).is_some()
                || kept(&phrase).is_some()
                || (self.known)(&phrase))
    }

    /// Reads a piece as a mark, if it is one.
    fn mark(&mut self, tokens: &[Token<'t>], marks: &mut Vec<CellMark>) -> bool {
        let Some(first) = tokens.first() else { return false };
        let (word, quote) = match first.kind {
            Kind::Word(word) => (word.to_lowercase(), first),
            _ => (String::new(), first),
        };
        let quote = if word == "words" { tokens.get(1).unwrap_or(quote) } else { quote };
        if let Kind::Quoted { text, closed } = quote.kind {
            let text = text.trim();
            if !closed {
                self.fault(
                    quote.span,
                    "the text in quotes does not end",
                    "close it with the quotes that it began with",
                );
            } else if text.is_empty() {
                self.fault(
                    quote.span,
                    "the text in quotes is empty",
                    "write what is sung: words \"Ky-ri-e\"",
                );
            } else if marks.iter().any(|m| matches!(m, CellMark::Words(_))) {
                self.fault(quote.span, "a second text", "a cell has one text; join them");
            }
            if let Some(next) = tokens.iter().find(|t| t.span.start >= quote.span.end) {
                let rest = Span { start: next.span.start, end: spanned(tokens).end };
                self.fault(
                    rest,
                    format!("`{}` stands without a comma", self.at(rest)),
                    format!("put a comma before `{}`", self.at(rest)),
                );
            }
            if !text.is_empty() {
                marks.push(CellMark::Words(text.to_string()));
            }
            return true;
        }
        if word == "words" {
            self.fault(spanned(tokens), "`words` is followed by no text", "write words \"Ky-ri-e\"");
            return true;
        }
        if word == breath::WORD {
            let places = breath::read(self, self.text, tokens);
            breath::add(marks, places);
            return true;
        }
        let phrase = phrase(tokens);
        if let Some(kind) = ornament(&phrase) {
            marks.push(CellMark::Ornament(kind));
        } else if let Some(kept) = kept(&phrase) {
            marks.push(CellMark::AsWritten(kept));
        } else if let Some(playing) = words::mark(&phrase) {
            marks.push(CellMark::Playing(playing));
        } else if matches!(first.kind, Kind::Louder | Kind::Softer) || dynamics::starts(&word) {
            let steps = dynamics::read(self, self.text, tokens);
            dynamics::add(marks, steps);
        } else if !phrase.is_empty() && (self.known)(&phrase) {
            marks.push(CellMark::Articulation(phrase));
        } else {
            return false;
        }
        true
    }
}

fn pieces<'p, 't>(tokens: &'p [Token<'t>]) -> Vec<Piece<'p, 't>> {
    if tokens.is_empty() {
        return Vec::new();
    }
    let mut out = Vec::new();
    let (mut start, mut after) = (0, None);
    for (i, token) in tokens.iter().enumerate() {
        if token.kind.parts() {
            out.push(Piece { tokens: &tokens[start..i], after });
            (start, after) = (i + 1, Some(*token));
        }
    }
    out.push(Piece { tokens: &tokens[start..], after });
    out
}

fn ornament(phrase: &str) -> Option<ripieno_music::OrnamentKind> {
    let phrase = phrase.trim_end_matches('.');
    let phrase = if phrase == "tr" { "trill" } else { phrase };
    ORNAMENTS.iter().find(|(word, _)| *word == phrase).map(|(_, kind)| *kind)
}

pub(crate) fn is_octave(lower: &str) -> Option<i16> {
    let lower = lower.trim_end_matches('.');
    OCTAVES.iter().find(|o| o.0 == lower).map(|o| o.1)
}

/// Can it name a line or a chair? A letter first, then letters, digits, `-`, `_`.
pub(crate) fn is_name(word: &str) -> bool {
    word.starts_with(char::is_alphabetic)
        && word.chars().all(|c| c.is_alphanumeric() || matches!(c, '-' | '_'))
}

/// Would a cell read this name as something else?
pub(crate) fn is_taken(name: &str) -> bool {
    let lower = name.to_lowercase();
    words::mark(&lower).is_some()
        || ornament(&lower).is_some()
        || dynamics::starts(&lower)
        || is_octave(&lower).is_some()
        || matches!(
            lower.as_str(),
            "col" | "colla" | "colle" | "coi" | "as" | "tacet" | "from" | "to" | "loco" | "words" | "breath"
        )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Chairs are named after instruments: no such name may read as a mark.
    #[test]
    fn instruments_can_be_named_in_cells() {
        let table = ripieno_instruments::table();
        assert!(table.len() > 50);
        for instrument in table {
            for name in [&instrument.id, &instrument.chair.0, &instrument.chair.1] {
                assert!(is_name(name) && !is_taken(name), "{name}");
                let text = format!("col {name} 8vb, p");
                let (cell, faults) = CellWords::parse(&text);
                assert!(faults.is_empty() && cell.to_string() == text, "{text}: {faults:?}");
            }
        }
    }

    /// Every word of the vocabulary is a mark, and its canonical form the same mark.
    #[test]
    fn the_vocabulary_reads() {
        for word in CellWords::vocabulary() {
            let (cell, faults) = CellWords::parse(&format!("melody, {word}"));
            assert!(faults.is_empty(), "{word}: {faults:?}");
            let (again, _) = CellWords::parse(&cell.to_string());
            assert_eq!(again.marks, cell.marks, "{word}");
        }
    }
}
