//! The casting board: chairs in score order by family, passages across, in each cell what is written and what is played.

use super::LineRoles;
use crate::notation::rehearsal_marks;
use crate::render::place::family;
use crate::workbench::Played;
use rayon::prelude::*;
use ripieno_instruments::Family;
use ripieno_music::{ChairPerformance, Part, Role};
use ripieno_picture::contour::Stroke;
use ripieno_plan::{ChairPlan, FAMILIES, PassagePlan};
use std::collections::BTreeMap;

/// A family, by its word, as a score prints it.
pub fn family_printed(word: &str) -> &'static str {
    Family::by_word(word).unwrap_or(Family::Strings).printed()
}

/// The board of a cue.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Board {
    /// The passages.
    pub columns: Vec<Column>,
    /// The chairs in score order: by family, within it as the template has them.
    pub rows: Vec<Row>,
    /// Lines that another chair takes over at a barline.
    pub hand_overs: Vec<HandOver>,
    /// When the cue ends, in seconds.
    pub seconds: f64,
    /// How many bars it has.
    pub bars: usize,
}

/// A passage.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Column {
    /// Its name.
    pub name: String,
    /// Its rehearsal mark, from the second passage on, where its name is not the mark.
    pub letter: Option<String>,
    /// First bar.
    pub from_bar: i32,
    /// Last bar.
    pub to_bar: i32,
    /// When it begins, in seconds from bar 1.
    pub from: f64,
    /// When it ends.
    pub to: f64,
    /// Names of the castings that are kept beside the one in force.
    pub others: Vec<String>,
}

/// A chair.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Row {
    /// Its id.
    pub chair: String,
    /// Its name.
    pub name: String,
    /// How many play.
    pub players: u16,
    /// Its family.
    pub family: &'static str,
    /// One for each passage.
    pub cells: Vec<BoardCell>,
}

impl Row {
    /// Does it play at all?
    pub fn plays(&self) -> bool {
        self.cells.iter().any(|c| !c.strokes.is_empty())
    }
}

/// A chair in a passage.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BoardCell {
    /// The shorthand as written; empty where the plan does not name the chair.
    pub text: String,
    /// The chair that it plays with.
    pub with: Option<String>,
    /// What the line is that it plays in the end.
    pub role: Role,
    /// That line.
    pub line: Option<String>,
    /// The notes.
    pub strokes: Vec<Stroke>,
}

/// A line handed over at a barline.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HandOver {
    /// The later passage, from 1 on.
    pub passage: usize,
    /// Row of the chair that had it.
    pub from: usize,
    /// Row of the chair that has it now.
    pub to: usize,
    /// What the line is.
    pub role: Role,
}

/// Level of the softest and of the loudest note that thickness tells apart, dB re mf: ppp and fff.
const LEVELS: (f64, f64) = (-18.0, 13.5);

/// A chair's contour spans an octave and a half at least, so that small steps look small.
const LEAST_SPAN: f64 = 18.0;

/// From this length on, a swell within one gesture is drawn as a wedge, seconds and decibels.
const SWELL: (f64, f64) = (1.2, 6.0);

/// The board of a cue as it is played.
pub fn board(played: &Played, roles: &LineRoles) -> Board {
    let cue = &played.cue;
    let timeline = &played.performance.timeline;
    let clock = timeline.clock();
    let last = cue.plan.passages.len().saturating_sub(1);
    let names: Vec<&str> = cue.plan.passages.iter().map(|p| p.name.as_str()).collect();
    let marks = rehearsal_marks(&names);
    let columns: Vec<Column> = cue
        .plan
        .passages
        .iter()
        .enumerate()
        .map(|(i, passage)| {
            let begins = |bar| timeline.bar_numbered(bar).map(|b| clock.seconds(b.at).0);
            let end = clock.seconds(timeline.end()).0;
            Column {
                name: passage.name.clone(),
                letter: marks[i].clone().filter(|mark| mark != passage.name.trim()),
                from_bar: passage.from_bar,
                to_bar: passage.to_bar,
                from: begins(passage.from_bar).unwrap_or(if i == last { end } else { 0.0 }),
                to: begins(passage.to_bar.saturating_add(1)).unwrap_or(end),
                others: passage.others.iter().map(|o| o.name.clone()).collect(),
            }
        })
        .collect();
    let parts: BTreeMap<&str, &Part> = played.parts.iter().map(|p| (p.chair.as_str(), p)).collect();
    let chairs: BTreeMap<&str, &ChairPerformance> =
        played.performance.chairs.iter().map(|c| (c.chair.as_str(), &**c)).collect();
    let mut rows: Vec<Row> = cue
        .template
        .chairs
        .par_iter()
        .map(|chair| {
            let id = chair.id.as_str();
            let part = parts.get(id).copied();
            let strokes = chairs.get(id).map(|c| strokes(c, &columns)).unwrap_or_default();
            row(played, roles, chair, part, strokes)
        })
        .collect();
    // As scores print them, whatever the order of the tracks: families one after the other, in each of them the template's order.
    rows.sort_by_key(|row| FAMILIES.iter().position(|f| *f == row.family));
    Board {
        hand_overs: hand_overs(&rows, columns.len()),
        seconds: clock.seconds(timeline.end()).0,
        bars: timeline.bars.iter().filter(|b| b.number > 0).count(),
        columns,
        rows,
    }
}

fn row(
    played: &Played,
    roles: &LineRoles,
    chair: &ChairPlan,
    part: Option<&Part>,
    mut strokes: Vec<Vec<Stroke>>,
) -> Row {
    let plan = &played.cue.plan;
    let cell = |(i, passage): (usize, &PassagePlan)| {
        let written = passage.cells.iter().find(|c| c.chair == chair.id);
        let cast = part.and_then(|p| p.cells.iter().find(|c| c.passage == passage.name));
        let strokes = strokes.get_mut(i).map(std::mem::take).unwrap_or_default();
        let line = cast.and_then(|c| c.line.clone());
        let role = match &line {
            Some(line) if !strokes.is_empty() => roles.role(plan, line, passage.from_bar, passage.to_bar),
            _ => Role::Silence,
        };
        BoardCell {
            text: written.map_or(String::new(), |c| c.text.clone()),
            with: cast.and_then(|c| c.with.clone()),
            role,
            line,
            strokes,
        }
    };
    let facts = ripieno_instruments::by_id(&chair.instrument);
    Row {
        chair: chair.id.clone(),
        name: chair
            .name
            .clone()
            .unwrap_or_else(|| facts.map_or_else(|| chair.id.clone(), |i| i.name().to_string())),
        players: chair.players,
        family: family(chair),
        cells: plan.passages.iter().enumerate().map(cell).collect(),
    }
}

/// What a chair plays, by passage.
fn strokes(chair: &ChairPerformance, columns: &[Column]) -> Vec<Vec<Stroke>> {
    let keys = chair.gestures.iter().map(|g| f64::from(g.key));
    let (low, high) = keys.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), k| (a.min(k), b.max(k)));
    let more = (LEAST_SPAN - (high - low)).max(0.0) / 2.0;
    let (low, high) = (low - more, high + more);
    let loud = |db: f64| ((db - LEVELS.0) / (LEVELS.1 - LEVELS.0)).clamp(0.0, 1.0);
    let mut out = vec![Vec::new(); columns.len()];
    for gesture in &chair.gestures {
        // Ahead of a barline by a human hair it still belongs to the passage that it opens.
        let at = gesture.onset.0 + 0.03;
        let after = columns.partition_point(|c| c.from <= at);
        let index = after.saturating_sub(1);
        let Some(column) = columns.get(index) else { continue };
        let length = (column.to - column.from).max(1e-6);
        let place = |t: f64| ((t - column.from) / length).clamp(0.0, 1.0);
        // Most notes are too short for it, and a level is looked up in a long curve.
        let swell = ((gesture.end - gesture.onset).0 >= SWELL.0)
            .then(|| (chair.level.at(gesture.onset), chair.level.at(gesture.end)))
            .filter(|(begin, end)| (end - begin).abs() >= SWELL.1);
        let height = (f64::from(gesture.key) - low) / (high - low).max(1.0);
        out[index].push(Stroke {
            from: place(gesture.onset.0),
            to: place(gesture.end.0),
            height,
            loudness: loud(swell.map_or(gesture.attack.0, |(begin, _)| begin)),
            ends: swell.map(|(_, end)| loud(end)),
        });
    }
    out
}

/// Where a line that one chair leads is led by another from a barline on.
fn hand_overs(rows: &[Row], columns: usize) -> Vec<HandOver> {
    let leaders = |passage: usize| -> BTreeMap<(Role, &str), usize> {
        let mut leaders = BTreeMap::new();
        for (i, row) in rows.iter().enumerate() {
            let Some(cell) = row.cells.get(passage) else { continue };
            if let (None, Some(line)) = (&cell.with, &cell.line)
                && matches!(cell.role, Role::Tune | Role::Counter)
            {
                // In a plan that says `as written` every chair has its own line: there the tune is the one that goes on.
                let line = if cell.role == Role::Tune { "" } else { line.as_str() };
                leaders.entry((cell.role, line)).or_insert(i);
            }
        }
        leaders
    };
    let mut out = Vec::new();
    for passage in 1..columns {
        let (before, now) = (leaders(passage - 1), leaders(passage));
        for (key, to) in &now {
            let Some(from) = before.get(key) else { continue };
            let still = |row: usize, passage: usize| {
                let cell = rows.get(row).and_then(|r| r.cells.get(passage));
                cell.is_some_and(|c| c.role == key.0 && c.with.is_none())
            };
            // Whoever goes on with it, or had it before, hands nothing over.
            if from != to && !still(*from, passage) && !still(*to, passage - 1) {
                out.push(HandOver { passage, from: *from, to: *to, role: key.0 });
            }
        }
    }
    out
}
