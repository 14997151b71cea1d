//! `one-voice`, `divisi`: more notes at once than there are players and strings for them.

use super::range::capital;
use super::sheet::{Read, Sheet, Stretch, pitch_name};
use crate::Desk;
use ripieno_instruments::Family;
use ripieno_music::{Finding, Severity};
use std::collections::BTreeMap;

/// Notes that overlap by less are a connected line, seconds ...
const CONNECTED: f64 = 0.1;
/// ... or by less than this share of the shorter one.
const CONNECTED_SHARE: f64 = 0.35;

pub(crate) fn check(sheet: &Sheet<'_>, out: &mut Vec<Finding>) {
    let instrument = sheet.desk.instrument;
    if instrument.unpitched
        || matches!(instrument.family, Family::Percussion | Family::Keyboard | Family::Plucked)
    {
        return;
    }
    let each = u16::from(instrument.polyphony.notes.max(instrument.polyphony.broken).max(1));
    let mut hits: Vec<usize> = Vec::new();
    // Hits again, with what sounds there and how many play.
    let mut most: Vec<(usize, &[i16], u16)> = Vec::new();
    let together = Together::of(sheet);
    for (i, read) in sheet.notes.iter().enumerate() {
        if read.key.is_none() {
            continue;
        }
        let sounding = together.with(i);
        let players = read.words.playing.unwrap_or(sheet.desk.players).min(sheet.desk.players).max(1);
        if sounding.len() > usize::from(players) * usize::from(each) {
            hits.push(i);
            most.push((i, sounding, players));
        }
    }
    for stretch in sheet.runs(&hits) {
        let hit = |i: &usize| most.binary_search_by_key(i, |m| m.0).ok().map(|k| most[k]);
        let worst = stretch.hits.iter().filter_map(hit).max_by_key(|m| m.1.len());
        let Some((_, keys, players)) = worst else { continue };
        let names: Vec<String> = keys.iter().map(|k| pitch_name(*k)).collect();
        let (rule, who) = match (each, players) {
            (1, 1) => ("one-voice", format!("one {} plays one note at a time", instrument.name())),
            (_, 1) => ("one-voice", format!("one {} plays at most {each} notes", instrument.name())),
            (1, n) => ("divisi", format!("the chair has {n} players, with one note each")),
            (_, n) => ("divisi", format!("the chair has {n} players")),
        };
        out.push(
            sheet
                .found(rule, Severity::Impossible, &stretch)
                .says(format!(
                    "{} notes at once ({}), and {who}; {} in all",
                    keys.len(),
                    names.join(", "),
                    stretch.count()
                ))
                .remedy(match (rule, idle(sheet, &stretch, keys)) {
                    ("one-voice", Some(name)) => format!(
                        "{name} rests there and has these notes: give it the other voice (`line.top`, `line.2` are voices of a line)"
                    ),
                    ("one-voice", None) => "Give the other notes to another chair (voices of a line: `line.top`, `line.2`), or break the chord up".to_string(),
                    (_, Some(name)) => {
                        format!("Give notes to {name}, which rests there, or set more players for the chair in the template")
                    }
                    (_, None) => {
                        "Set more players for the chair in the template, or give notes to another chair".to_string()
                    }
                })
                .done(),
        );
    }
    named_parts(sheet, out);
}

/// A chair that rests all through a stretch and has its notes: of the same instrument, else of the same family.
fn idle<'a>(sheet: &Sheet<'a>, stretch: &Stretch, keys: &[i16]) -> Option<&'a str> {
    let notes = stretch.hits.iter().map(|i| sheet.notes[*i].note);
    let (from, to) = (notes.clone().map(|n| n.at).min()?, notes.map(|n| n.end()).max()?);
    let own = sheet.desk.instrument;
    let able = |desk: &&Desk<'a>| {
        let has = desk.instrument.comfortable.is_some_and(|r| keys.iter().any(|k| r.holds(*k)));
        desk.id() != sheet.desk.id() && desk.instrument.family == own.family && has && desk.rests(from, to)
    };
    let all = || sheet.table.desks.iter().filter(able);
    let desk = all().find(|d| d.instrument.id == own.id).or_else(|| all().next())?;
    Some(desk.name())
}

/// What sounds together. Notes of one key, onset and end are one: a chord of the same notes over and over is no longer
/// to look through than one of each.
struct Together {
    /// By note: which of `sounding` is its own.
    own: Vec<usize>,
    sounding: Vec<Vec<i16>>,
}

impl Together {
    fn of(sheet: &Sheet<'_>) -> Self {
        let mut own = Vec::with_capacity(sheet.notes.len());
        let mut kept: Vec<&Read<'_>> = Vec::new();
        // Of one onset, by end and key.
        let mut here: BTreeMap<(u64, Option<i16>), usize> = BTreeMap::new();
        for read in &sheet.notes {
            if kept.last().is_some_and(|last| last.from.to_bits() != read.from.to_bits()) {
                here.clear();
            }
            own.push(*here.entry((read.to.to_bits(), read.key)).or_insert_with(|| {
                kept.push(read);
                kept.len() - 1
            }));
        }
        // When all that began before a note has ended.
        let mut last = f64::MIN;
        let mut ended: Vec<f64> = Vec::with_capacity(kept.len());
        for read in &kept {
            ended.push(last);
            last = last.max(read.to);
        }
        let sounding = (0..kept.len()).map(|i| sounding_with(&kept, i, &ended)).collect();
        Self { own, sounding }
    }

    /// The notes that sound at once with the start of this one, itself among them, from the top.
    fn with(&self, index: usize) -> &[i16] {
        &self.sounding[self.own[index]]
    }
}

fn sounding_with(notes: &[&Read<'_>], index: usize, ended: &[f64]) -> Vec<i16> {
    let now = notes[index];
    let mut keys: Vec<i16> = now.key.into_iter().collect();
    if keys.is_empty() {
        return keys;
    }
    // Long pedal points reach far back: as far as anything still sounds.
    let reaches = |i: &usize| ended.get(i + 1).is_none_or(|end| *end > now.from);
    let earlier = (0..index).rev().take_while(reaches).filter_map(|i| notes.get(i));
    let later = notes[index + 1..].iter().take_while(|r| r.from - now.from < 0.02);
    for other in earlier.chain(later) {
        let overlap = now.to.min(other.to) - now.from.max(other.from);
        let shorter = now.seconds().min(other.seconds()).max(1e-6);
        if overlap > CONNECTED.min(0.9 * shorter) && overlap > CONNECTED_SHARE * shorter {
            keys.extend(other.key);
        }
    }
    keys.sort_unstable_by(|a, b| b.cmp(a));
    keys.dedup();
    keys
}

/// `div. a 5` for four players.
fn named_parts(sheet: &Sheet<'_>, out: &mut Vec<Finding>) {
    let players = sheet.desk.players;
    let parts = |i: usize| u16::from(sheet.notes[i].words.parted.unwrap_or(0));
    let too_many: Vec<usize> = (0..sheet.notes.len()).filter(|i| parts(*i) > players).collect();
    for stretch in sheet.runs(&too_many) {
        let n = stretch.hits.iter().map(|i| parts(*i)).max().unwrap_or(0);
        out.push(
            sheet
                .found("divisi", Severity::Impossible, &stretch)
                .says(format!("div. a {n} for {players} player{}", if players == 1 { "" } else { "s" }))
                .remedy("Part them into fewer, or set more players for the chair in the template")
                .done(),
        );
    }
    let alone: Vec<usize> = (0..sheet.notes.len())
        .filter(|i| players > 2 && parts(*i) <= players && parts(*i) * 2 > players)
        .collect();
    for stretch in sheet.runs(&alone) {
        let n = stretch.hits.iter().map(|i| parts(*i)).max().unwrap_or(0);
        out.push(
            sheet
                .found("divisi", Severity::Advice, &stretch)
                .says(capital(&format!(
                    "div. a {n} among {players} players leaves single players on a part: thin, and each intonation is heard"
                )))
                .remedy("Part them into fewer, or mark the single players solo")
                .done(),
        );
    }
}
