//! `conductor`: many changes of tempo and metre close together.

use crate::{Found, Table};
use ripieno_music::{Finding, Severity};

/// A jump of tempo of less than this share is felt as the same tempo, or as a step of a ritardando (common practice, no source).
const JUMP: f64 = 0.12;
/// So many changes within so many bars are many (common practice, no source).
const MANY: usize = 5;
const WITHIN: i32 = 8;

pub(crate) fn check(table: &Table<'_>, out: &mut Vec<Finding>) {
    let timeline = table.timeline;
    let mut changes: Vec<i32> = Vec::new();
    let mut direction = 0.0;
    for pair in timeline.bars.windows(2) {
        // The bar after a pick-up has the metre that the pick-up is part of.
        let metre = pair[0].metre != pair[1].metre;
        let (before, now) = (timeline.tempo_at(pair[0].at), timeline.tempo_at(pair[1].at));
        let ratio = f64::from(before.micros.max(1)) / f64::from(now.micros.max(1)) - 1.0;
        // Bar for bar the same way is one accelerando or ritardando.
        let tempo = ratio.abs() > JUMP && ratio * direction <= 0.0;
        direction = if ratio.abs() > JUMP { ratio } else { 0.0 };
        if metre || tempo {
            changes.push(pair[1].number);
        }
    }
    let mut stretch: Option<(i32, i32, usize)> = None;
    let mut done: Vec<(i32, i32, usize)> = Vec::new();
    for (i, bar) in changes.iter().enumerate() {
        let Some(first) = (i + 1).checked_sub(MANY).map(|k| changes[k]) else { continue };
        if bar - first >= WITHIN {
            continue;
        }
        stretch = match stretch {
            Some((from, to, count)) if first <= to + 1 => Some((from, *bar, count + 1)),
            other => {
                done.extend(other);
                Some((first, *bar, MANY))
            }
        };
    }
    done.extend(stretch);
    for (from, to, count) in done {
        let Some(bar) = timeline.bar_numbered(from) else { continue };
        out.push(
            Found::new("conductor", Severity::Advice, "", timeline.place(bar.at))
                .to(to)
                .says(format!("{count} changes of tempo or metre in bars {from} to {to}"))
                .remedy("Rehearse it with the click, keep one beat through where you can, or take some changes out")
                .done(),
        );
    }
}
