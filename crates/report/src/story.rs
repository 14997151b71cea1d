//! A cue told passage by passage, in sentences that an orchestrator would say: who has which line, who enters and leaves, who
//! moves by an octave, who is held back and until when.

use crate::bars;
use ripieno_cue::view::{Board, Row, clock};
use ripieno_cue::{Checked, counted};
use ripieno_music::Role;
use ripieno_picture::line;
use ripieno_plan::{Plan, Source};
use std::collections::BTreeMap;

/// One passage.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Told {
    /// Its rehearsal letter and its name.
    pub name: String,
    /// Bars, clock times, how many play.
    pub place: String,
    /// What happens.
    pub sentences: Vec<String>,
}

/// Most names that a sentence lists before it counts the rest.
const MOST: usize = 7;

/// Names in a row, as one says them.
fn list(names: &[String]) -> String {
    let shown = if names.len() > MOST + 1 { &names[..MOST] } else { names };
    let more = names.len() - shown.len();
    let mut all: Vec<String> = shown.to_vec();
    if more > 0 {
        all.push(format!("{more} more"));
    }
    match all.as_slice() {
        [] => String::new(),
        [one] => one.clone(),
        [firsts @ .., last] => format!("{} and {last}", firsts.join(", ")),
    }
}

/// An octave shift in words.
fn octaves(semitones: i16) -> String {
    let (n, way) = (semitones.unsigned_abs() / 12, if semitones > 0 { "up" } else { "down" });
    match n {
        0 => String::new(),
        1 => format!("an octave {way}"),
        2 => format!("two octaves {way}"),
        n => format!("{n} octaves {way}"),
    }
}

/// The source, and the octave, that a chair's cell names first.
struct Written {
    with: Option<String>,
    octave: i16,
}

fn written(plan: &Plan, passage: usize, chair: &str) -> Option<Written> {
    let cell = plan.passages.get(passage)?.cells.iter().find(|c| c.chair == chair)?;
    let turn = cell.words.divisions.first()?.first()?;
    let with = match &turn.source {
        Source::Col { chair } => Some(chair.clone()),
        _ => None,
    };
    Some(Written { with, octave: turn.octave })
}

fn plays(row: &Row, column: usize) -> bool {
    row.cells.get(column).is_some_and(|c| !c.strokes.is_empty())
}

/// The octave that a chair sounds at against its line, through every `col`.
fn octave(plan: &Plan, passage: usize, chair: &str) -> i16 {
    let (mut chair, mut sum, mut steps) = (chair.to_string(), 0, 0);
    while let Some(cell) = written(plan, passage, &chair) {
        sum += cell.octave;
        steps += 1;
        match cell.with {
            // A circle is an error that is found before; a bound costs nothing.
            Some(with) if steps < 64 => chair = with,
            _ => break,
        }
    }
    sum
}

/// The cue, passage by passage.
pub fn story(board: &Board, plan: &Plan, checked: &Checked) -> Vec<Told> {
    (0..board.columns.len()).map(|i| told(board, plan, checked, i)).collect()
}

fn told(board: &Board, plan: &Plan, checked: &Checked, at: usize) -> Told {
    let column = &board.columns[at];
    let playing: Vec<&Row> = board.rows.iter().filter(|r| plays(r, at)).collect();
    let names = |rows: &[&Row]| -> Vec<String> { rows.iter().map(|r| r.name.clone()).collect() };
    let mut sentences = Vec::new();
    if playing.is_empty() {
        sentences.push("Nobody plays.".to_string());
    }
    sentences.extend(lines(plan, &playing, at));
    if at > 0 {
        let before: Vec<&Row> = board.rows.iter().filter(|r| plays(r, at - 1)).collect();
        let enter: Vec<&Row> = playing.iter().filter(|r| !plays(r, at - 1)).copied().collect();
        let leave: Vec<&Row> = before.iter().filter(|r| !plays(r, at)).copied().collect();
        let (first, again): (Vec<&Row>, Vec<&Row>) =
            enter.iter().partition(|r| (0..at).all(|earlier| !plays(r, earlier)));
        let mut say = |what: &str, who: &[&Row]| {
            if !who.is_empty() {
                sentences.push(format!("{what}: {}.", list(&names(who))));
            }
        };
        say("New", &first);
        say("Back again", &again);
        say("Silent now", &leave);
        sentences.extend(moves(board, plan, at));
        sentences.extend(hand_overs(board, at));
    }
    sentences.extend(reserve(board, at));
    if let Some(climax) = &checked.arc.climax
        && (column.from_bar..=column.to_bar).contains(&climax.bar)
    {
        sentences.push(match climax.exceeds {
            more if more > 1.005 => format!(
                "The climax of the cue falls in bar {}, by estimate {more:.1} times as loud as anything before.",
                climax.bar
            ),
            _ => format!("The climax of the cue falls in bar {}.", climax.bar),
        });
    }
    let players: u32 = playing.iter().map(|r| u32::from(r.players)).sum();
    Told {
        name: column
            .letter
            .as_ref()
            .map_or_else(|| column.name.clone(), |l| format!("{l} · {}", column.name)),
        place: format!(
            "{}, {} to {}; {}, {}",
            bars(column.from_bar, column.to_bar),
            clock(column.from.max(0.0)),
            clock(column.to),
            counted(playing.len(), "chair"),
            counted(players as usize, "player")
        ),
        sentences,
    }
}

/// Who has which line, with its doublings.
fn lines(plan: &Plan, playing: &[&Row], at: usize) -> Vec<String> {
    let mut of: BTreeMap<(usize, &str), Vec<&Row>> = BTreeMap::new();
    let order = |role: Role| line::SOUNDING.iter().position(|r| *r == role).unwrap_or(line::SOUNDING.len());
    for row in playing {
        let cell = &row.cells[at];
        of.entry((order(cell.role), cell.line.as_deref().unwrap_or(""))).or_default().push(row);
    }
    let mut by_role: Vec<(Role, Vec<String>)> = Vec::new();
    for rows in of.values() {
        let Some(role) = rows.first().map(|r| r.cells[at].role) else { continue };
        let leading: Vec<&&Row> = rows.iter().filter(|r| r.cells[at].with.is_none()).collect();
        let leader = leading.first().copied().or(rows.first());
        let base = leader.map_or(0, |l| octave(plan, at, &l.chair));
        let mut groups: BTreeMap<i16, Vec<String>> = BTreeMap::new();
        for row in rows.iter().filter(|r| leader.is_none_or(|l| l.chair != r.chair)) {
            groups.entry(octave(plan, at, &row.chair) - base).or_default().push(row.name.clone());
        }
        let mut words = leader.map_or(String::new(), |l| l.name.clone());
        // In unison first, then by distance, the upper octave before the lower.
        let mut groups: Vec<(i16, Vec<String>)> = groups.into_iter().collect();
        groups.sort_by_key(|(shift, _)| (shift.abs(), -shift));
        let doubled: Vec<String> = groups
            .iter()
            .map(|(shift, names)| match shift {
                0 => list(names),
                shift => format!("{} {}", list(names), octaves(*shift)),
            })
            .collect();
        if !doubled.is_empty() {
            words.push_str(&format!(" with {}", doubled.join("; ")));
        }
        match by_role.iter_mut().find(|(r, _)| *r == role) {
            Some((_, all)) => all.push(words),
            None => by_role.push((role, vec![words])),
        }
    }
    by_role
        .into_iter()
        .map(|(role, who)| {
            let what = match role {
                Role::Tune => "The tune",
                Role::Counter => "The counter-melody",
                Role::Bass => "The bass",
                Role::Held => "Held chords",
                Role::Figure => "Figures",
                Role::Punctuation => "Punctuation",
                Role::Silence => "Also",
            };
            let shown = if who.len() > MOST { &who[..MOST] } else { &who[..] };
            let more = who.len() - shown.len();
            let tail = if more > 0 { format!(" / {more} more lines") } else { String::new() };
            format!("{what}: {}{tail}.", shown.join(" / "))
        })
        .collect()
}

/// Who keeps its line at another octave.
fn moves(board: &Board, plan: &Plan, at: usize) -> Vec<String> {
    let mut of: BTreeMap<i16, Vec<String>> = BTreeMap::new();
    for row in &board.rows {
        let (Some(old), Some(now)) = (row.cells.get(at - 1), row.cells.get(at)) else { continue };
        if plays(row, at - 1) && plays(row, at) && old.line.is_some() && old.line == now.line {
            let shift = octave(plan, at, &row.chair) - octave(plan, at - 1, &row.chair);
            if shift != 0 {
                of.entry(shift).or_default().push(row.name.clone());
            }
        }
    }
    of.into_iter()
        .map(|(shift, names)| format!("Moved {} from where they were: {}.", octaves(shift), list(&names)))
        .collect()
}

fn hand_overs(board: &Board, at: usize) -> Vec<String> {
    let name = |row: usize| board.rows.get(row).map_or("", |r| r.name.as_str());
    board
        .hand_overs
        .iter()
        .filter(|h| h.passage == at)
        .map(|h| format!("The {} goes from {} to {}.", line::word(h.role), name(h.from), name(h.to)))
        .collect()
}

/// Who has not played yet, and until when.
fn reserve(board: &Board, at: usize) -> Option<String> {
    let mut until: BTreeMap<usize, Vec<String>> = BTreeMap::new();
    for row in &board.rows {
        if !(0..=at).any(|c| plays(row, c))
            && let Some(first) = (at + 1..board.columns.len()).find(|c| plays(row, *c))
        {
            until.entry(first).or_default().push(row.name.clone());
        }
    }
    let place = |first: usize| {
        let column = &board.columns[first];
        let name = column.letter.as_ref().map_or_else(|| column.name.clone(), Clone::clone);
        format!("{name} (bar {})", column.from_bar)
    };
    // All of them once; later who comes next and how long the last ones wait.
    if at > 0 && until.len() > 1 {
        let (count, last) = (until.values().map(Vec::len).sum::<usize>(), until.keys().next_back());
        return until.iter().next().zip(last).map(|((next, names), last)| {
            format!(
                "Still held back: {count} chairs; next {} at {}, the last at {}.",
                list(names),
                place(*next),
                place(*last)
            )
        });
    }
    let held: Vec<String> =
        until.iter().map(|(first, names)| format!("{} until {}", list(names), place(*first))).collect();
    (!held.is_empty()).then(|| format!("Held back: {}.", held.join("; ")))
}
