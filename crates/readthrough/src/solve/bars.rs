//! Bells, bars, crotales and dulcimers: notes that a set does not have, and the octave in which it has them.

use super::lacking::{Sounding, different, sounding};
use super::spots::{list, name, names};
use crate::desk::Found;
use crate::phrase::breathes;
use crate::playable::cell_edit::words;
use crate::{Desk, Table};
use ripieno_instruments::{BarSet, Having};
use ripieno_music::{Change, Finding, Severity};
use ripieno_plan::{PlaceWord, Source};

/// Notes that lack and lie so many bars apart, or fewer, are one matter.
const APART: i32 = 4;
/// A passage goes to another octave as a whole where at least this share of its notes asks for it: the others were right.
const WHOLE: f64 = 0.5;
/// Octaves that are tried, nearest first.
const OCTAVES: [i16; 4] = [12, -12, 24, -24];

/// Every stretch with notes that the set lacks.
pub(super) fn bars(table: &Table<'_>, desk: &Desk<'_>, set: &BarSet) -> Vec<Finding> {
    let notes = sounding(table, desk);
    let bar = |n: &Sounding<'_>| table.timeline.place(n.note.at).bar;
    let passage = |n: &Sounding<'_>| table.passage_at(bar(n)).map(|p| p.from_bar);
    // What no set has; what many have not; what only large ones have.
    let kind = |n: &Sounding<'_>| match set.having(n.key) {
        Having::Plain => None,
        Having::Not => Some(0),
        _ if set.usual.holds(i16::from(n.key)) => Some(1),
        _ => Some(2),
    };
    let mut findings = Vec::new();
    for which in 0..3 {
        let these: Vec<&Sounding<'_>> = notes.iter().filter(|n| kind(n) == Some(which)).collect();
        let near =
            |a: &&Sounding<'_>, b: &&Sounding<'_>| bar(b) - bar(a) <= APART && passage(a) == passage(b);
        findings
            .extend(these.chunk_by(near).filter_map(|group| finding(table, desk, set, &notes, group, which)));
    }
    findings
}

fn finding(
    table: &Table<'_>,
    desk: &Desk<'_>,
    set: &BarSet,
    notes: &[Sounding<'_>],
    group: &[&Sounding<'_>],
    which: u8,
) -> Option<Finding> {
    let (first, last) = (group.first()?, group.last()?);
    let keys = different(group.iter().copied());
    let said = names(&keys);
    let is = if keys.len() == 1 { "is" } else { "are" };
    let ends = |r: &ripieno_instruments::Range| (name(r.low), name(r.high));
    let (severity, says) = match which {
        0 => {
            let (low, high) = ends(&set.large);
            let says = format!("{}: {said} {is} not there; a set goes from {low} to {high}", desk.name());
            (Severity::Impossible, says)
        }
        1 => (Severity::Advice, format!("{}: many have no {said}; chromatic ones do", desk.name())),
        _ => {
            let (low, high) = ends(&set.usual);
            let says =
                format!("{}: {said} {is} on large sets only; most go from {low} to {high}", desk.name());
            (Severity::Advice, says)
        }
    };
    let (remedy, change) = octave(table, desk, set, notes, group, &keys);
    let remedy = match severity {
        Severity::Impossible => remedy,
        _ => format!("Make sure of the instrument; or: {}", lower_first(&remedy)),
    };
    let place = |n: &Sounding<'_>| table.timeline.place(n.note.at);
    let found = Found::new("lacks-note", severity, desk.id(), place(first)).to(place(last).bar);
    Some(found.says(says).remedy(remedy).change(change).done())
}

fn lower_first(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}

/// The nearest octave in which the set has each of the notes, and the change that writes it where notes that are right stay.
fn octave(
    table: &Table<'_>,
    desk: &Desk<'_>,
    set: &BarSet,
    notes: &[Sounding<'_>],
    group: &[&Sounding<'_>],
    keys: &[u8],
) -> (String, Option<Change>) {
    let has =
        |key: u8, by: i16| u8::try_from(i16::from(key) + by).is_ok_and(|k| set.having(k) == Having::Plain);
    let ways: Vec<Option<i16>> = keys.iter().map(|k| OCTAVES.into_iter().find(|by| has(*k, *by))).collect();
    if ways.iter().all(Option::is_none) {
        return ("No remedy found: another instrument has to take the note".to_string(), None);
    }
    // One way for all of them, if there is one: in the whole passage, or in the bars that ask for it.
    for by in OCTAVES.into_iter().filter(|by| by.abs() == 12) {
        if keys.iter().all(|k| has(*k, by))
            && let Some((words, change)) = moved(table, desk, notes, group, by, &has)
        {
            return (words, Some(change));
        }
    }
    let each: Vec<String> = keys
        .iter()
        .zip(ways)
        .map(|(key, by)| match by {
            Some(by) => {
                let to = u8::try_from(i16::from(*key) + by).unwrap_or(*key);
                let way = if by > 0 { "up" } else { "down" };
                let far = if by.abs() == 12 { "an octave" } else { "two octaves" };
                format!("{} {far} {way} ({})", name(*key), name(to))
            }
            None => format!("{} for another instrument", name(*key)),
        })
        .collect();
    (format!("Write {}", list(&each)), None)
}

/// The cell with the passage, or with the bars that ask for it, an octave away.
fn moved(
    table: &Table<'_>,
    desk: &Desk<'_>,
    notes: &[Sounding<'_>],
    group: &[&Sounding<'_>],
    by: i16,
    has: &dyn Fn(u8, i16) -> bool,
) -> Option<(String, Change)> {
    let bar = |n: &Sounding<'_>| table.timeline.place(n.note.at).bar;
    let (from, to) = (bar(group.first()?), bar(group.last()?));
    let passage = table.passage_at(from)?;
    let within = |a: i32, b: i32| notes.iter().filter(move |n| a <= bar(n) && bar(n) <= b);
    let fit = |a: i32, b: i32| within(a, b).all(|n| has(n.key, by));
    let start = |bar: i32| table.timeline.bar_numbered(bar).map(|b| b.at);
    let breathes_at = |bar: i32| start(bar).is_none_or(|at| breathes(desk, at));
    let mark = if by > 0 { "8va" } else { "8vb" };
    let mut cell = words(table.cell_at(desk.id(), from)?)?;
    let all = within(passage.from_bar, passage.to_bar).count();
    let whole = group.len() as f64 >= WHOLE * all as f64 && fit(passage.from_bar, passage.to_bar);
    if whole && breathes_at(passage.from_bar) && breathes_at(passage.to_bar + 1) {
        cell.divisions.iter_mut().flatten().for_each(|turn| turn.octave += by);
        let change = table.cell_change(desk.id(), from, cell.to_string())?;
        return Some((format!("Play the passage {mark}"), change));
    }
    if !fit(from, to) || !breathes_at(from) || !breathes_at(to + 1) {
        return None;
    }
    // A cell of one source is said in turns: as it is, an octave away, as it is again.
    let [turns] = &mut cell.divisions[..] else { return None };
    let [turn] = &turns[..] else { return None };
    if turn.from.is_some() || turn.to.is_some() || turn.source == Source::Tacet {
        return None;
    }
    let at = |bar: i32| Some(PlaceWord { bar, beat: None });
    let mut parts = Vec::new();
    if from > passage.from_bar {
        parts.push(turn.clone());
    }
    let mut there = turn.clone();
    there.octave += by;
    there.from = at(from).filter(|_| from > passage.from_bar);
    parts.push(there);
    if to < passage.to_bar {
        let mut back = turn.clone();
        back.from = at(to + 1);
        parts.push(back);
    }
    *turns = parts;
    let text = cell.to_string();
    words(&text)?;
    let said = if from == to { format!("bar {from}") } else { format!("bars {from} to {to}") };
    Some((format!("Play {said} {mark}"), table.cell_change(desk.id(), from, text)?))
}
