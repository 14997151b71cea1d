//! Reading one source of a cell: a line, a chair, an octave, places.

use crate::cell::{Reader, SOURCES, is_name, is_octave, phrase, spanned};
use crate::diagnostic::did_you_mean;
use crate::lex::{Kind, Token, lex};
use crate::{CellWords, LineVoice, PlaceWord, Source, Span, Turn, nearest};
use ripieno_music::{Playing, words};

impl<'t> Reader<'t> {
    /// Reads a source, or more about one that was read; gives back the tokens that do not belong to it.
    pub(crate) fn turn<'p>(
        &mut self,
        tokens: &'p [Token<'t>],
        known: Option<Turn>,
    ) -> (Option<Turn>, &'p [Token<'t>]) {
        let named = known.is_some();
        let mut turn = known.unwrap_or(Turn {
            source: Source::Tacet,
            octave: 0,
            from: None,
            to: None,
            span: spanned(tokens),
        });
        let mut source = named.then(|| turn.source.clone());
        let mut octave: Option<Span> = None;
        let mut i = 0;
        while let Some(token) = tokens.get(i) {
            let Kind::Word(word) = token.kind else { break };
            let lower = word.to_lowercase();
            let next = match tokens.get(i + 1) {
                Some(Token { kind: Kind::Word(next), span }) => Some((*next, *span)),
                _ => None,
            };
            match lower.as_str() {
                "from" | "to" => {
                    match next.map(|(w, span)| (place(w), w, span)) {
                        Some((Some(place), _, _)) if lower == "from" => turn.from = Some(place),
                        Some((Some(place), _, _)) => turn.to = Some(place),
                        Some((None, text, span)) => self.fault(
                            span,
                            format!("`{text}` is no place"),
                            "write bar and beat, 8.4, or a bar, 8",
                        ),
                        None => self.fault(
                            token.span,
                            format!("`{word}` names no place"),
                            "write bar and beat, 8.4, or a bar, 8",
                        ),
                    }
                    i += 1;
                }
                "loco" => octave = Some(token.span),
                _ if is_octave(&lower).is_some() => {
                    if octave.is_some() {
                        self.fault(
                            token.span,
                            format!("`{word}` is a second octave mark"),
                            "one is enough: 15ma is two octaves up, 15mb two down",
                        );
                    }
                    octave = Some(token.span);
                    turn.octave = is_octave(&lower).unwrap_or(0);
                }
                _ if source.is_some() => break,
                "as" => {
                    if next.is_some_and(|n| n.0.eq_ignore_ascii_case("written")) {
                        source = Some(Source::AsWritten);
                    } else {
                        let span = next.map_or(token.span, |n| n.1);
                        self.fault(
                            span,
                            format!("`{}` is not understood", self.at(span)),
                            "did you mean `as written`?",
                        );
                        return (None, &[]);
                    }
                    i += 1;
                }
                "tacet" => source = Some(Source::Tacet),
                "col" | "colla" | "colle" | "coi" | "coll'" => {
                    let Some((chair, span)) = next else {
                        self.fault(
                            token.span,
                            format!("`{word}` names no chair"),
                            "write `col` and a chair: col violins-1",
                        );
                        return (None, &[]);
                    };
                    if chair.eq_ignore_ascii_case("legno") || chair.eq_ignore_ascii_case("arco") {
                        self.fault(
                            spanned(&tokens[i..]),
                            format!("`{}` is not understood", self.at(spanned(&tokens[i..]))),
                            format!("`col {chair}` is a way of playing: put commas between marks"),
                        );
                        return (None, &[]);
                    }
                    if !is_name(chair) || is_octave(&chair.to_lowercase()).is_some() {
                        self.fault(
                            span,
                            format!("`{chair}` is no chair"),
                            "write `col` and a chair: col violins-1",
                        );
                        return (None, &[]);
                    }
                    source = Some(Source::Col { chair: chair.to_lowercase() });
                    i += 1;
                }
                _ => match line(word) {
                    Ok(line) => {
                        // `cool violins-1`: a misspelled `col` before what can only be a chair.
                        if let Some((next, _)) = next
                            && is_name(next)
                            && nearest(&lower, ["col"]).is_some()
                        {
                            self.fault(
                                token.span,
                                format!("`{word}` is not understood"),
                                format!("did you mean `col {next}`?"),
                            );
                            source = Some(Source::Col { chair: next.to_lowercase() });
                            i += 1;
                        } else {
                            source = Some(line);
                        }
                    }
                    Err(Some((message, help))) => {
                        self.fault(token.span, message, help);
                        return (None, &[]);
                    }
                    Err(None) => {
                        let near = CellWords::vocabulary()
                            .chain(self.near.iter().copied())
                            .chain(["tacet", "as written"]);
                        let help = did_you_mean(word, near, || SOURCES.to_string());
                        self.fault(token.span, format!("`{word}` is not understood"), help);
                        return (None, &[]);
                    }
                },
            }
            i += 1;
        }
        let rest = tokens.get(i.min(tokens.len())..).unwrap_or(&[]);
        let Some(source) = source else {
            // Without a source there is nothing that the rest could belong to.
            let span = spanned(tokens);
            self.fault(span, format!("`{}` names no source", self.at(span)), SOURCES);
            return (None, &[]);
        };
        if source == Source::Tacet && turn.octave != 0 {
            self.fault(octave.unwrap_or(turn.span), "`tacet` has no octave", "remove the octave mark");
            turn.octave = 0;
        }
        turn.source = source;
        if !named {
            let end = rest.first().map_or(spanned(tokens).end, |r| {
                tokens.iter().rfind(|t| t.span.end <= r.span.start).map_or(turn.span.end, |t| t.span.end)
            });
            turn.span.end = end;
        }
        (Some(turn), rest)
    }
}

/// A line or a voice of one; else what is wrong with the voice, or nothing if it is no name at all.
fn line(word: &str) -> Result<Source, Option<(String, String)>> {
    let (name, voice) = match word.split_once('.') {
        None => (word, LineVoice::All),
        Some((name, voice)) => {
            let read = match voice.to_lowercase().as_str() {
                "top" => Some(LineVoice::Top),
                "bottom" => Some(LineVoice::Bottom),
                number => number
                    .parse::<u8>()
                    .ok()
                    .filter(|n| *n > 0)
                    .map(|n| if n == 1 { LineVoice::Top } else { LineVoice::Nth(n) }),
            };
            let help = || format!("voices are counted from the top: {name}.top, {name}.2, {name}.bottom");
            (
                name,
                read.ok_or_else(|| {
                    is_name(name).then(|| (format!("`{word}` names no voice of a line"), help()))
                })?,
            )
        }
    };
    if !is_name(name) {
        return Err(None);
    }
    Ok(Source::Line { name: name.to_string(), voice })
}

/// `8.4`: bar 8, beat 4; `8`: bar 8; `8.4.5`: half of a beat after beat 4.
pub(crate) fn place(text: &str) -> Option<PlaceWord> {
    let (bar, beat) = match text.split_once('.') {
        Some((bar, beat)) => {
            let plain = beat.starts_with(|c: char| c.is_ascii_digit())
                && beat.chars().all(|c| c.is_ascii_digit() || c == '.');
            (bar, Some(beat.parse::<f64>().ok().filter(|b| plain && (1.0..=64.0).contains(b))?))
        }
        None => (text, None),
    };
    let bar = bar.parse::<i32>().ok().filter(|b| (0..=100_000).contains(b))?;
    Some(PlaceWord { bar, beat })
}

/// The words of playing in a cell's text, each with its place.
pub(crate) fn playing_words(text: &str) -> Vec<(Playing, Span)> {
    let tokens = lex(text);
    let pieces = tokens.split(|t| t.kind.parts());
    pieces.filter_map(|piece| Some((words::mark(&phrase(piece))?, spanned(piece)))).collect()
}

/// The places that a cell's text names, each with where it names it.
pub(crate) fn place_words(text: &str) -> Vec<(PlaceWord, Span)> {
    let tokens = lex(text);
    let leads = |kind: Kind<'_>| match kind {
        Kind::Open => true,
        Kind::Word(word) => matches!(word.to_lowercase().as_str(), "from" | "to" | "bar" | "b." | "bar:"),
        _ => false,
    };
    let named = |pair: &[Token<'_>]| match pair[1].kind {
        Kind::Word(word) if leads(pair[0].kind) => Some((place(word)?, pair[1].span)),
        _ => None,
    };
    tokens.windows(2).filter_map(named).collect()
}
