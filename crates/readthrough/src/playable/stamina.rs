//! `stamina`: how long lips and voices work in the top of their range, and how long without a rest.

use super::sheet::{Read, Sheet, pitch_name, said};
use ripieno_instruments::{Family, players};
use ripieno_music::{Finding, Severity};

/// From this share on it is hard and not only worth knowing.
const HARD_SHARE: f64 = 0.6;
/// Twice as long without a rest as the longest is hard.
const HARD_FACTOR: f64 = 2.0;

pub(crate) fn check(sheet: &Sheet<'_>, out: &mut Vec<Finding>) {
    let instrument = sheet.desk.instrument;
    let voices = match instrument.family {
        Family::Brass => false,
        Family::Voices => true,
        _ => return,
    };
    let pick = |pair: (f64, f64)| if voices { pair.1 } else { pair.0 };
    let stamina = players::stamina();
    if let Some(easy) = instrument.comfortable {
        let top = f64::from(easy.high) - pick(stamina.top);
        high(sheet, voices, top as i16, pick(stamina.high), stamina.window, out);
    }
    without_rest(sheet, voices, pick(stamina.without_rest), stamina.recovery, out);
}

/// Share of any window that lies in the top of the range.
fn high(sheet: &Sheet<'_>, voices: bool, top: i16, most: f64, window: f64, out: &mut Vec<Finding>) {
    let above: Vec<usize> =
        (0..sheet.notes.len()).filter(|i| sheet.notes[*i].key.is_some_and(|k| k >= top)).collect();
    let mut hits: Vec<usize> = Vec::new();
    let mut worst: Vec<(usize, f64)> = Vec::new();
    let mut end = 0;
    // Sum of the notes that begin in the window, those of a chord once.
    let mut sum = 0.0;
    let single = |k: usize| {
        let read = &sheet.notes[above[k]];
        let next = above.get(k + 1).map_or(f64::INFINITY, |n| sheet.notes[*n].from);
        (read.to.min(next) - read.from).max(0.0)
    };
    for start in 0..above.len() {
        let from = sheet.notes[above[start]].from;
        end = end.max(start);
        while end < above.len() && sheet.notes[above[end]].from < from + window {
            sum += single(end);
            end += 1;
        }
        let share = sum.min(window) / window;
        if share > most {
            hits.extend(&above[start..end]);
            worst.push((above[start], share));
        }
        sum = (sum - single(start)).max(0.0);
    }
    hits.sort_unstable();
    hits.dedup();
    for stretch in sheet.runs(&hits) {
        let share = worst.iter().filter(|w| stretch.hits.contains(&w.0)).map(|w| w.1).fold(0.0, f64::max);
        if share == 0.0 {
            continue;
        }
        let severity = if share > HARD_SHARE { Severity::Hard } else { Severity::Advice };
        let (what, remedy) = if voices && sheet.desk.players == 1 {
            (
                "the voice tires",
                "Spare the voice: rests and lower passages between, or another singer in turn; the singer's own judgement comes first",
            )
        } else if voices {
            (
                "voices tire",
                "Spare the voices: rests, lower passages between, or half the choir in turn; the singers' own judgement comes first",
            )
        } else {
            (
                "lips tire",
                "Spare the lips: rests, lower passages between, or another player in turn; the player's own judgement comes first",
            )
        };
        out.push(
            sheet
                .found("stamina", severity, &stretch)
                .says(format!(
                    "{:.0} % of {} at or above {}: {what}",
                    share * 100.0,
                    said(window),
                    pitch_name(top)
                ))
                .remedy(remedy)
                .done(),
        );
    }
}

fn without_rest(sheet: &Sheet<'_>, voices: bool, most: f64, recovery: f64, out: &mut Vec<Finding>) {
    let mut report = |first: &Read<'_>, last: &Read<'_>, seconds: f64| {
        if seconds <= most {
            return;
        }
        let severity = if seconds > HARD_FACTOR * most { Severity::Hard } else { Severity::Advice };
        let who = if voices { "the voices" } else { "the lips" };
        let found = crate::Found::new("stamina", severity, sheet.desk.id(), sheet.place(first.note.at))
            .to(sheet.place(last.note.at).bar)
            .says(format!("{} without a rest of {}: {who} do not recover", said(seconds), said(recovery)))
            .remedy("Leave a few bars of rest, or let players take turns; their own judgement comes first");
        out.push(found.done());
    };
    let mut run: Option<(usize, usize, f64)> = None;
    for (i, read) in sheet.notes.iter().enumerate() {
        run = match run {
            Some((first, last, to)) if read.from - to >= recovery => {
                report(&sheet.notes[first], &sheet.notes[last], to - sheet.notes[first].from);
                Some((i, i, read.to))
            }
            Some((first, _, to)) => Some((first, i, to.max(read.to))),
            None => Some((i, i, read.to)),
        };
    }
    if let Some((first, last, to)) = run {
        report(&sheet.notes[first], &sheet.notes[last], to - sheet.notes[first].from);
    }
}
