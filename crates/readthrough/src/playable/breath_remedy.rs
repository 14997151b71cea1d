//! What a player who runs out of air may do, in the order in which one would try it.

use super::breath_air::takes;
use super::breath_places::{Kind, Spot};
use super::cell_edit::with_breaths;
use super::sheet::{Read, Sheet, level_of, place_said, said};
use ripieno_instruments::Breath;
use ripieno_music::{Change, Dynamic, Edit, Place};
use ripieno_plan::PlaceWord;
use ripieno_units::Beats;
use std::collections::BTreeSet;

/// More places than this are counted and not named.
const NAMED: usize = 5;
/// Two parts with this share of their notes in common go together.
const TOGETHER_SHARE: f64 = 0.9;
/// Playing softer is worth saying where a breath lasts so many times as long.
const WORTH: f64 = 1.08;

/// Who may take turns with a player.
pub(crate) enum Turns {
    /// Another of the section.
    Section,
    /// This chair has the same notes.
    Same(String),
    /// This chair of the same instrument rests there.
    Rests(String),
    Nobody,
}

impl Turns {
    /// Who is at hand between two places.
    pub(crate) fn of(sheet: &Sheet<'_>, from: Beats, to: Beats) -> Self {
        if sheet.desk.players > 1 {
            return Self::Section;
        }
        let within = |at: Beats, end: Beats| at < to && end > from;
        let own: Vec<(Beats, Beats, i16)> = sheet
            .notes
            .iter()
            .filter(|r| within(r.note.at, r.note.end()))
            .filter_map(|r| Some((r.note.at, r.note.end(), r.key?)))
            .collect();
        let mut rests = None;
        for desk in &sheet.table.desks {
            if desk.id() == sheet.desk.id() || desk.instrument.id != sheet.desk.instrument.id {
                continue;
            }
            let theirs: BTreeSet<(Beats, Beats, i16)> = desk
                .part
                .content
                .notes
                .iter()
                .filter(|n| within(n.at, n.end()))
                .filter_map(|n| Some((n.at, n.end(), n.pitch()?.key)))
                .collect();
            let shared = own.iter().filter(|n| theirs.contains(n)).count();
            if !own.is_empty() && shared as f64 >= TOGETHER_SHARE * own.len() as f64 {
                return Self::Same(desk.name().to_string());
            }
            if theirs.is_empty() && rests.is_none() {
                rests = Some(desk.name().to_string());
            }
        }
        rests.map_or(Self::Nobody, Self::Rests)
    }

    /// The sound goes on while one of two breathes, with nothing to be changed.
    pub(crate) fn settles(&self) -> bool {
        matches!(self, Self::Same(_))
    }

    /// What to do.
    pub(crate) fn said(&self) -> String {
        match self {
            Self::Section => "let two of the section take turns".to_string(),
            Self::Same(name) => format!("breathe in turn with {name}, who has the same notes"),
            Self::Rests(name) => format!("let {name}, who rests there, take turns"),
            Self::Nobody => "let a second player take turns".to_string(),
        }
    }
}

/// How long a breath lasts a step softer, where that is worth it.
pub(crate) fn softer(sheet: &Sheet<'_>, breath: &Breath, read: &Read<'_>) -> Option<String> {
    let ladder = &Dynamic::LADDER[..9];
    let step = ladder.iter().position(|d| d.word() == read.mark())?.checked_sub(1)?;
    let mark = ladder[step].word();
    let louder = level_of(mark)? - level_of(read.mark())?;
    let air = |louder| takes(sheet, breath, read.from, read.to, louder).max(1e-6);
    (air(0.0) > WORTH * air(louder)).then(|| {
        format!("play it softer, at {mark} a full breath lasts about {}", said(read.seconds() / air(louder)))
    })
}

/// Where to breathe, and how. `within`: whether a place inside a slur or a note is said to be one.
pub(crate) fn breathe(sheet: &Sheet<'_>, asked: &[Spot], within: bool) -> String {
    let place = |s: &Spot| {
        let inside = match s.kind {
            Kind::InSlur | Kind::SnatchedInSlur if within => " (inside a slur)",
            Kind::InNote if within => " (in the held note)",
            _ => "",
        };
        format!("{}{inside}", place_said(sheet.place(s.at)))
    };
    let told = |wanted: fn(Kind) -> bool| -> Vec<String> {
        asked.iter().filter(|s| wanted(s.kind)).map(place).collect()
    };
    let snatched = |k| matches!(k, Kind::Snatched | Kind::SnatchedInSlur);
    let short = told(snatched);
    let mut ways: Vec<String> = Vec::new();
    for (how, places) in [
        ("breathe before", told(|k| !matches!(k, Kind::Longer | Kind::Snatched | Kind::SnatchedInSlur))),
        ("take a longer breath before", told(|k| k == Kind::Longer)),
        ("breathe before", short.clone()),
    ] {
        if !places.is_empty() {
            ways.push(format!("{how} {}", and(&places)));
        }
    }
    if !short.is_empty() {
        let each = if short.len() == 1 { "for it" } else { "for each" };
        if let Some(last) = ways.last_mut() {
            last.push_str(&format!(", leaving a short note out {each}"));
        }
    }
    ways.join("; ")
}

/// The cells with commas at these places.
pub(crate) fn change(sheet: &Sheet<'_>, asked: &[Spot]) -> Option<Change> {
    let chair = sheet.desk.id();
    let places: Vec<Place> = asked.iter().map(|s| sheet.place(s.at)).collect();
    let mut edits: Vec<Edit> = Vec::new();
    let mut rest = places.as_slice();
    while let Some(first) = rest.first() {
        let passage = sheet.table.passage_at(first.bar)?;
        let here = rest.iter().take_while(|p| p.bar <= passage.to_bar).count().max(1);
        let words: Vec<PlaceWord> = rest[..here]
            .iter()
            // Four decimals of a beat tell every common tuplet.
            .map(|p| PlaceWord { bar: p.bar, beat: Some((p.beat * 1e4).round() / 1e4) })
            .collect();
        let text = with_breaths(sheet.table.cell_at(chair, first.bar)?, &words)?;
        edits.push(Edit::Cell { passage: passage.name.clone(), chair: chair.to_string(), text });
        rest = &rest[here..];
    }
    (!edits.is_empty()).then_some(Change { edits })
}

/// Named in a row; of many the first and the last, counted.
pub(crate) fn and(list: &[String]) -> String {
    match list {
        [] => String::new(),
        [one] => one.clone(),
        [first, .., last] if list.len() > NAMED => {
            format!("{first} and {} more places up to {last}", list.len() - 1)
        }
        [first @ .., last] => format!("{} and {last}", first.join("; ")),
    }
}
