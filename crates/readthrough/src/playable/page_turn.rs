//! `page-turn`: long stretches of a part without a rest in which to turn the page.
//!
//! Where pages end is the copyist's; this counts how much music fits on two facing pages, roughly, and says so.

use super::sheet::{Sheet, said};
use ripieno_instruments::players::times;
use ripieno_music::{Finding, Severity};
use std::collections::{BTreeMap, BTreeSet};

/// Bars on two facing pages of a printed part: 2 pages of 10 staves with 5 bars each (common practice, no source).
const SPREAD: f64 = 100.0;
/// So many notes fill a bar of usual width; more make it wider (common practice, no source).
const NOTES_A_BAR: f64 = 12.0;
/// The count is rough: only what is so much longer than two facing pages is sure not to stand on them.
const SURE: f64 = 1.25;
/// Sections share desks: the inside player turns, so only so few players are asked.
const FEW: u16 = 2;

pub(crate) fn check(sheet: &Sheet<'_>, out: &mut Vec<Finding>) {
    let needs = times().page;
    if sheet.desk.players > FEW || sheet.notes.is_empty() || needs <= 0.0 {
        return;
    }
    // What is played again stands on the same page.
    let mut names: BTreeMap<&str, i32> = BTreeMap::new();
    let mut seen: BTreeSet<i32> = BTreeSet::new();
    for bar in &sheet.table.timeline.bars {
        if bar.printed.is_empty() || *names.entry(&bar.printed).or_insert(bar.number) == bar.number {
            seen.insert(bar.number);
        }
    }
    // Notes by bar; bars of rest between are one multi-bar rest.
    let mut by_bar: BTreeMap<i32, usize> = BTreeMap::new();
    for i in 0..sheet.notes.len() {
        *by_bar.entry(sheet.bar(i)).or_default() += 1;
    }
    let width = |from: i32, to: i32| -> f64 {
        let mut last = from - 1;
        let mut sum = 0.0;
        for (bar, notes) in by_bar.range(from..=to).filter(|(bar, _)| seen.contains(bar)) {
            sum += if *bar > last + 1 { 1.0 } else { 0.0 };
            sum += (*notes as f64 / NOTES_A_BAR).max(1.0);
            last = *bar;
        }
        sum
    };
    let mut report = |first: usize, last: usize| {
        let (from, to) = (sheet.bar(first), sheet.bar(last));
        let spreads = width(from, to) / SPREAD;
        if spreads <= SURE {
            return;
        }
        let at = sheet.place(sheet.notes[first].note.at);
        out.push(
            crate::Found::new("page-turn", Severity::Advice, sheet.desk.id(), at)
                .to(to)
                .says(format!(
                    "About {spreads:.1} double pages of a part (by a rough count of bars and notes) without a rest of {}",
                    said(needs)
                ))
                .remedy("Leave a rest on the way, let a neighbour turn, or print the part on a fold-out")
                .done(),
        );
    };
    let (mut first, mut to) = (0, sheet.notes[0].to);
    for i in 1..sheet.notes.len() {
        if sheet.notes[i].from - to >= needs {
            report(first, i - 1);
            first = i;
        }
        to = to.max(sheet.notes[i].to);
    }
    report(first, sheet.notes.len() - 1);
}
