//! Where movements begin in one file, and how far a da capo goes: from where, up to where.
//!
//! Common practice, no source: a da capo goes to the start of its movement; `Menuetto D.C.` means the menuet without its trio, up to
//! the double bar before that.

use super::barline::{Heading, Signs};
use super::sheet::{BarFacts, Sheet};
use ripieno_music::TimeMarkKind;
use ripieno_units::Beats;

/// What begins a movement by itself, and with one more sign beside it. See [`Movements::of`].
const ENOUGH: u8 = 2;
const PLAIN: u8 = 3;
/// So many starts are tried for one jump.
const MOST_STARTS: usize = 16;
/// A jump that so few bars follow ends the piece.
const FEW: usize = 4;

/// What is known of the movements in a file.
pub(super) struct Movements {
    /// The bars where the bar numbers begin again.
    pub again: Vec<bool>,
    /// How much says that a movement begins in a bar.
    weight: Vec<u8>,
    /// A title or a final barline says it.
    strong: Vec<bool>,
    trio: Vec<bool>,
    key: Vec<bool>,
    metre: Vec<bool>,
    /// The last start, trio, and fine or way to the coda up to each bar.
    start_before: Vec<usize>,
    trio_before: Vec<Option<usize>>,
    fine_before: Vec<Option<usize>>,
}

/// A da capo as it is played.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct DaCapo {
    pub to: usize,
    /// The last bar, where no word says it.
    pub end: Option<usize>,
    /// A start was chosen that no bar number proves.
    pub assumed: bool,
}

impl Movements {
    /// `signs` stand in the bars that they belong to.
    pub fn of(sheet: &Sheet, signs: &[Signs]) -> Self {
        let bars = &sheet.bars;
        let number = |bar: &BarFacts| bar.printed.parse::<i64>().ok();
        let mut metre = vec![false; bars.len()];
        let mut now = None;
        for (i, bar) in bars.iter().enumerate() {
            metre[i] = i > 0 && bar.metre.is_some() && bar.metre != now;
            now = bar.metre.or(now);
        }
        let mut key = vec![false; bars.len()];
        for (i, bar) in sheet.parts.iter().flat_map(|p| p.bars.iter().enumerate()).skip(1) {
            if let Some(here) = key.get_mut(i).filter(|_| i > 0) {
                *here |= bar.keys.iter().any(|k| k.0 == Beats::ZERO);
            }
        }
        let (mut again, mut weight) = (vec![false; bars.len()], vec![0; bars.len()]);
        let mut strong = vec![false; bars.len()];
        for i in 1..bars.len() {
            let (before, bar) = (&signs[i - 1], &bars[i]);
            let double = bars[i - 1].double[1] || bar.double[0];
            let closed = before.closes && before.backward.is_none() && !before.fine;
            let title = signs[i].heading == Some(Heading::Movement);
            let tempo = bar.marks.iter().any(|(at, kind, text)| {
                *at == Beats::ZERO && *kind == TimeMarkKind::Tempo && new_tempo(text)
            });
            let counted = matches!((number(bar), number(&bars[i - 1])), (Some(0 | 1), Some(n)) if n > 1);
            again[i] = counted && (before.closes || double || metre[i] || title || tempo);
            strong[i] = closed || title;
            if signs[i].heading != Some(Heading::Trio) {
                weight[i] = 2 * (u8::from(closed) + u8::from(title))
                    + u8::from(signs[i].forward)
                    + u8::from(double && !before.closes && !signs[i].forward)
                    + u8::from(metre[i])
                    + u8::from(tempo);
            }
        }
        let trio: Vec<bool> = signs.iter().map(|s| s.heading == Some(Heading::Trio)).collect();
        let start_before = last(&again).into_iter().map(|l| l.unwrap_or(0)).collect();
        let trio_before = last(&trio);
        Self { again, weight, strong, trio, key, metre, start_before, trio_before, fine_before: Vec::new() }
    }

    /// Tells it where fines are, when all signs are in their place.
    pub fn fines(&mut self, signs: &[Signs]) {
        let ends: Vec<bool> = signs.iter().map(|s| s.fine || s.to_coda).collect();
        self.fine_before = last(&ends);
    }

    /// May a movement begin here?
    pub fn may_begin(&self, bar: usize) -> bool {
        self.again.get(bar).copied().unwrap_or(false) || self.weight.get(bar).is_some_and(|w| *w >= ENOUGH)
    }

    /// Does a title or a final barline part a bar from the one before?
    pub fn is_closed_off(&self, bar: usize) -> bool {
        self.strong.get(bar).copied().unwrap_or(false)
    }

    /// The start that bar numbers prove, for a jump in a bar.
    pub fn start(&self, from: usize) -> usize {
        self.start_before.get(from).copied().unwrap_or(0)
    }

    /// Where a da capo in bar `from` goes, and where it ends if no fine says so.
    pub fn da_capo(&self, signs: &[Signs], from: usize) -> DaCapo {
        let first = self.start(from);
        let within = |list: &[Option<usize>]| list.get(from).copied().flatten().filter(|i| *i >= first);
        let (fine, trio) = (within(&self.fine_before), within(&self.trio_before));
        // Signs that an introduction has too count where the piece goes on after the jump.
        let next =
            (from + 1..self.again.len()).take(FEW + 1).find(|i| self.again[*i]).unwrap_or(self.again.len());
        let goes_on = next > from + FEW && !signs[from + 1..].iter().take(FEW).any(|s| s.coda);
        let named = signs[from].jump_names;
        let starts = (first + 1..=from)
            .rev()
            .filter(|i| self.weight[*i] >= ENOUGH && (self.strong[*i] || goes_on))
            .take(MOST_STARTS)
            .chain([first]);
        for to in starts {
            let assumed = to != first;
            if fine.is_some_and(|f| to <= f) {
                return DaCapo { to, end: None, assumed };
            }
            if let Some(trio) = trio.filter(|t| to < *t) {
                let end = (to + 1..=trio).find(|i| self.trio[*i]).map(|t| t - 1);
                return DaCapo { to, end, assumed };
            }
            if named && let Some(end) = self.first_part(signs, to, from) {
                return DaCapo { to, end: Some(end), assumed };
            }
            if fine.is_none() && trio.is_none() && !named && self.weight[to] >= PLAIN {
                return DaCapo { to, end: None, assumed };
            }
        }
        DaCapo { to: first, end: None, assumed: false }
    }

    /// The last bar of the first part between two bars: before a final barline, a new key or metre at a double bar, or the third
    /// repeated section.
    fn first_part(&self, signs: &[Signs], to: usize, from: usize) -> Option<usize> {
        let edge = |i: usize| signs[i].closes || signs[i].backward.is_some() || signs[i + 1].forward;
        let ends = || (to..from).filter(|i| edge(*i));
        ends()
            .find(|i| signs[*i].closes && signs[*i].backward.is_none())
            .or_else(|| ends().find(|i| self.key[*i + 1]))
            .or_else(|| ends().find(|i| self.metre[*i + 1]))
            .or_else(|| {
                let closing: Vec<usize> =
                    (to..=from).filter(|i| signs[*i].backward.is_some()).take(3).collect();
                let [_, second, third] = closing[..] else { return None };
                // A second ending may follow the sign.
                (second + 1..=third).find(|i| signs[*i].forward).map(|f| f - 1).or(Some(second))
            })
    }
}

/// The index of the last `true` up to each place.
fn last(list: &[bool]) -> Vec<Option<usize>> {
    let mut found = None;
    let each = |(i, is): (usize, &bool)| {
        found = is.then_some(i).or(found);
        found
    };
    list.iter().enumerate().map(each).collect()
}

/// A tempo that is set, and not one that changes or comes back.
fn new_tempo(text: &str) -> bool {
    const CHANGES: &[&str] = &[
        "a",
        "tempo",
        "poco",
        "più",
        "piu",
        "meno",
        "l",
        "stringendo",
        "string",
        "ritenuto",
        "riten",
        "allargando",
    ];
    let word = text.split(|c: char| !c.is_alphabetic()).find(|w| !w.is_empty()).unwrap_or("");
    let lower = word.to_lowercase();
    word.starts_with(char::is_uppercase)
        && !CHANGES.contains(&lower.as_str())
        && !["rit", "rall", "acc"].iter().any(|p| lower.starts_with(p))
}
