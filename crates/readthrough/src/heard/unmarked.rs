//! Where marks of dynamics have stopped: what one part was told long ago is no contrast to what another was told at another time.
//!
//! A mark holds until the next. Where no part has one for many bars, and those that hold were written bars apart and tell very
//! different things, the source has lost its marks, or its writer left them to the players: then nothing is said of balance.

use crate::playable::cell_edit::words;
use crate::{Desk, Found, Table};
use ripieno_music::{Direction, DirectionKind, Dynamic, Finding, Severity};
use ripieno_plan::Source;
use ripieno_units::Beats;
use std::collections::BTreeMap;

/// Nobody has a mark for so many bars and seconds: twice the longest that one is usual to hold (own choice).
const BARS: i32 = 32;
const SECONDS: f64 = 60.0;
/// A phrase after the last mark it is still what was meant, bars (own choice).
const PHRASE: i32 = 8;
/// Marks no more bars apart were set for one place.
const TOGETHER: i32 = 4;
/// dB: two marks apart.
const CONTRAST: f64 = 8.9;

/// Bars in which balance is not judged.
#[derive(Clone, Debug, PartialEq)]
pub struct Unmarked {
    /// The first of them.
    pub from_bar: i32,
    /// The last.
    pub to_bar: i32,
    /// The bar of the last mark of all.
    last_mark: i32,
    /// Softest and loudest desk with what holds there, and the bar since when.
    ends: [(usize, Dynamic, i32); 2],
}

/// A mark of one part: where, up to where it is being followed, and what holds then.
#[derive(Clone, Copy, Debug)]
struct Told {
    at: Beats,
    to: Beats,
    level: Option<Dynamic>,
}

/// All such stretches, in order.
pub fn unmarked(table: &Table<'_>) -> Vec<Unmarked> {
    let marks: Vec<Vec<Told>> = table.desks.iter().map(|d| told(table, d)).collect();
    let mut spans: Vec<(Beats, Beats)> = marks.iter().flatten().map(|t| (t.at, t.to)).collect();
    spans.sort();
    let end = table.timeline.end();
    spans.push((end, end));
    let bar = |at: Beats| table.timeline.place(at).bar;
    let mut out = Vec::new();
    let mut reached: Option<Beats> = None;
    for (at, to) in spans {
        if let Some(from) = reached.filter(|from| *from < at) {
            let last =
                if at >= end { table.timeline.bars.last().map_or(0, |b| b.number) } else { bar(at) - 1 };
            let seconds = table.clock.seconds(at).0 - table.clock.seconds(from).0;
            let first = bar(from) + PHRASE + 1;
            if last - bar(from) >= BARS
                && seconds >= SECONDS
                && let Some(ends) = contrast(table, &marks, from, at)
            {
                out.push(Unmarked { from_bar: first, to_bar: last, last_mark: bar(from), ends });
            }
        }
        reached = Some(reached.map_or(to, |r| r.max(to)));
    }
    out
}

/// The softest and the loudest of those who play, if what they were told is far apart and was told at different times.
fn contrast(
    table: &Table<'_>,
    marks: &[Vec<Told>],
    from: Beats,
    to: Beats,
) -> Option<[(usize, Dynamic, i32); 2]> {
    let holding = |desk: usize| {
        let last = marks[desk].iter().rev().find(|t| t.to <= from)?;
        Some((desk, last.level?, table.timeline.place(last.at).bar))
    };
    let playing = |desk: &usize| !table.desks[*desk].rests(from, to);
    let held: Vec<(usize, Dynamic, i32)> =
        (0..table.desks.len()).filter(playing).filter_map(holding).collect();
    let level = |m: &(usize, Dynamic, i32)| m.1.level().map_or(0.0, |l| l.0);
    let pairs = held.iter().flat_map(|a| held.iter().map(move |b| [*a, *b]));
    let apart = pairs.filter(|[a, b]| (a.2 - b.2).abs() > TOGETHER);
    let wide = |[a, b]: &[(usize, Dynamic, i32); 2]| level(b) - level(a);
    apart.filter(|p| wide(p) >= CONTRAST).max_by(|a, b| wide(a).total_cmp(&wide(b)))
}

/// The marks of a part. What a cell only takes over from the bars before it is none.
fn told(table: &Table<'_>, desk: &Desk<'_>) -> Vec<Told> {
    let content = &desk.part.content;
    // Where a cell begins or changes its source: up to the first note, and whether it plays with somebody else, whose level it takes.
    let mut restated: BTreeMap<Beats, (Beats, bool)> = BTreeMap::new();
    for cell in &desk.part.cells {
        let own = table.cell_at(desk.id(), table.timeline.place(cell.from).bar);
        if !own.is_some_and(super::cells::sets_dynamics) {
            let turns = own.and_then(words).map(|w| w.divisions).unwrap_or_default();
            let col = turns.iter().flatten().any(|t| matches!(t.source, Source::Col { .. }));
            let starts = turns.iter().flatten().filter_map(|t| {
                let place = t.from?;
                table.timeline.at(place.bar, place.beat.unwrap_or(1.0))
            });
            for from in starts.chain([cell.from]) {
                let first = content.notes.iter().map(|n| n.at).filter(|at| *at >= from).min();
                restated.insert(from, (first.unwrap_or(from), col));
            }
        }
    }
    let taken_over = |at: Beats| {
        let (from, (first, col)) = restated.range(..=at).next_back()?;
        (at == *from || at <= *first).then_some(*col)
    };
    let mut out: Vec<Told> = Vec::new();
    let mut open: Option<(bool, Beats)> = None;
    let mut level: Option<Dynamic> = None;
    let step = |level: Option<Dynamic>, louder: bool| {
        let i = Dynamic::LADDER.iter().position(|d| Some(*d) == level)?;
        let next = if louder { i + 1 } else { i.saturating_sub(1) };
        Dynamic::LADDER.get(next).copied().or(level)
    };
    for Direction { at, kind, .. } in &content.directions {
        if let Some((louder, to)) = open.filter(|o| o.1 <= *at) {
            // What a mark at its end says stands in its place.
            level = step(level, louder);
            out.extend(out.last().copied().map(|last| Told { level, to, ..last }));
            open = None;
        }
        match kind {
            DirectionKind::Dynamic(mark) if mark.level().is_some() => {
                if !taken_over(*at).is_some_and(|col| col || same(level, *mark)) {
                    out.push(Told { at: *at, to: *at, level: Some(*mark) });
                }
                (level, open) = (Some(*mark), None);
            }
            DirectionKind::Hairpin { louder, to, .. } => {
                if taken_over(*at).is_none() {
                    out.push(Told { at: *at, to: *to, level });
                }
                open = Some((*louder, *to));
            }
            _ => {}
        }
    }
    if let Some((louder, to)) = open {
        level = step(level, louder);
        out.extend(out.last().copied().map(|last| Told { level, to, ..last }));
    }
    out
}

/// Do they hold the same once their attack is over?
fn same(level: Option<Dynamic>, mark: Dynamic) -> bool {
    level.is_some_and(|l| l.level() == mark.level())
}

/// One line for each stretch: what is not judged, and why.
pub fn findings(table: &Table<'_>, unmarked: &[Unmarked]) -> Vec<Finding> {
    let one = |u: &Unmarked| {
        let told = |(desk, mark, bar): (usize, Dynamic, i32)| {
            let name = table.desks.get(desk).map_or("", |d| d.name());
            format!("{name} {} since bar {bar}", mark.word())
        };
        let at = table.timeline.bar_numbered(u.from_bar)?;
        let found = Found::new("marks-missing", Severity::Advice, "", table.timeline.place(at.at));
        Some(
            found
                .to(u.to_bar)
                .says(format!(
                    "No part has a dynamic mark from bar {} to bar {}, and the last ones stood apart ({}, {}): nothing is said of balance there",
                    u.last_mark + 1,
                    u.to_bar,
                    told(u.ends[0]),
                    told(u.ends[1]),
                ))
                .remedy("Look whether the source has lost its marks; mark the parts where a phrase begins, and balance is judged from there")
                .done(),
        )
    };
    unmarked.iter().filter_map(one).collect()
}
