//! Endings: the bars under brackets, and what is read where brackets are incomplete.
//!
//! Common practice, no source: an ending other than the last leads back; the first one is left out the last time. Where a bracket
//! lacks an end, a number or its repeat sign, it is read so that every printed bar is played.

use super::barline::{Backward, Signs};
use super::sheet::BarFacts;
use super::warn::Doubts;

/// More endings in a row than this are none.
const MOST_ENDINGS: usize = 64;

/// An ending: its bars, its passes, the row of endings that it belongs to.
#[derive(Clone, Debug)]
pub(super) struct Ending {
    pub first: usize,
    pub last: usize,
    pub passes: Vec<u32>,
    pub row: usize,
    pub ends_row: bool,
    /// It is the last of its row and begins the next repeated section.
    pub opens: bool,
}

/// The place of a warning.
pub(super) fn place(bars: &[BarFacts], bar: usize) -> String {
    let printed = bars.get(bar).map_or("", |b| b.printed.as_str());
    format!(
        "the repeats, bar {}",
        if printed.is_empty() { (bar + 1).to_string() } else { printed.to_owned() }
    )
}

/// All endings in order. A repeat sign that an ending cannot do without is added to `signs`.
pub(super) fn endings(signs: &mut [Signs], bars: &[BarFacts], doubts: &mut Doubts) -> Vec<Ending> {
    let mut found = collect(signs, bars, doubts);
    number(&mut found, signs, bars, doubts);
    lead_back(&found, signs, bars, doubts);
    for ending in &mut found {
        ending.opens = ending.ends_row && signs[ending.first].forward;
    }
    found
}

fn collect(signs: &[Signs], bars: &[BarFacts], doubts: &mut Doubts) -> Vec<Ending> {
    let mut found: Vec<Ending> = Vec::new();
    let mut i = 0;
    while i < signs.len() {
        let Some(passes) = &signs[i].ending else {
            // Only its end was written: the bar before the repeat sign, where another ending follows.
            let follower = signs.get(i + 1).and_then(|s| s.ending.as_ref());
            if signs[i].ending_stops
                && signs[i].backward.is_some()
                && let Some(next) = follower.map(|f| f.iter().min().copied().unwrap_or(2)).filter(|n| *n > 1)
            {
                doubts.add(place(bars, i), "an ending has no beginning; it is read as this bar alone");
                add(&mut found, signs, i, i, (1..next).collect());
            }
            i += 1;
            continue;
        };
        let last = reach(signs, i, passes, bars, doubts);
        add(&mut found, signs, i, last, passes.clone());
        i = last + 1;
    }
    found
}

/// How far an ending reaches: to its own end, to a repeat sign, or to the next ending; else it is one bar.
fn reach(signs: &[Signs], from: usize, passes: &[u32], bars: &[BarFacts], doubts: &mut Doubts) -> usize {
    let mut stop = None;
    for (j, sign) in signs.iter().enumerate().skip(from) {
        if j > from && (sign.ending.is_some() || sign.forward) {
            return stop.unwrap_or(j - 1);
        }
        if sign.backward.is_some() {
            let Some(stop) = stop else { return j };
            // The bracket was closed early: what comes before the sign belongs to it if the next ending follows.
            let follows = signs
                .get(j + 1)
                .and_then(|s| s.ending.as_ref())
                .is_some_and(|n| n.first() != Some(&1) && !n.iter().any(|p| passes.contains(p)));
            if follows && !sign.ending_stops {
                doubts.add(
                    place(bars, from),
                    "an ending closes before its repeat sign; it is read up to the sign",
                );
                return j;
            }
            return stop;
        }
        if sign.ending_stops && stop.is_none() {
            stop = Some(j);
        }
    }
    stop.unwrap_or(from)
}

fn add(found: &mut Vec<Ending>, signs: &[Signs], first: usize, last: usize, mut passes: Vec<u32>) {
    let mut follows = found.last().is_some_and(|before| {
        let length = found.iter().rev().take_while(|e| e.row == before.row).count();
        length < MOST_ENDINGS && before.last + 1 == first && passes.first() != Some(&1)
    });
    if follows && let Some(before) = found.last_mut() {
        if let Some(least) = passes.iter().min().copied()
            && before.passes.iter().any(|p| passes.contains(p))
        {
            // Two brackets of one number side by side: the first is the one before, if it leads back.
            follows = !before.passes.contains(&1) && signs[before.last].backward.is_some();
            if follows {
                before.passes = (1..least).collect();
            }
        }
        before.ends_row &= !follows;
    }
    let row = found.last().map_or(0, |before| before.row + usize::from(!follows));
    if passes.is_empty() {
        // An ending without number is the next in its row.
        let own = found.iter().rev().take_while(|e| e.row == row);
        passes.push(own.flat_map(|e| &e.passes).max().map_or(1, |p| p + 1));
    }
    found.push(Ending { first, last, passes, row, ends_row: true, opens: false });
}

/// Rows that do not begin with the first pass, and brackets that end nothing.
fn number(found: &mut Vec<Ending>, signs: &[Signs], bars: &[BarFacts], doubts: &mut Doubts) {
    let mut kept: Vec<Ending> = Vec::with_capacity(found.len());
    for row in found.chunk_by(|a, b| a.row == b.row) {
        let (Some(first), Some(last)) = (row.first(), row.last()) else { continue };
        let least = first.passes.iter().min().copied().unwrap_or(1);
        let led = first.first.checked_sub(1).is_some_and(|b| signs[b].backward.is_some());
        let leads = signs[last.last].backward.is_some();
        if least == 1 && (row.len() > 1 || leads) {
            kept.extend_from_slice(row);
        } else if least > 1 && row.len() > 1 && !led {
            doubts.add(
                place(bars, first.first),
                format!("the first of these endings is numbered {least}; it is read as the first"),
            );
            kept.extend(row.iter().cloned().map(|mut e| {
                e.passes.iter_mut().for_each(|p| *p = p.saturating_sub(least - 1).max(1));
                e
            }));
        } else if least > 1 {
            doubts.add(
                place(bars, first.first),
                format!("there is no ending before the one numbered {least}; it is played after the repeat"),
            );
        } else {
            doubts.add(
                place(bars, first.first),
                "a first ending has no repeat sign and no second ending; its bars are played each time",
            );
        }
    }
    *found = kept;
}

/// An ending before another one leads back, though the sign may have been forgotten. One that ends with a jump, or that has a
/// jump after it, may be meant for the time before that jump.
fn lead_back(found: &[Ending], signs: &mut [Signs], bars: &[BarFacts], doubts: &mut Doubts) {
    let last_jump = signs.iter().rposition(|s| s.jump.is_some());
    for ending in found.iter().filter(|e| !e.ends_row) {
        if signs[ending.last].backward.is_none() && last_jump.is_none_or(|j| j < ending.first) {
            doubts.add(
                place(bars, ending.last),
                "an ending before another has no repeat sign; it is played as if",
            );
            signs[ending.last].backward = Some(Backward { times: 2, after_jump: false });
        }
    }
}

/// Index of the ending that holds each bar.
pub(super) fn by_bar(endings: &[Ending], bars: usize) -> Vec<Option<usize>> {
    let mut at = vec![None; bars];
    for (i, ending) in endings.iter().enumerate() {
        at[ending.first..=ending.last].fill(Some(i));
    }
    at
}
