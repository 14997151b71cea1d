//! The words and signs of a cell, each with its place.

use crate::Span;

/// One word or sign.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Token<'t> {
    pub kind: Kind<'t>,
    pub span: Span,
}

/// What it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind<'t> {
    Word(&'t str),
    /// Text in quotes, without them; `closed` unless the cell ends inside.
    Quoted {
        text: &'t str,
        closed: bool,
    },
    Comma,
    Semicolon,
    Slash,
    Open,
    Close,
    Louder,
    Softer,
}

impl Kind<'_> {
    pub fn parts(self) -> bool {
        matches!(self, Self::Comma | Self::Semicolon | Self::Slash)
    }
}

/// Quotes that open, with what closes them: straight and typographic.
const QUOTES: [(char, &[char]); 5] =
    [('"', &['"']), ('\'', &['\'']), ('“', &['”']), ('„', &['“', '”']), ('‘', &['’'])];

/// Splits a cell into words and signs. Never fails: what is no sign is a word.
pub(crate) fn lex(text: &str) -> Vec<Token<'_>> {
    let mut tokens = Vec::new();
    let mut at = 0;
    while let Some(c) = text[at..].chars().next() {
        let start = at;
        at += c.len_utf8();
        let kind = match c {
            c if c.is_whitespace() => continue,
            ',' => Kind::Comma,
            ';' => Kind::Semicolon,
            '/' => Kind::Slash,
            '(' => Kind::Open,
            ')' => Kind::Close,
            '<' => Kind::Louder,
            '>' => Kind::Softer,
            c => match QUOTES.iter().find(|q| q.0 == c) {
                Some((_, closing)) => {
                    let (inner, end) = match closing_at(&text[at..], closing) {
                        Some((i, length)) => (at + i, at + i + length),
                        None => (text.len(), text.len()),
                    };
                    let kind = Kind::Quoted { text: &text[at..inner], closed: inner < end };
                    at = end;
                    kind
                }
                None => {
                    let rest = &text[start..];
                    at = start + rest.find(ends_word).filter(|n| *n > 0).unwrap_or(rest.len());
                    Kind::Word(&text[start..at])
                }
            },
        };
        tokens.push(Token { kind, span: Span { start, end: at } });
    }
    tokens
}

fn ends_word(c: char) -> bool {
    c.is_whitespace() || matches!(c, ',' | ';' | '/' | '(' | ')' | '<' | '>' | '"' | '“' | '”' | '„')
}

/// Where a quote closes. An apostrophe inside a word does not.
fn closing_at(rest: &str, closing: &[char]) -> Option<(usize, usize)> {
    rest.char_indices().find_map(|(i, c)| {
        let after = rest[i + c.len_utf8()..].chars().next();
        let closes = closing.contains(&c) && (!matches!(c, '\'' | '’') || after.is_none_or(ends_word));
        closes.then_some((i, c.len_utf8()))
    })
}

/// The text in quotes that read back as it.
pub(crate) fn in_quotes(text: &str) -> String {
    let pairs = [('"', '"'), ('\'', '\''), ('“', '”'), ('„', '“')];
    let fits = |&(open, close): &(char, char)| {
        let whole = format!("{open}{text}{close}");
        matches!(lex(&whole)[..], [Token { kind: Kind::Quoted { text: t, closed: true }, .. }] if t == text)
    };
    let (open, close) = pairs.into_iter().find(fits).unwrap_or(('"', '"'));
    format!("{open}{text}{close}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_and_signs() {
        let kinds: Vec<Kind<'_>> = lex("div.: a / b 8va, p<f (bar 5)").iter().map(|t| t.kind).collect();
        use Kind::*;
        let expected = [
            Word("div.:"),
            Word("a"),
            Slash,
            Word("b"),
            Word("8va"),
            Comma,
            Word("p"),
            Louder,
            Word("f"),
            Open,
            Word("bar"),
            Word("5"),
            Close,
        ];
        assert_eq!(kinds, expected);
    }

    #[test]
    fn quotes() {
        let texts = |s| -> Vec<String> {
            lex(s)
                .iter()
                .filter_map(|t| match t.kind {
                    Kind::Quoted { text, closed } => Some(format!("{text}{}", if closed { "" } else { "|" })),
                    _ => None,
                })
                .collect()
        };
        assert_eq!(texts("\"oo\", 'ah'"), ["oo", "ah"]);
        assert_eq!(texts("'l'amour', p"), ["l'amour"]);
        assert_eq!(texts("“Ky-ri-e” „oo“ ‘l’air’"), ["Ky-ri-e", "oo", "l’air"]);
        assert_eq!(texts("words \"oo, p"), ["oo, p|"]);
        assert!(texts("coll'arco").is_empty());
    }

    #[test]
    fn spans_cover_their_text() {
        let text = "é 8va, \"ö\"";
        let cut: Vec<&str> = lex(text).iter().map(|t| &text[t.span.start..t.span.end]).collect();
        assert_eq!(cut, ["é", "8va", ",", "\"ö\""]);
    }
}
