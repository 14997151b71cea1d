//! Reading TOML with places: one reader for the three files, which collects every complaint.

use crate::{Diagnostic, Span, nearest};
use toml_edit::{Document, Item, Table, TableLike, Value};

/// A file that is being read, and what is to be said about it.
pub(crate) struct File<'a> {
    name: &'a str,
    text: &'a str,
    pub found: Vec<Diagnostic>,
}

impl<'a> File<'a> {
    pub fn new(name: &'a str, text: &'a str) -> Self {
        Self { name, text, found: Vec::new() }
    }

    /// The document; a fault of TOML itself is a complaint, and gives an empty document.
    pub fn document(&mut self) -> Document<String> {
        match Document::parse(self.text.to_string()) {
            Ok(document) => document,
            Err(error) => {
                let span = error.span().unwrap_or(0..0);
                let message = error.message().trim().replace('\n', "; ");
                self.error(span, format!("this is not TOML: {message}"), "correct the text here");
                Document::parse(String::new()).unwrap_or_else(|_| unreachable_document())
            }
        }
    }

    pub fn error(&mut self, span: std::ops::Range<usize>, message: impl Into<String>, help: impl Into<String>) {
        self.push(span, message.into(), help.into(), false);
    }

    pub fn warn(&mut self, span: std::ops::Range<usize>, message: impl Into<String>, help: impl Into<String>) {
        self.push(span, message.into(), help.into(), true);
    }

    fn push(&mut self, span: std::ops::Range<usize>, message: String, help: String, warning: bool) {
        let (line, column) = place(self.text, span.start);
        let span = Span { start: span.start, end: span.end };
        self.found.push(Diagnostic { file: self.name.to_string(), line, column, span, message, help, warning });
    }

    /// Keys that nobody reads are misspelled: says so, with the nearest.
    pub fn only(&mut self, table: &dyn TableLike, allowed: &[&str], inside: &str) {
        let keys: Vec<(String, std::ops::Range<usize>)> = table
            .iter()
            .filter_map(|(key, item)| {
                let span = table.key(key).and_then(|k| k.span()).or(item.span()).unwrap_or(0..0);
                (!allowed.contains(&key)).then(|| (key.to_string(), span))
            })
            .collect();
        for (key, span) in keys {
            let help = match nearest(&key, allowed.iter().copied()) {
                Some(word) => format!("did you mean `{word}`?"),
                None => format!("known here: {}", allowed.join(", ")),
            };
            self.error(span, format!("`{key}` is not a key of {inside}"), help);
        }
    }

    fn wrong(&mut self, item: &Item, key: &str, expected: &str) {
        let found = kind(item);
        self.error(item.span().unwrap_or(0..0), format!("`{key}` is {found}"), format!("expected {expected}"));
    }

    pub fn string(&mut self, table: &dyn TableLike, key: &str) -> Option<String> {
        let item = table.get(key)?;
        match item.as_str() {
            Some(text) => Some(text.to_string()),
            None => {
                self.wrong(item, key, "a text in quotes");
                None
            }
        }
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
            Some(value) if (low..=high).contains(&value) => Some(value),
            Some(value) => {
                let span = item.span().unwrap_or(0..0);
                self.error(span, format!("`{key}` is {value}"), format!("expected a number from {low} to {high}"));
                None
            }
            None => {
                self.wrong(item, key, &format!("a number from {low} to {high}"));
                None
            }
        }
    }

    pub fn whole(&mut self, table: &dyn TableLike, key: &str, low: i64, high: i64) -> Option<i64> {
        let item = table.get(key)?;
        match item.as_integer() {
            Some(value) if (low..=high).contains(&value) => Some(value),
            Some(value) => {
                let span = item.span().unwrap_or(0..0);
                self.error(span, format!("`{key}` is {value}"), format!("expected a whole number from {low} to {high}"));
                None
            }
            None => {
                self.wrong(item, key, &format!("a whole number from {low} to {high}"));
                None
            }
        }
    }

    /// A list of texts.
    pub fn strings(&mut self, table: &dyn TableLike, key: &str) -> Vec<String> {
        let Some(item) = table.get(key) else { return Vec::new() };
        let Some(array) = item.as_array() else {
            self.wrong(item, key, "a list of texts");
            return Vec::new();
        };
        let mut out = Vec::new();
        for value in array {
            match value.as_str() {
                Some(text) => out.push(text.to_string()),
                None => self.error(value.span().unwrap_or(0..0), format!("`{key}` lists what is no text"), "expected texts in quotes"),
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

fn unreachable_document() -> Document<String> {
    // The empty text is TOML.
    Document::parse(String::from("# empty\n")).unwrap_or_else(|_| std::process::abort())
}

pub(crate) fn span_of(item: &Item) -> std::ops::Range<usize> {
    item.span().unwrap_or(0..0)
}

pub(crate) fn value_span(value: &Value) -> std::ops::Range<usize> {
    value.span().unwrap_or(0..0)
}

pub(crate) fn table_span(table: &Table) -> Span {
    table.span().map_or(Span::default(), |s| Span { start: s.start, end: s.end })
}

pub(crate) fn float(item: &Item) -> Option<f64> {
    item.as_float().or_else(|| item.as_integer().map(|i| i as f64)).filter(|v| v.is_finite())
}

pub(crate) fn value_float(value: &Value) -> Option<f64> {
    value.as_float().or_else(|| value.as_integer().map(|i| i as f64)).filter(|v| v.is_finite())
}

fn kind(item: &Item) -> String {
    match item.type_name() {
        "string" => "a text".into(),
        "integer" | "float" => "a number".into(),
        "boolean" => "true or false".into(),
        "array" => "a list".into(),
        other => format!("a {other}"),
    }
}

/// Line and column (in characters), from 1, of a byte.
pub(crate) fn place(text: &str, byte: usize) -> (usize, usize) {
    let mut byte = byte.min(text.len());
    while !text.is_char_boundary(byte) {
        byte -= 1;
    }
    let before = &text[..byte];
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().map_or(0, |l| l.chars().count()) + 1;
    (line, column)
}
