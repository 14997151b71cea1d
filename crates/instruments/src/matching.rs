//! The index of all names, and where they stand in a name.

use crate::load::{self, Ambiguity};
use crate::words::{Token, texts};
use crate::{Instrument, table};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;

/// Most words of a name in the table.
const MOST_WORDS: usize = 5;

/// A name found among tokens.
#[derive(Clone, Debug)]
pub(crate) struct Hit {
    /// First token.
    pub at: usize,
    /// Number of tokens.
    pub length: usize,
    /// What it may be, the usual one first.
    pub may: Vec<&'static Instrument>,
    /// Names several players.
    pub plural: bool,
    /// Doubtful whatever else is known.
    pub always_doubtful: bool,
    /// A chair of its own (`continuo`).
    pub chair: Option<&'static str>,
}

#[derive(Default)]
struct Index {
    /// Words joined by spaces -> instruments and whether the form is plural.
    names: BTreeMap<String, Vec<(usize, bool)>>,
    /// The same without spaces.
    tight: BTreeMap<String, String>,
    /// Words joined by spaces -> entry of the ambiguities.
    ambiguous: BTreeMap<String, &'static Ambiguity>,
    /// Full names by words, for abbreviations that are in no list.
    full: Vec<(Vec<String>, usize)>,
}

/// Reads the tables and lays their names out, as the first question would: for whoever will ask soon and has a processor idle.
pub fn prepare() {
    index();
}

fn index() -> &'static Index {
    static INDEX: OnceLock<Index> = OnceLock::new();
    INDEX.get_or_init(build)
}

/// A name as its words; with `oe` for `ö` as a second spelling.
fn spellings(name: &str) -> Vec<Vec<String>> {
    let mut all = vec![texts(name)];
    let umlauts = [("ä", "ae"), ("ö", "oe"), ("ü", "ue"), ("Ä", "Ae"), ("Ö", "Oe"), ("Ü", "Ue")];
    let spelt = umlauts.iter().fold(name.to_string(), |n, (from, to)| n.replace(from, to));
    if spelt != name {
        all.push(texts(&spelt));
    }
    all
}

fn build() -> Index {
    let mut index = Index::default();
    // Words that only plurals have: `flauti`, `grandes`. In the lists the plural follows its singular.
    let (mut ones, mut manies) = (BTreeSet::new(), BTreeSet::new());
    for instrument in table() {
        let n = &instrument.names;
        for list in [&n.english, &n.italian, &n.german, &n.french] {
            for pair in list.chunks(2) {
                let [one, many] = pair else { continue };
                let one = texts(one);
                for many in spellings(many).into_iter().filter(|m| m.len() == one.len()) {
                    let alike = |a: &str, b: &str| {
                        a != b && b.len() >= a.len() && a.get(..2).is_some_and(|start| b.starts_with(start))
                    };
                    manies.extend(one.iter().zip(many).filter(|(a, b)| alike(a, b)).map(|(_, b)| b));
                }
            }
            ones.extend(list.first().map(|n| spellings(n)).unwrap_or_default().into_iter().flatten());
        }
    }
    let only_many: BTreeSet<&String> = manies.difference(&ones).collect();
    for (i, instrument) in table().iter().enumerate() {
        let own: BTreeSet<String> = instrument
            .names
            .all()
            .chain(instrument.abbreviations.iter().map(String::as_str))
            .flat_map(spellings)
            .map(|w| w.join(" "))
            .collect();
        for (name, full) in instrument
            .names
            .all()
            .map(|n| (n, true))
            .chain(instrument.abbreviations.iter().map(|n| (n.as_str(), false)))
        {
            for words in spellings(name) {
                let joined = words.join(" ");
                let short_plural = joined.strip_suffix('s').is_some_and(|one| own.contains(one));
                let plural = short_plural || words.iter().any(|w| only_many.contains(w));
                let entry = index.names.entry(joined.clone()).or_default();
                if !entry.iter().any(|e| e.0 == i) {
                    entry.push((i, plural));
                }
                index.tight.entry(words.concat()).or_insert(joined);
                if full {
                    index.full.push((words, i));
                }
            }
        }
    }
    for ambiguity in load::ambiguities() {
        for name in &ambiguity.names {
            for words in spellings(name) {
                index.tight.entry(words.concat()).or_insert_with(|| words.join(" "));
                index.ambiguous.entry(words.join(" ")).or_insert(ambiguity);
            }
        }
    }
    index
}

/// What exactly these words may mean.
fn exact(words: &[&str]) -> Option<Hit> {
    let index = index();
    let joined = words.join(" ");
    let known = |key: &str| index.names.contains_key(key) || index.ambiguous.contains_key(key);
    let key = if known(&joined) {
        joined
    } else if let Some(spaced) =
        index.tight.get(&words.concat()).filter(|_| words.last().is_some_and(|w| w.len() > 1))
    {
        // `V.ni`, `BCl`, but not `Hr. F` for `Hrf.`
        spaced.clone()
    } else if let [a, b] = words
        && a.len() > 1
        && b.len() > 1
        && known(&format!("{b} {a}"))
    {
        // `Clar. Bass`, `Fl. alto`.
        format!("{b} {a}")
    } else {
        return None;
    };
    let named = index.names.get(&key);
    let plural = named.is_some_and(|list| list.iter().any(|e| e.1));
    let mut hit =
        Hit { at: 0, length: words.len(), may: Vec::new(), plural, always_doubtful: false, chair: None };
    if let Some(ambiguity) = index.ambiguous.get(&key) {
        hit.may = ambiguity.may.iter().filter_map(|id| crate::by_id(id)).collect();
        hit.always_doubtful = ambiguity.always_doubtful;
        hit.chair = ambiguity.chair.as_deref();
        hit.plural = plural;
    } else {
        hit.may = named?.iter().filter_map(|(i, _)| table().get(*i)).collect();
    }
    (!hit.may.is_empty()).then_some(hit)
}

/// What these words, as beginnings of words, may mean: `Contr. Fag.`, `Viol. da g.`
fn beginning(words: &[&str]) -> Option<Hit> {
    let least = if words.len() == 1 { 4 } else { 3 };
    if words.iter().any(|w| w.len() < least) {
        return None;
    }
    let mut may: BTreeSet<usize> = BTreeSet::new();
    for (name, i) in &index().full {
        if name.len() == words.len() && name.iter().zip(words).all(|(n, w)| n.starts_with(w)) {
            may.insert(*i);
        }
    }
    if may.is_empty() || may.len() > 4 {
        return None;
    }
    let may: Vec<&'static Instrument> = may.into_iter().filter_map(|i| table().get(i)).collect();
    Some(Hit { at: 0, length: words.len(), may, plural: false, always_doubtful: false, chair: None })
}

/// The names among tokens, longest first choice, in their order; what is used is left out and never spanned.
pub(crate) fn hits(tokens: &[Token], used: &mut [bool]) -> Vec<Hit> {
    let mut found: Vec<Hit> = Vec::new();
    type Look = fn(&[&str]) -> Option<Hit>;
    for length in (1..=MOST_WORDS.min(tokens.len())).rev() {
        // A word alone is taken as the beginning of a name only where nothing else is known.
        for (look, whole) in [(exact as Look, true), (beginning as Look, false)] {
            for at in 0..=tokens.len() - length {
                if used[at..at + length].iter().any(|u| *u) {
                    continue;
                }
                // A name does not begin outside brackets and end inside.
                if tokens[at..at + length].iter().any(|t| t.aside != tokens[at].aside) {
                    continue;
                }
                let words: Vec<&str> = tokens[at..at + length].iter().map(|t| t.text.as_str()).collect();
                // A letter alone is a name only where nothing else is said.
                if length == 1 && words[0].len() < 2 {
                    let rest = tokens.iter().enumerate().any(|(k, t)| {
                        k != at
                            && !used[k]
                            && !t.is_number()
                            && !crate::hints::filler(&t.text)
                            && !crate::hints::solo(&t.text)
                            && crate::hints::articulation(&t.text, None).is_none()
                    });
                    if rest || !found.is_empty() {
                        continue;
                    }
                }
                if length == 1 && !whole && !found.is_empty() {
                    continue;
                }
                if let Some(mut hit) = look(&words) {
                    hit.at = at;
                    used[at..at + length].fill(true);
                    found.push(hit);
                }
            }
        }
    }
    found.sort_by_key(|h| h.at);
    found
}
