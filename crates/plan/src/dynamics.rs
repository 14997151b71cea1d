//! Dynamics of a cell: `p`, `p < f`, `p < f (bar 5) > p, niente`.

use crate::cell::Reader;
use crate::diagnostic::did_you_mean;
use crate::lex::{Kind, Token};
use crate::source::place;
use crate::{CellMark, DynamicStep, Span};
use ripieno_music::{Dynamic, words};

/// Words that stand for a hairpin.
const HAIRPINS: [(&str, bool); 8] = [
    ("cresc", true),
    ("crescendo", true),
    ("dim", false),
    ("dimin", false),
    ("diminuendo", false),
    ("decresc", false),
    ("decrescendo", false),
    ("smorz", false),
];

fn hairpin(word: &str) -> Option<bool> {
    let word = word.trim_end_matches('.');
    HAIRPINS.iter().find(|(w, _)| *w == word).map(|(_, louder)| *louder)
}

/// Does a piece that begins with this word (in lower case) hold dynamics?
pub(crate) fn starts(word: &str) -> bool {
    Dynamic::parse(word).is_some() || hairpin(word).is_some() || matches!(word, "al" | "dal")
}

/// Reads the tokens of one piece; faults are left out of the value.
pub(crate) fn read(reader: &mut Reader<'_>, text: &str, tokens: &[Token<'_>]) -> Vec<DynamicStep> {
    let cut = |span: Span| text.get(span.start..span.end).unwrap_or("");
    let mut steps: Vec<DynamicStep> = Vec::new();
    // A hairpin that waits for its dynamic.
    let mut open: Option<(bool, Span)> = None;
    let mut i = 0;
    while let Some(token) = tokens.get(i) {
        i += 1;
        let sign = match token.kind {
            Kind::Louder => Some(true),
            Kind::Softer => Some(false),
            Kind::Word(word) => hairpin(&word.to_lowercase()),
            _ => None,
        };
        if let Some(louder) = sign {
            if let Some((_, before)) = open {
                leads_nowhere(reader, cut(before), before);
            }
            open = Some((louder, token.span));
            continue;
        }
        match token.kind {
            Kind::Open => {
                let end = tokens[i..]
                    .iter()
                    .position(|t| t.kind == Kind::Close)
                    .map_or(tokens.len(), |n| i + n + 1);
                let last = tokens.get(end.saturating_sub(1)).unwrap_or(token);
                let span = Span { start: token.span.start, end: last.span.end };
                let inner: Vec<&str> = tokens[i..end]
                    .iter()
                    .filter_map(|t| if let Kind::Word(word) = t.kind { Some(word) } else { None })
                    .collect();
                let closed = last.kind == Kind::Close;
                i = end;
                let named = match inner[..] {
                    [one] => place(one),
                    [bar, one] if matches!(bar.to_lowercase().as_str(), "bar" | "b." | "bar:") => place(one),
                    _ => None,
                };
                match (named.filter(|_| closed), steps.last_mut()) {
                    (Some(at), Some(step)) => step.at = Some(at),
                    (Some(_), None) => reader.fault(
                        span,
                        "a place stands before any dynamic",
                        "write the dynamic first: f (bar 5)",
                    ),
                    (None, _) => {
                        reader.fault(
                            span,
                            format!("`{}` is no place", cut(span)),
                            "write (bar 5) or (5.3) after a dynamic",
                        );
                    }
                }
            }
            Kind::Word(word) => {
                let lower = word.to_lowercase();
                let joined = match tokens.get(i).map(|t| t.kind) {
                    Some(Kind::Word(next)) if matches!(lower.as_str(), "al" | "dal") => {
                        Some(format!("{lower} {}", next.to_lowercase()))
                    }
                    _ => None,
                };
                let parsed = joined.as_deref().and_then(Dynamic::parse);
                if parsed.is_some() {
                    i += 1;
                }
                if let Some(dynamic) = parsed.or_else(|| Dynamic::parse(&lower)) {
                    steps.push(DynamicStep { hairpin: open.take().map(|o| o.0), dynamic, at: None });
                } else {
                    open = None;
                    no_dynamic(reader, token.span, word);
                }
            }
            _ => {
                open = None;
                no_dynamic(reader, token.span, cut(token.span));
            }
        }
    }
    if let Some((_, span)) = open {
        leads_nowhere(reader, cut(span), span);
    }
    steps
}

fn leads_nowhere(reader: &mut Reader<'_>, sign: &str, span: Span) {
    reader.fault(
        span,
        format!("`{sign}` leads to no dynamic"),
        format!("name the dynamic after it: p {sign} f"),
    );
}

fn no_dynamic(reader: &mut Reader<'_>, span: Span, word: &str) {
    let marks = ["ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "sfz", "fp", "niente"];
    let help = match words::mark(word) {
        Some(_) => format!("put a comma before `{word}`"),
        None => {
            did_you_mean(word, marks, || "expected a dynamic: ppp pp p mp mf f ff fff sfz fp niente".into())
        }
    };
    reader.fault(span, format!("`{word}` is no dynamic"), help);
}

/// A dynamic after a comma goes on with the dynamics before it: `p < f > p, niente`. Into nothing is always a hairpin.
pub(crate) fn add(marks: &mut Vec<CellMark>, mut steps: Vec<DynamicStep>) {
    let before =
        marks.iter_mut().find_map(|m| if let CellMark::Dynamics(steps) = m { Some(steps) } else { None });
    let later = before.as_ref().is_some_and(|b| !b.is_empty());
    for (i, step) in steps.iter_mut().enumerate() {
        if (later || i > 0) && step.dynamic == Dynamic::Niente && step.hairpin.is_none() {
            step.hairpin = Some(false);
        }
    }
    match before {
        Some(before) => before.extend(steps),
        None if steps.is_empty() => {}
        None => marks.push(CellMark::Dynamics(steps)),
    }
}
