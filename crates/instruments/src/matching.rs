//! The index of all names.

use crate::words::tokens;
use crate::{Instrument, table};
use std::collections::BTreeMap;
use std::sync::OnceLock;

/// Joined tokens of a name -> indexes of the instruments that bear it, the plural marked.
type Index = BTreeMap<String, Vec<(usize, Form)>>;

/// Instruments that bear a name, each with the form that it is.
pub(crate) type Bearers = Vec<(&'static Instrument, Form)>;

/// Which form of its name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Form {
    /// A full name, one player.
    Singular,
    /// A full name, several.
    Plural,
    /// An abbreviation.
    Short,
}

fn index() -> &'static Index {
    static INDEX: OnceLock<Index> = OnceLock::new();
    INDEX.get_or_init(|| {
        let mut index = Index::new();
        for (i, instrument) in table().iter().enumerate() {
            for list in [
                &instrument.names.english,
                &instrument.names.italian,
                &instrument.names.german,
                &instrument.names.french,
            ] {
                for (k, name) in list.iter().enumerate() {
                    let form = if k % 2 == 1 && list.len() > 1 { Form::Plural } else { Form::Singular };
                    add(&mut index, name, i, form);
                }
            }
            for short in &instrument.abbreviations {
                add(&mut index, short, i, Form::Short);
            }
        }
        index
    })
}

fn add(index: &mut Index, name: &str, instrument: usize, form: Form) {
    let entry = index.entry(tokens(name).join(" ")).or_default();
    if !entry.iter().any(|e| e.0 == instrument) {
        entry.push((instrument, form));
    }
}

/// The instruments that bear exactly these words.
pub(crate) fn exact(words: &[String]) -> Bearers {
    let joined = words.join(" ");
    let tight = words.concat();
    let found = index().get(&joined).or_else(|| index().get(&tight));
    found.map(|list| list.iter().map(|(i, form)| (&table()[*i], *form)).collect()).unwrap_or_default()
}

/// The longest stretch of words that is a name: where, how many, and whose.
pub(crate) fn longest(words: &[String]) -> Option<(usize, usize, Bearers)> {
    for length in (1..=words.len()).rev() {
        for start in 0..=words.len() - length {
            let found = exact(&words[start..start + length]);
            if !found.is_empty() {
                return Some((start, length, found));
            }
        }
    }
    None
}
