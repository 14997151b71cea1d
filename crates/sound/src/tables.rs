//! The data files as text: rows of columns between tabs, `#` before what is for readers.

use ripieno_instruments::{Family, Instrument};

/// Rows of a table as columns.
pub fn rows(text: &'static str) -> impl Iterator<Item = Vec<&'static str>> {
    text.lines().filter(|l| !l.starts_with('#') && !l.is_empty()).map(|l| l.split('\t').collect())
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
    let own: Vec<_> = rows(text).filter(|r| names(r, &instrument.id)).collect();
    if !own.is_empty() {
        return own;
    }
    let family = match instrument.family {
        Family::Woodwind => "family:woodwind",
        Family::Brass => "family:brass",
        Family::Percussion => "family:percussion",
        Family::Keyboard => "family:keyboard",
        Family::Plucked => "family:plucked",
        Family::Voices => "family:voices",
        Family::Strings => "family:strings",
    };
    rows(text).filter(|r| names(r, family)).collect()
}
