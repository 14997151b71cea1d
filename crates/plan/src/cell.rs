//! Reading a cell.

use crate::{CellMark, CellWords, DynamicStep, LineVoice, PlaceWord, Source, Span, Turn, nearest};
use ripieno_music::{Dynamic, OrnamentKind, words};

/// One complaint about a cell: where in its text, what, and what would be right.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CellFault {
    /// Bytes of the cell's text.
    pub span: Span,
    /// What is wrong.
    pub message: String,
    /// The nearest valid word, or what is expected.
    pub help: String,
}

struct Reader<'a> {
    text: &'a str,
    faults: Vec<CellFault>,
}

/// Octave marks, in semitones.
pub(crate) const OCTAVES: [(&str, i16); 6] =
    [("8va", 12), ("8vb", -12), ("15ma", 24), ("15mb", -24), ("22ma", 36), ("22mb", -36)];

pub(crate) const ORNAMENTS: [(&str, OrnamentKind); 10] = [
    ("cut", OrnamentKind::Cut),
    ("strike", OrnamentKind::Strike),
    ("short roll", OrnamentKind::ShortRoll),
    ("long roll", OrnamentKind::LongRoll),
    ("cran", OrnamentKind::Cran),
    ("slide", OrnamentKind::Slide),
    ("trill", OrnamentKind::Trill),
    ("turn", OrnamentKind::Turn),
    ("mordent", OrnamentKind::Mordent),
    ("upper mordent", OrnamentKind::UpperMordent),
];

impl CellWords {
    /// Reads a cell. A word that is neither a source nor a mark may still be an articulation of a card, if `known`
    /// says so. Value and complaints together; what is not understood is left out of the value.
    pub fn parse_with(text: &str, known: &dyn Fn(&str) -> bool) -> (Self, Vec<CellFault>) {
        let mut reader = Reader { text, faults: Vec::new() };
        let cell = reader.cell(known);
        (cell, reader.faults)
    }

    /// Reads a cell with the trade's words alone.
    pub fn parse(text: &str) -> (Self, Vec<CellFault>) {
        Self::parse_with(text, &|_| false)
    }
}

/// Splits at a separator outside quotes and brackets; each piece with its place.
fn split(text: &str, at: usize, separator: char) -> Vec<(usize, &str)> {
    let (mut pieces, mut start, mut quoted, mut depth) = (Vec::new(), 0, false, 0i32);
    for (i, c) in text.char_indices() {
        match c {
            '"' => quoted = !quoted,
            '(' if !quoted => depth += 1,
            ')' if !quoted => depth -= 1,
            c if c == separator && !quoted && depth <= 0 => {
                pieces.push((at + start, &text[start..i]));
                start = i + c.len_utf8();
            }
            _ => {}
        }
    }
    pieces.push((at + start, &text[start..]));
    pieces
}

fn trim(at: usize, text: &str) -> (usize, &str) {
    let cut = text.len() - text.trim_start().len();
    (at + cut, text.trim())
}

impl Reader<'_> {
    fn fault(&mut self, at: usize, length: usize, message: String, help: String) {
        self.faults.push(CellFault { span: Span { start: at, end: at + length }, message, help });
    }

    fn cell(&mut self, known: &dyn Fn(&str) -> bool) -> CellWords {
        let text = self.text;
        let mut cell = CellWords { divisions: Vec::new(), marks: Vec::new() };
        let (at, body) = trim(0, text);
        // `div.: a / b` names the sources of each division.
        let divided = ["div.:", "div:", "divisi:"].iter().find(|d| body.to_lowercase().starts_with(*d));
        let groups = match divided {
            Some(word) => split(&body[word.len()..], at + word.len(), '/'),
            None => vec![(at, body)],
        };
        for (at, group) in groups {
            let mut turns = Vec::new();
            for (at, piece) in split(group, at, ';') {
                for (at, word) in split(piece, at, ',') {
                    let (at, word) = trim(at, word);
                    if !word.is_empty() {
                        self.word(at, word, known, &mut turns, &mut cell.marks);
                    }
                }
            }
            cell.divisions.push(turns);
        }
        if cell.divisions.iter().any(Vec::is_empty) && self.faults.is_empty() {
            self.fault(
                at,
                body.len(),
                "the cell names no source".into(),
                "begin with a line, `col` and a chair, `as written`, or `tacet`".into(),
            );
        }
        merge_dynamics(&mut cell.marks);
        cell
    }

    fn word(
        &mut self,
        at: usize,
        word: &str,
        known: &dyn Fn(&str) -> bool,
        turns: &mut Vec<Turn>,
        marks: &mut Vec<CellMark>,
    ) {
        let lower = word.to_lowercase();
        if let Some(text) = quoted(word) {
            marks.push(CellMark::Words(text.to_string()));
        } else if let Some(rest) = lower.strip_prefix("words") {
            match quoted(word[word.len() - rest.len()..].trim()) {
                Some(text) => marks.push(CellMark::Words(text.to_string())),
                None => self.fault(
                    at,
                    word.len(),
                    "`words` is followed by no text".into(),
                    "write words \"Ky-ri-e\"".into(),
                ),
            }
        } else if is_dynamic(&lower) {
            self.dynamics(at, word, marks);
        } else if let Some((_, kind)) = ORNAMENTS.iter().find(|(name, _)| *name == lower) {
            marks.push(CellMark::Ornament(*kind));
        } else if let Some(playing) = words::mark(&lower) {
            marks.push(CellMark::Playing(playing));
        } else if known(&lower) {
            marks.push(CellMark::Articulation(lower));
        } else if let Some(turn) = self.turn(at, word, turns.is_empty() && marks.is_empty()) {
            turns.push(turn);
        } else if self.faults.last().is_none_or(|f| f.span.start < at) {
            let candidates = words::vocabulary().chain(ORNAMENTS.iter().map(|o| o.0));
            let near = nearest(&lower, candidates);
            let help = near.map_or_else(
                || "expected a mark of the trade, a dynamic, an octave or a source".to_string(),
                |n| format!("did you mean `{n}`?"),
            );
            self.fault(at, word.len(), format!("`{word}` is not understood"), help);
        }
    }

    /// `[from PLACE] SOURCE [OCTAVE] [from PLACE] [to PLACE]`.
    fn turn(&mut self, at: usize, text: &str, first: bool) -> Option<Turn> {
        let words: Vec<(usize, &str)> =
            split(text, at, ' ').into_iter().filter(|w| !w.1.trim().is_empty()).collect();
        let span = Span { start: at, end: at + text.len() };
        let mut turn = Turn { source: Source::Tacet, octave: 0, from: None, to: None, span };
        let mut source: Option<Source> = None;
        let mut i = 0;
        while i < words.len() {
            let (at, word) = words[i];
            let lower = word.to_lowercase();
            let next = words.get(i + 1).copied();
            match lower.as_str() {
                "from" | "to" => {
                    let Some((place_at, place)) = next else {
                        self.fault(
                            at,
                            word.len(),
                            format!("`{word}` names no place"),
                            "write bar and beat: 8.4".into(),
                        );
                        return None;
                    };
                    match parse_place(place) {
                        Some(place) if lower == "from" => turn.from = Some(place),
                        Some(place) => turn.to = Some(place),
                        None => {
                            let help = "write bar and beat: 8.4, or a bar: 8".to_string();
                            self.fault(place_at, place.len(), format!("`{place}` is no place"), help);
                            return None;
                        }
                    }
                    i += 1;
                }
                "as" if next.is_some_and(|n| n.1.eq_ignore_ascii_case("written")) => {
                    source = Some(Source::AsWritten);
                    i += 1;
                }
                "as" => {
                    let (at, found) = next.unwrap_or((at, word));
                    self.fault(
                        at,
                        found.len(),
                        format!("`{text}` is not understood"),
                        "did you mean `as written`?".into(),
                    );
                    return None;
                }
                "tacet" => source = Some(Source::Tacet),
                "col" | "colla" | "coi" | "coll'" => match next {
                    Some((_, chair)) => {
                        source = Some(Source::Col { chair: chair.to_lowercase() });
                        i += 1;
                    }
                    None => {
                        self.fault(
                            at,
                            word.len(),
                            "`col` names no chair".into(),
                            "write col and a chair: col violins-1".into(),
                        );
                        return None;
                    }
                },
                octave if OCTAVES.iter().any(|o| o.0 == octave) => {
                    turn.octave += OCTAVES.iter().find(|o| o.0 == octave).map_or(0, |o| o.1);
                }
                "loco" => {}
                name if source.is_none()
                    && is_name(name)
                    && (first || words.len() == 1 || turn.from.is_some() || i == 0) =>
                {
                    source = Some(line(name));
                }
                _ => {
                    let near = nearest(&lower, OCTAVES.iter().map(|o| o.0).chain(["from", "to"]));
                    let help = near.map_or_else(
                        || "expected an octave (8va, 8vb, 15ma, 15mb), `from`, `to`, or a comma before a mark".to_string(),
                        |n| format!("did you mean `{n}`?"),
                    );
                    self.fault(at, word.len(), format!("`{word}` is not understood"), help);
                    return None;
                }
            }
            i += 1;
        }
        turn.source = source?;
        Some(turn)
    }

    /// `p`, `p < f`, `mf > pp`, `p < f (bar 5) > p`, `< f`.
    fn dynamics(&mut self, at: usize, text: &str, marks: &mut Vec<CellMark>) {
        let mut steps: Vec<DynamicStep> = Vec::new();
        let mut hairpin: Option<bool> = None;
        let mut rest = text;
        let mut here = at;
        while !rest.trim_start().is_empty() {
            let skip = rest.len() - rest.trim_start().len();
            here += skip;
            rest = &rest[skip..];
            if let Some(sign) = rest.chars().next().filter(|c| *c == '<' || *c == '>') {
                hairpin = Some(sign == '<');
                (here, rest) = (here + 1, &rest[1..]);
                continue;
            }
            if rest.starts_with('(') {
                let end = rest.find(')').map_or(rest.len(), |e| e + 1);
                let inside = rest[1..end].trim_end_matches(')').trim();
                let inside = inside.strip_prefix("bar").unwrap_or(inside).trim();
                match (parse_place(inside), steps.last_mut()) {
                    (Some(place), Some(step)) => step.at = Some(place),
                    _ => {
                        let help = "write (bar 5) or (5.3) after a dynamic".to_string();
                        self.fault(here, end, format!("`{}` is no place", &rest[..end]), help);
                    }
                }
                (here, rest) = (here + end, &rest[end..]);
                continue;
            }
            let end = rest
                .find(|c: char| c == '<' || c == '>' || c == '(' || c.is_whitespace())
                .unwrap_or(rest.len());
            match Dynamic::parse(&rest[..end].to_lowercase()) {
                Some(dynamic) => {
                    steps.push(DynamicStep { hairpin, dynamic, at: None });
                    hairpin = None;
                }
                None => {
                    let help = "expected a dynamic: ppp pp p mp mf f ff fff sfz fp niente".to_string();
                    self.fault(here, end, format!("`{}` is no dynamic", &rest[..end]), help);
                }
            }
            (here, rest) = (here + end, &rest[end..]);
        }
        if hairpin.is_some() {
            self.fault(
                at,
                text.len(),
                "a hairpin leads nowhere".into(),
                "name the dynamic that it leads to: p < f".into(),
            );
        }
        marks.push(CellMark::Dynamics(steps));
    }
}

/// A dynamic after a comma goes on with the dynamics before it: `p < f > p, niente`.
fn merge_dynamics(marks: &mut Vec<CellMark>) {
    let mut all: Vec<DynamicStep> = Vec::new();
    let mut first = None;
    let mut i = 0;
    while i < marks.len() {
        if let CellMark::Dynamics(steps) = &marks[i] {
            let later = !all.is_empty();
            all.extend(steps.iter().enumerate().map(|(k, s)| DynamicStep {
                // Into nothing is always a hairpin.
                hairpin: s.hairpin.or((later && k == 0 && s.dynamic == Dynamic::Niente).then_some(false)),
                ..*s
            }));
            if first.is_none() {
                first = Some(i);
                i += 1;
            } else {
                marks.remove(i);
            }
        } else {
            i += 1;
        }
    }
    if let Some(i) = first {
        marks[i] = CellMark::Dynamics(all);
    }
}

fn quoted(text: &str) -> Option<&str> {
    text.strip_prefix('"')?.strip_suffix('"')
}

fn is_dynamic(lower: &str) -> bool {
    let first =
        lower.split(|c: char| c == '<' || c == '>' || c == '(' || c.is_whitespace()).find(|w| !w.is_empty());
    lower.starts_with('<') || lower.starts_with('>') || first.is_some_and(|w| Dynamic::parse(w).is_some())
}

fn is_name(word: &str) -> bool {
    word.starts_with(|c: char| c.is_alphabetic())
        && word.chars().all(|c| c.is_alphanumeric() || matches!(c, '-' | '_' | '.'))
}

fn line(word: &str) -> Source {
    let (name, voice) = match word.rsplit_once('.') {
        Some((name, "top")) => (name, LineVoice::Top),
        Some((name, "bottom")) => (name, LineVoice::Bottom),
        Some((name, number)) => match number.parse::<u8>() {
            Ok(1) => (name, LineVoice::Top),
            Ok(n) if n > 0 => (name, LineVoice::Nth(n)),
            _ => (word, LineVoice::All),
        },
        None => (word, LineVoice::All),
    };
    Source::Line { name: name.to_string(), voice }
}

/// `8.4`, `8`, `8.4.5` for the half of beat 4 (beat 4.5).
fn parse_place(text: &str) -> Option<PlaceWord> {
    let (bar, beat) = match text.split_once('.') {
        Some((bar, beat)) => (bar, Some(beat.parse::<f64>().ok().filter(|b| (1.0..=64.0).contains(b))?)),
        None => (text, None),
    };
    let bar = bar.parse::<i32>().ok().filter(|b| (0..=100_000).contains(b))?;
    Some(PlaceWord { bar, beat })
}
