//! The data files as text: rows of columns between tabs, `#` before what is for readers.

use ripieno_instruments::Instrument;
use std::sync::{Mutex, PoisonError};

/// A table cut into rows and columns.
type Cut = &'static [Vec<&'static str>];

/// Every table that was asked for, cut once: the read-through asks for thousands of notes.
static TABLES: Mutex<Vec<(&'static str, Cut)>> = Mutex::new(Vec::new());

/// A table, cut.
fn cut(text: &'static str) -> Cut {
    let mut tables = TABLES.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some((_, cut)) = tables.iter().find(|(t, _)| std::ptr::eq(*t, text)) {
        return cut;
    }
    let lines = text.lines().filter(|l| !l.starts_with('#') && !l.is_empty());
    // There are a handful of tables, each part of the program: what is kept is kept for good.
    let cut: Cut = Vec::leak(lines.map(|l| l.split('\t').collect()).collect());
    tables.push((text, cut));
    cut
}

/// Rows of a table as columns.
pub fn rows(text: &'static str) -> impl Iterator<Item = Vec<&'static str>> {
    cut(text).iter().cloned()
}

/// A number of a table; zero for what is none, such as `-`.
pub fn number(row: &[&str], column: usize) -> f64 {
    row.get(column).and_then(|c| c.parse().ok()).unwrap_or(0.0)
}

/// Numbers with this between them.
pub fn numbers(text: &str, between: char) -> Vec<f64> {
    text.split(between).filter_map(|n| n.parse().ok()).collect()
}

/// Does this first column hold the id?
pub fn names(row: &[&str], id: &str) -> bool {
    row.first().is_some_and(|ids| ids.split(',').any(|i| i == id))
}

/// The rows of an instrument, or else those of its family.
pub fn rows_of(text: &'static str, instrument: Option<&Instrument>) -> Vec<Vec<&'static str>> {
    let Some(instrument) = instrument else { return Vec::new() };
    let own: Vec<_> = cut(text).iter().filter(|r| names(r, &instrument.id)).cloned().collect();
    if !own.is_empty() {
        return own;
    }
    let family = format!("family:{}", instrument.family.word());
    cut(text).iter().filter(|r| names(r, &family)).cloned().collect()
}
