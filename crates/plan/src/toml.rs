//! Reading TOML with places: one reader for the three files, which collects every complaint.

use crate::diagnostic::{Lines, did_you_mean};
use crate::{Diagnostic, Span};
use std::ops::Range;
use toml_edit::{Document, Item, Table, TableLike, Value};

/// After so many faults of TOML itself the text is given up.
const MOST_FAULTS: usize = 20;

/// A file that is being read, and what is to be said about it.
pub(crate) struct File<'a> {
    name: &'a str,
    pub text: &'a str,
    lines: Lines<'a>,
    pub found: Vec<Diagnostic>,
    /// Parts of it are not TOML and were passed over: what is missing may stand there.
    pub broken: bool,
}

impl<'a> File<'a> {
    pub fn new(name: &'a str, text: &'a str) -> Self {
        Self { name, text, lines: Lines::new(text), found: Vec::new(), broken: false }
    }

    /// The document. Each fault of TOML itself is a complaint, and its line is passed over, so that the rest is read.
    pub fn document(&mut self) -> Table {
        let mut text = self.text.to_string();
        let mut last: Option<usize> = None;
        for _ in 0..MOST_FAULTS {
            let error = match Document::parse(text.clone()) {
                Ok(document) => return document.into_table(),
                Err(error) => error,
            };
            self.broken = true;
            let span = error.span().unwrap_or(0..0);
            let blank = |i: usize| text.get(self.lines.range(i)).is_none_or(|l| l.trim().is_empty());
            let Some(line) = (0..=self.lines.index(span.start)).rev().find(|i| !blank(*i)) else { break };
            // What follows from a line that was passed over is not worth a second complaint.
            if last.is_none_or(|l| l.abs_diff(line) > 1) {
                let (message, help) = spoken(error.message(), text.get(span.clone()).unwrap_or(""));
                self.error(span, message, help);
            }
            last = Some(line);
            // Without its header a table would be read into the one before it.
            let header = text.get(self.lines.range(line)).is_some_and(|l| l.trim_start().starts_with('['));
            let starts =
                |i: &usize| text.get(self.lines.range(*i)).is_some_and(|l| l.trim_start().starts_with('['));
            let end = match header {
                true => (line + 1..self.lines.count()).find(starts).unwrap_or(self.lines.count()),
                false => line + 1,
            };
            let wiped = self.lines.range(line).start..self.lines.range(end - 1).end;
            let spaces: String =
                text[wiped.clone()].bytes().map(|b| if b == b'\n' { '\n' } else { ' ' }).collect();
            text.replace_range(wiped, &spaces);
        }
        self.broken = true;
        Table::new()
    }

    pub fn error(&mut self, span: Range<usize>, message: impl Into<String>, help: impl Into<String>) {
        self.push(span, message.into(), help.into(), false);
    }

    pub fn warn(&mut self, span: Range<usize>, message: impl Into<String>, help: impl Into<String>) {
        self.push(span, message.into(), help.into(), true);
    }

    fn push(&mut self, span: Range<usize>, message: String, help: String, warning: bool) {
        let (line, column) = self.lines.place(span.start);
        let span = Span { start: span.start, end: span.end };
        self.found.push(Diagnostic {
            file: self.name.to_string(),
            line,
            column,
            span,
            message,
            help,
            warning,
        });
    }

    /// The complaints, by place.
    pub fn complaints(mut self) -> Vec<Diagnostic> {
        self.found.sort_by_key(|d| (d.span.start, d.span.end));
        self.found
    }

    /// Keys that nobody reads are misspelled: says so, with the nearest.
    pub fn only(&mut self, table: &dyn TableLike, allowed: &[&str], inside: &str) {
        for (key, item) in table.iter() {
            if !allowed.contains(&key) {
                let span = key_span(table, key, item);
                let help = did_you_mean(key, allowed.iter().copied(), || {
                    format!("known here: {}", allowed.join(", "))
                });
                self.error(span, format!("`{key}` is not a key of {inside}"), help);
            }
        }
    }

    pub fn wrong(&mut self, item: &Item, key: &str, expected: &str) {
        self.error(span_of(item), format!("`{key}` is {}", kind(item)), format!("expected {expected}"));
    }

    pub fn string(&mut self, table: &dyn TableLike, key: &str) -> Option<String> {
        let item = table.get(key)?;
        let text = item.as_str().map(str::to_string);
        if text.is_none() {
            self.wrong(item, key, "a text in quotes");
        }
        text
    }

    pub fn boolean(&mut self, table: &dyn TableLike, key: &str) -> Option<bool> {
        let item = table.get(key)?;
        let value = item.as_bool();
        if value.is_none() {
            self.wrong(item, key, "true or false");
        }
        value
    }

    pub fn number(&mut self, table: &dyn TableLike, key: &str, low: f64, high: f64) -> Option<f64> {
        let item = table.get(key)?;
        match float(item) {
            Some(value) if (low..=high).contains(&value) => return Some(value),
            Some(value) => {
                let help = format!("expected a number from {low} to {high}");
                self.error(span_of(item), format!("`{key}` is {value}"), help);
            }
            None => self.wrong(item, key, &format!("a number from {low} to {high}")),
        }
        None
    }

    pub fn whole(&mut self, table: &dyn TableLike, key: &str, low: i64, high: i64) -> Option<i64> {
        let item = table.get(key)?;
        let expected = match (low, high) {
            (i64::MIN, i64::MAX) => "a whole number".to_string(),
            (low, i64::MAX) => format!("a whole number of {low} or more"),
            _ => format!("a whole number from {low} to {high}"),
        };
        match item.as_integer() {
            Some(value) if (low..=high).contains(&value) => return Some(value),
            Some(value) => {
                self.error(span_of(item), format!("`{key}` is {value}"), format!("expected {expected}"))
            }
            None => self.wrong(item, key, &expected),
        }
        None
    }

    /// A list of texts, each with its place.
    pub fn strings(&mut self, table: &dyn TableLike, key: &str) -> Vec<(String, Range<usize>)> {
        let Some(item) = table.get(key) else { return Vec::new() };
        let Some(array) = item.as_array() else {
            self.wrong(item, key, "a list of texts");
            return Vec::new();
        };
        let mut out = Vec::new();
        for value in array {
            match value.as_str() {
                Some(text) => out.push((text.to_string(), value_span(value))),
                None => {
                    let message = format!("`{key}` lists {}", value_kind(value));
                    self.error(value_span(value), message, "expected texts in quotes");
                }
            }
        }
        out
    }

    pub fn table<'t>(&mut self, table: &'t dyn TableLike, key: &str) -> Option<&'t dyn TableLike> {
        let item = table.get(key)?;
        let found = item.as_table_like();
        if found.is_none() {
            self.wrong(item, key, "a table");
        }
        found
    }
}

/// What the TOML reader says, in words for people who do not know its grammar.
fn spoken(message: &str, at: &str) -> (String, String) {
    let message = message.trim().replace('\n', "; ");
    let known = [
        (
            "string values must be quoted",
            "a text stands without quotes",
            "put it in quotes: title = \"Night Ferry\"",
        ),
        ("invalid basic string", "the quotes of this text do not close", "close them on the same line"),
        ("invalid literal string", "the quotes of this text do not close", "close them on the same line"),
        ("unclosed table", "this header does not close", "close it: [cue], [[passage]]"),
        ("unclosed array", "this list does not close", "close it with ]"),
        (
            "missing comma",
            "a comma is missing before this",
            "put commas between entries; a list ends with ], a table with }",
        ),
        ("unclosed inline table", "this table does not close", "close it with }"),
    ];
    if message.starts_with("duplicate key") {
        return (format!("`{}` stands twice", at.trim()), "keep one of them".into());
    }
    if let Some((_, said, help)) = known.iter().find(|(start, _, _)| message.starts_with(start)) {
        return (said.to_string(), help.to_string());
    }
    (
        format!("this is not TOML: {message}"),
        "correct the text here; values that are text stand in quotes".into(),
    )
}

pub(crate) fn span_of(item: &Item) -> Range<usize> {
    item.span().unwrap_or(0..0)
}

pub(crate) fn value_span(value: &Value) -> Range<usize> {
    value.span().unwrap_or(0..0)
}

/// Where a key stands; tables that several headers make have no place of their own.
pub(crate) fn key_span(table: &dyn TableLike, key: &str, item: &Item) -> Range<usize> {
    table.key(key).and_then(|k| k.span()).or(item.span()).unwrap_or(0..0)
}

pub(crate) fn table_span(table: &Table) -> Span {
    table.span().map_or(Span::default(), |s| Span { start: s.start, end: s.end })
}

pub(crate) fn float(item: &Item) -> Option<f64> {
    item.as_value().and_then(value_float)
}

pub(crate) fn value_float(value: &Value) -> Option<f64> {
    value.as_float().or_else(|| value.as_integer().map(|i| i as f64)).filter(|v| v.is_finite())
}

fn kind(item: &Item) -> &'static str {
    match item {
        Item::Value(value) => value_kind(value),
        _ => "a table",
    }
}

fn value_kind(value: &Value) -> &'static str {
    match value {
        Value::String(_) => "a text",
        Value::Integer(_) | Value::Float(_) => "a number",
        Value::Boolean(yes) if *yes.value() => "true",
        Value::Boolean(_) => "false",
        Value::Array(_) => "a list",
        Value::InlineTable(_) => "a table",
        Value::Datetime(_) => "a date without quotes",
    }
}

/// Where the bytes of a string's value stand in the file.
pub(crate) struct Inside {
    start: usize,
    offsets: Vec<usize>,
}

impl Inside {
    /// `literal` is where the string stands, quotes and escapes included.
    pub fn new(text: &str, literal: Span) -> Self {
        Self { start: literal.start, offsets: offsets(text.get(literal.start..literal.end).unwrap_or("")) }
    }

    pub fn place(&self, at: Span) -> Range<usize> {
        let find = |byte: usize| self.offsets.get(byte).or(self.offsets.last()).map_or(0, |o| o + self.start);
        find(at.start)..find(at.end).max(find(at.start))
    }
}

/// For each byte of a string's value, and its end, the byte of its TOML that it comes from (TOML 1.0, section String).
fn offsets(raw: &str) -> Vec<usize> {
    let long = raw.starts_with("\"\"\"") || raw.starts_with("'''");
    let basic = raw.starts_with('"');
    let mark = if long { 3 } else { 1 };
    let end = raw.len().saturating_sub(mark).max(mark.min(raw.len()));
    let body = raw.get(mark..end).unwrap_or("");
    let mut at = mark;
    let mut rest = body;
    if long {
        let cut = if rest.starts_with("\r\n") { 2 } else { usize::from(rest.starts_with('\n')) };
        (at, rest) = (at + cut, &rest[cut..]);
    }
    let mut out = Vec::with_capacity(rest.len() + 1);
    while let Some(c) = rest.chars().next() {
        let (taken, made) =
            if basic && c == '\\' { escape(rest, long) } else { (c.len_utf8(), c.len_utf8()) };
        let taken = (taken.clamp(1, rest.len())..rest.len())
            .find(|i| rest.is_char_boundary(*i))
            .unwrap_or(rest.len());
        out.extend((0..made).map(|i| at + i.min(taken - 1)));
        (at, rest) = (at + taken, &rest[taken..]);
    }
    out.push(at);
    out
}

/// Bytes that an escape takes, and bytes of the value that it makes.
fn escape(rest: &str, long: bool) -> (usize, usize) {
    let Some(c) = rest.chars().nth(1) else { return (1, 0) };
    let digits = match c {
        'x' => 2,
        'u' => 4,
        'U' => 8,
        c if c.is_whitespace() && long => {
            return (1 + rest[1..].len() - rest[1..].trim_start().len(), 0);
        }
        _ => return (1 + c.len_utf8(), 1),
    };
    let code = rest.get(2..2 + digits).and_then(|d| u32::from_str_radix(d, 16).ok()).and_then(char::from_u32);
    (2 + digits, code.map_or(1, char::len_utf8))
}

/// A TOML string: in single quotes where that spares escapes, else a basic string.
pub fn quoted(text: &str) -> String {
    let plain = !text.chars().any(|c| c.is_control() || c == '\'');
    if plain && (text.contains('"') || text.contains('\\')) {
        return format!("'{text}'");
    }
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\n' => out.push_str("\\n"),
            '\t' => out.push_str("\\t"),
            '\r' => out.push_str("\\r"),
            c if c.is_control() => out.push_str(&format!("\\u{:04X}", u32::from(c))),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

/// A key as TOML writes it: bare where it can be.
pub(crate) fn key(text: &str) -> String {
    let bare = !text.is_empty() && text.chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_');
    if bare { text.to_string() } else { quoted(text) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every byte of the value is found again in the text, whatever the quotes.
    #[test]
    fn places_inside_strings() {
        for (raw, value) in [
            (r#""plain p""#, "plain p"),
            (r#""words \"oo\", p""#, "words \"oo\", p"),
            (r#"'words "oo", p'"#, "words \"oo\", p"),
            (r#""d\u00e9tach\u00E9, p""#, "détaché, p"),
            ("\"\"\"\nab \\\n   p\"\"\"", "ab p"),
            ("'''\r\na p'''", "a p"),
        ] {
            let parsed = Document::parse(format!("x = {raw}")).unwrap();
            assert_eq!(parsed.get("x").and_then(Item::as_str), Some(value), "{raw}");
            let table = offsets(raw);
            assert_eq!(table.len(), value.len() + 1, "{raw}");
            let p = value.rfind('p').unwrap();
            assert_eq!(&raw[table[p]..=table[p]], "p", "{raw}");
        }
    }

    #[test]
    fn strings_come_back() {
        for text in ["a", "say \"oo\"", "it's \"x\"", "\\ \n\t\u{1}", "'"] {
            let parsed = Document::parse(format!("x = {}", quoted(text))).unwrap();
            assert_eq!(parsed.get("x").and_then(Item::as_str), Some(text));
        }
    }
}
