//! Breaths of a cell: `breath (12.3)`, a comma in the part before that place.

use crate::cell::{Reader, spanned};
use crate::lex::{Kind, Token};
use crate::source::place;
use crate::{CellMark, PlaceWord, Span};

/// The word that begins it.
pub(crate) const WORD: &str = "breath";

/// Reads the tokens of one piece that begins with [`WORD`]; faults are left out of the value.
pub(crate) fn read(reader: &mut Reader<'_>, text: &str, tokens: &[Token<'_>]) -> Vec<PlaceWord> {
    let cut = |span: Span| text.get(span.start..span.end).unwrap_or("");
    let help = "write the place that it comes before: breath (12.3), breath (bar 5)";
    let mut places = Vec::new();
    let mut rest = tokens.get(1..).unwrap_or(&[]);
    if rest.is_empty() {
        reader.fault(spanned(tokens), format!("`{WORD}` names no place"), help);
    }
    while let Some(first) = rest.first() {
        let end = match first.kind {
            Kind::Open => {
                rest.iter().position(|t| t.kind == Kind::Close).map_or(rest.len(), |closes| closes + 1)
            }
            _ => 1,
        };
        let (piece, after) = rest.split_at(end);
        let inner: Vec<&str> = piece
            .iter()
            .filter_map(|t| if let Kind::Word(word) = t.kind { Some(word) } else { None })
            .collect();
        let closed = first.kind == Kind::Open
            && piece.last().map(|t| t.kind) == Some(Kind::Close)
            && end == inner.len() + 2;
        let named = match inner[..] {
            [one] if closed => place(one),
            [bar, one] if closed && matches!(bar.to_lowercase().as_str(), "bar" | "b." | "bar:") => {
                place(one)
            }
            _ => None,
        };
        match named {
            Some(at) => places.push(at),
            None => {
                let span = spanned(piece);
                reader.fault(span, format!("`{}` is no place", cut(span)), help);
            }
        }
        rest = after;
    }
    places
}

/// All breaths of a cell are one mark.
pub(crate) fn add(marks: &mut Vec<CellMark>, places: Vec<PlaceWord>) {
    let before = marks.iter_mut().find_map(|m| if let CellMark::Breath(p) = m { Some(p) } else { None });
    match before {
        Some(before) => before.extend(places),
        None if places.is_empty() => {}
        None => marks.push(CellMark::Breath(places)),
    }
}
