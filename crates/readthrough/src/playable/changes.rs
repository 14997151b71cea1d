//! `mute-time`, `pluck-time`, `change-instrument`: a hand that has something else to do between two notes.

use super::cell_edit::without_mark;
use super::sheet::{Sheet, playing_words, said};
use crate::Found;
use ripieno_instruments::{Family, players::times};
use ripieno_music::{DirectionKind, Finding, Playing, Severity};
use ripieno_units::Beats;

/// With less than this share of the time it cannot be done by one player.
const HOPELESS: f64 = 0.25;
/// Words before the name of another instrument: Italian, English, German, French.
const TAKE: [&str; 18] = [
    "muta in",
    "muta",
    "mutano in",
    "change to",
    "changes to",
    "to",
    "take",
    "takes",
    "nimmt",
    "nehmen",
    "wechselt zu",
    "wechsel zu",
    "wechseln in",
    "prend",
    "prennent",
    "prenez",
    "changez en",
    "mettez",
];
/// Words of tuning, after the same verbs: the instrument stays.
const TUNES: [&str; 4] = [" in ", " auf ", " en ", " to "];

pub(crate) fn check(sheet: &Sheet<'_>, out: &mut Vec<Finding>) {
    let times = times();
    let family = sheet.desk.instrument.family;
    let (mut muted, mut plucked) = (false, false);
    in_turn(sheet, out);
    for (at, word) in playing_words(&sheet.desk.part.content.directions) {
        match word {
            Playing::ConSord | Playing::SenzaSord => {
                let on = *word == Playing::ConSord;
                let pair = match family {
                    Family::Strings => times.mute_strings,
                    Family::Brass => times.mute_brass,
                    _ => continue,
                };
                if std::mem::replace(&mut muted, on) != on {
                    mute(sheet, at, on, if on { pair.0 } else { pair.1 }, out);
                }
            }
            Playing::Pizz | Playing::Arco | Playing::ColLegnoBattuto | Playing::ColLegnoTratto => {
                let now = *word == Playing::Pizz;
                if std::mem::replace(&mut plucked, now) != now && family == Family::Strings {
                    let needs = if now { times.to_pizzicato } else { times.to_arco };
                    pluck(sheet, at, now, needs, out);
                }
            }
            _ => {}
        }
    }
    for direction in &sheet.desk.part.content.directions {
        if let DirectionKind::Words(text) = &direction.kind
            && let Some(name) = other_instrument(text)
        {
            take_up(sheet, direction.at, &name, times.change, out);
        }
    }
}

/// From bow to finger and back again and again: each change may have its time, the hand has no rest (common practice, no source).
const IN_TURN: usize = 4;
const NEXT_CHANGE: f64 = 0.6;

fn in_turn(sheet: &Sheet<'_>, out: &mut Vec<Finding>) {
    if sheet.desk.instrument.family != Family::Strings {
        return;
    }
    let of_voice = |voice: &Vec<usize>| -> Vec<usize> {
        let changes =
            voice.windows(2).filter(|p| sheet.notes[p[0]].words.pizz != sheet.notes[p[1]].words.pizz);
        changes.map(|p| p[1]).collect()
    };
    for changes in sheet.voices.iter().map(of_voice) {
        let near = |a: &usize, b: &usize| sheet.notes[*b].from - sheet.notes[*a].from < NEXT_CHANGE;
        for run in changes.chunk_by(near).filter(|run| run.len() >= IN_TURN) {
            let (first, last) = (run[0], run[run.len() - 1]);
            let remedy = if sheet.desk.players > 1 {
                "Divide: let half of the section pluck and the other half bow"
            } else {
                "Give the plucked notes to another player, or pluck them with the left hand"
            };
            let seconds = sheet.notes[last].from - sheet.notes[first].from;
            out.push(
                Found::new(
                    "pluck-time",
                    Severity::Hard,
                    sheet.desk.id(),
                    sheet.place(sheet.notes[first].note.at),
                )
                .to(sheet.bar(last))
                .says(format!("{} changes between bow and finger within {}", run.len(), said(seconds)))
                .remedy(remedy)
                .done(),
            );
        }
    }
}

/// The last note that begins before a place and the first that does not, as indices.
fn around(sheet: &Sheet<'_>, at: Beats) -> Option<(usize, usize)> {
    let next = sheet.notes.iter().position(|r| r.note.at >= at)?;
    let last = next.checked_sub(1)?;
    Some((last, next))
}

/// When the chair falls silent before a note, seconds.
fn silent_from(sheet: &Sheet<'_>, next: usize) -> f64 {
    sheet.notes[..next].iter().map(|r| r.to).fold(f64::NEG_INFINITY, f64::max)
}

fn mute(sheet: &Sheet<'_>, at: Beats, on: bool, needs: f64, out: &mut Vec<Finding>) {
    let Some((_, next)) = around(sheet, at) else { return };
    let free = (sheet.notes[next].from - silent_from(sheet, next)).max(0.0);
    if free >= needs {
        return;
    }
    let place = sheet.place(sheet.notes[next].note.at);
    let section = sheet.desk.players > 1;
    let severity = if free < HOPELESS * needs && !section { Severity::Impossible } else { Severity::Hard };
    let what = if on { "put the mute on" } else { "take the mute off" };
    let word = if on { "con sord." } else { "senza sord." };
    let bar = place.bar;
    let change = sheet
        .table
        .cell_at(sheet.desk.id(), bar)
        // A mute that comes off because the cell before had it is not there to be taken out.
        .filter(|_| on)
        .and_then(|t| without_mark(t, word))
        .and_then(|t| sheet.table.cell_change(sheet.desk.id(), bar, t));
    let rest = if section {
        "Leave a rest before it, or let it go through the section desk by desk"
    } else {
        "Leave a rest before it, or let another player have the muted notes"
    };
    out.push(
        Found::new("mute-time", severity, sheet.desk.id(), place)
            .says(format!("{} to {what}, which takes about {}", free_said(free), said(needs)))
            .remedy(if change.is_some() {
                format!("{rest}; or leave out `{word}` here")
            } else {
                rest.to_string()
            })
            .change(change)
            .done(),
    );
}

fn free_said(free: f64) -> String {
    if free < 0.05 { "No time".to_string() } else { format!("{} of rest", said(free)) }
}

fn pluck(sheet: &Sheet<'_>, at: Beats, to_finger: bool, needs: f64, out: &mut Vec<Finding>) {
    let Some((last, next)) = around(sheet, at) else { return };
    // The last note may be cut short: from onset to onset counts.
    let free = sheet.notes[next].from - sheet.notes[last].from;
    if free >= needs {
        return;
    }
    let (from, to) = if to_finger { ("bow", "finger (pizz.)") } else { ("finger", "bow (arco)") };
    let severity = if free < HOPELESS * needs { Severity::Impossible } else { Severity::Hard };
    let remedy = if sheet.desk.players > 1 {
        "Cut the note before, or let half of the section pluck and the other half bow"
    } else {
        "Cut the note before, leave one out, or ask for a left-hand pizzicato"
    };
    out.push(
        Found::new("pluck-time", severity, sheet.desk.id(), sheet.place(sheet.notes[next].note.at))
            .says(format!(
                "{:.2} s from the last note before to the next: from {from} to {to} takes about {needs:.2} s",
                free.max(0.0)
            ))
            .remedy(remedy)
            .done(),
    );
}

/// The instrument that words tell the player to take up: `muta in Ottavino`.
fn other_instrument(text: &str) -> Option<String> {
    let lower = text.to_lowercase().replace(['(', ')', '[', ']', ',', '.', ':'], " ");
    let lower = lower.split_whitespace().collect::<Vec<_>>().join(" ");
    // The longest opening first, so that `muta in` is not `muta` with an instrument "in …".
    let take = TAKE.iter().filter(|t| lower.starts_with(**t)).max_by_key(|t| t.len())?;
    let rest = lower.strip_prefix(take)?.strip_prefix(' ')?;
    // `muta Sol in La`: a drum or a crook is tuned.
    if TUNES.iter().any(|t| rest.contains(t)) {
        return None;
    }
    let known = |name: &str| {
        ripieno_instruments::table()
            .iter()
            .any(|i| !i.unpitched && i.names.all().any(|n| n.to_lowercase() == name))
    };
    known(rest).then(|| rest.to_string())
}

fn take_up(sheet: &Sheet<'_>, at: Beats, name: &str, (peace, haste): (f64, f64), out: &mut Vec<Finding>) {
    let Some((_, next)) = around(sheet, at) else { return };
    let free = (sheet.notes[next].from - silent_from(sheet, next)).max(0.0);
    if free >= peace {
        return;
    }
    let severity = if free < haste { Severity::Impossible } else { Severity::Hard };
    out.push(
        Found::new("change-instrument", severity, sheet.desk.id(), sheet.place(sheet.notes[next].note.at))
            .says(format!(
                "{} to take up the {name} and warm it, which takes about {} ({} in haste)",
                free_said(free),
                said(peace),
                said(haste)
            ))
            .remedy("Leave more bars of rest, or let another player have the other instrument")
            .done(),
    );
}

#[cfg(test)]
mod tests {
    use super::other_instrument;

    #[test]
    fn words_that_change_the_instrument() {
        for text in [
            "muta in Ottavino",
            "Muta in Flauto piccolo",
            "to Piccolo",
            "nimmt Englischhorn",
            "take Bass Clarinet",
        ] {
            assert!(other_instrument(text).is_some(), "{text}");
        }
        for text in ["muta Sol in La", "to the end", "muta in A", "a tempo", "to", "piccolo", ""] {
            assert!(other_instrument(text).is_none(), "{text}");
        }
    }
}
