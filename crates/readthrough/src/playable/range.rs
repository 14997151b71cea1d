//! `range`, `range-comfort`: notes that the instrument does not have, and notes that do not lie well.

use super::cell_edit::with_octave;
use super::sheet::{Read, Sheet, Stretch, harmonic};
use crate::phrase::may_move;
use ripieno_instruments::players::limits;
use ripieno_instruments::{Family, Range, natural_of};
use ripieno_music::{Change, Edit, Finding, Severity};

/// From here (dB re mf, pp and below) a note above the comfortable range asks for more than the range itself.
const SOFT: f64 = -11.0;
/// A voice is asked for as much by a high note at p that is held for so many seconds (dB re mf; common practice, no source).
const QUIET: f64 = -6.75;
const LONG: f64 = 4.0;
/// The same for ff and more, below the comfortable range.
const LOUD: f64 = 7.0;
/// Shorter notes outside the comfortable range pass, seconds (a semiquaver at a moderate tempo).
const PASSING: f64 = 0.2;
/// Notes outside the comfortable range that last less than this altogether are no strain, seconds.
const STRAIN: f64 = 1.0;
/// Some singers, and bowed strings upwards (alone, or as harmonics), reach so many semitones beyond the table.
const SOME_SINGERS: i16 = 3;
const SOME_STRINGS: i16 = 5;
/// Natural horns and trumpets are lipped so far beyond the table (common practice, no source).
const LIPPED: i16 = 2;
/// Octaves that a cell may be moved by, in semitones: first by one, then by two.
const MOVES: [[i16; 2]; 2] = [[12, -12], [24, -24]];
/// A passage is only moved as a whole where this share of its notes asks for it.
const WHOLE: f64 = 0.15;
/// A part of which this share lies outside on one side, and inside an octave away, was set down in another octave.
const MISPLACED: f64 = 0.25;

/// Whose missing notes the searches speak of, each in its own way (bars, drums, strings, holes).
fn told_elsewhere(sheet: &Sheet<'_>) -> bool {
    let instrument = sheet.desk.instrument;
    instrument.unpitched
        || instrument.family == Family::Percussion
        || ["harp", "tin-whistle", "low-whistle"].contains(&instrument.id.as_str())
}

pub(crate) fn check(sheet: &Sheet<'_>, out: &mut Vec<Finding>) {
    if told_elsewhere(sheet) {
        return;
    }
    let instrument = sheet.desk.instrument;
    let Some(hard) = instrument.hard else { return };
    let pedal = |k: i16| instrument.pedals.is_some_and(|p| p.holds(k));
    let outside = |read: &Read<'_>| read.key.is_some_and(|k| !hard.holds(k) && !pedal(k)) && !harmonic(read);
    pedal_notes(sheet, out);
    let hits: Vec<usize> = (0..sheet.notes.len()).filter(|i| outside(&sheet.notes[*i])).collect();
    if let Some(finding) = misplaced(sheet, &hits, hard) {
        out.push(finding);
        return;
    }
    for stretch in sheet.stretches(&hits) {
        let remedy = octave_remedy(sheet, &stretch, hard);
        let side = sides(sheet, &stretch, hard);
        let beyond = |i: &usize| {
            let key = sheet.notes[*i].key.unwrap_or(60);
            let (low, high) = match instrument.family {
                Family::Voices => (SOME_SINGERS, SOME_SINGERS),
                Family::Strings => (0, SOME_STRINGS),
                _ if natural_of(&instrument.id).is_some() => (LIPPED, LIPPED),
                _ => (0, 0),
            };
            key < i16::from(hard.low) - low || key > i16::from(hard.high) + high
        };
        let severity = if stretch.hits.iter().any(beyond) { Severity::Impossible } else { Severity::Hard };
        out.push(
            sheet
                .found("range", severity, &stretch)
                .says(format!(
                    "{} ({}) {side} of the {}, which has {} to {}",
                    capital(&stretch.count()),
                    sheet.span(&stretch),
                    instrument.name(),
                    super::sheet::pitch_name(i16::from(hard.low)),
                    super::sheet::pitch_name(i16::from(hard.high)),
                ))
                .remedy(format!("{}{}", remedy.0, old_clef(sheet, &stretch, hard)))
                .change(remedy.1)
                .done(),
        );
    }
    comfort(sheet, hard, out);
}

/// Pedal notes speak late, and soft ones may not: known to the player, worth a word to the writer.
fn pedal_notes(sheet: &Sheet<'_>, out: &mut Vec<Finding>) {
    let Some(pedals) = sheet.desk.instrument.pedals else { return };
    let is = |i: &usize| sheet.notes[*i].key.is_some_and(|k| pedals.holds(k));
    let hits: Vec<usize> = (0..sheet.notes.len()).filter(is).collect();
    for stretch in sheet.runs(&hits) {
        let short = stretch.hits.iter().any(|i| sheet.notes[*i].seconds() < PASSING);
        let (severity, why) = if short {
            (Severity::Hard, "it speaks too late for so short a note")
        } else {
            (Severity::Advice, "it speaks late, and is sure from mf on")
        };
        let (word, verb) =
            if stretch.hits.len() == 1 { ("a pedal note", "is") } else { ("pedal notes", "are") };
        out.push(
            sheet
                .found("range", severity, &stretch)
                .says(format!(
                    "{} ({}) {verb} {word} of the {}: {why}",
                    capital(&stretch.count()),
                    sheet.span(&stretch),
                    sheet.desk.instrument.name(),
                ))
                .remedy("Leave time before it, keep it long and not soft, or give it to the tuba")
                .done(),
        );
    }
}

/// One finding for a part that lies an octave off from end to end: no player is asked for that, a copyist is.
fn misplaced(sheet: &Sheet<'_>, hits: &[usize], hard: Range) -> Option<Finding> {
    let keys: Vec<i16> = sheet.notes.iter().filter_map(|r| r.key).collect();
    let low = hits.iter().filter(|i| sheet.notes[**i].key < Some(i16::from(hard.low))).count();
    let (by, there, way) = if low == hits.len() {
        (12, "below", "an octave too low")
    } else if low == 0 {
        (-12, "above", "an octave too high")
    } else {
        return None;
    };
    let much = hits.len() >= 4 && hits.len() as f64 >= MISPLACED * keys.len() as f64;
    if !much || !keys.iter().all(|k| hard.holds(k + by)) {
        return None;
    }
    let (first, last) = (*hits.first()?, *hits.last()?);
    let all = Stretch {
        first: sheet.place(sheet.notes[first].note.at),
        to_bar: sheet.bar(last),
        hits: hits.to_vec(),
    };
    Some(
        sheet
            .found("range", Severity::Impossible, &all)
            .says(format!(
                "{} of its {} notes ({}) lie {there} the range of the {}: the whole part seems to be set down {way}",
                hits.len(),
                keys.len(),
                sheet.span(&all),
                sheet.desk.instrument.name(),
            ))
            .remedy(format!(
                "Look at the clef and the transposition of the source; moved by an octave ({}) all of it lies in the range",
                if by > 0 { "8va" } else { "8vb" }
            ))
            .change(everywhere(sheet, by))
            .done(),
    )
}

/// Every cell of the chair in which it plays, moved by an octave; nothing where one of them cannot say it.
fn everywhere(sheet: &Sheet<'_>, by: i16) -> Option<Change> {
    let chair = sheet.desk.id();
    let mut edits = Vec::new();
    for cell in &sheet.desk.part.cells {
        let plays = sheet.notes.iter().any(|r| r.note.at >= cell.from && r.note.at < cell.to);
        if plays {
            let passage = sheet.table.plan.passages.iter().find(|p| p.name == cell.passage)?;
            let text = with_octave(sheet.table.cell_at(chair, passage.from_bar)?, by)?;
            edits.push(Edit::Cell { passage: passage.name.clone(), chair: chair.to_string(), text });
        }
    }
    (!edits.is_empty()).then_some(Change { edits })
}

/// What old prints mean by a clef, where a note lies an octave off by it (common practice, no source).
fn old_clef(sheet: &Sheet<'_>, stretch: &Stretch, hard: Range) -> &'static str {
    let keys = || stretch.hits.iter().filter_map(|i| sheet.notes[*i].key);
    let high = keys().all(|k| k > i16::from(hard.high) && hard.holds(k - 12));
    let low = keys().all(|k| k < i16::from(hard.low) && hard.holds(k + 12));
    match sheet.desk.instrument.id.as_str() {
        "cello" if high => {
            ". Old prints mean the cello's treble clef an octave lower, unless it follows the tenor clef"
        }
        "horn" | "natural-horn" if low => ". Old prints mean the horn's bass clef an octave higher",
        _ => "",
    }
}

fn comfort(sheet: &Sheet<'_>, hard: Range, out: &mut Vec<Finding>) {
    let Some(easy) = sheet.desk.instrument.comfortable else { return };
    // A bow is soft at any height, and brass is loud at its bottom; what a register of one instrument cannot be has a rule of its own.
    let family = sheet.desk.instrument.family;
    let blown = matches!(family, Family::Woodwind | Family::Brass | Family::Voices);
    // Reeds and brass are loud at their bottom; where flutes are not has a rule of its own.
    let voices = family == Family::Voices;
    let daily =
        limits(&sheet.desk.instrument.id).and_then(|l| l.daily_to).map_or(easy.high, |d| d.max(easy.high));
    let beyond = |read: &Read<'_>| {
        read.key.is_some_and(|k| {
            hard.holds(k) && !easy.holds(k) && !(k >= i16::from(easy.low) && k <= i16::from(daily))
        }) && !harmonic(read)
            && read.seconds() >= PASSING
    };
    let hits: Vec<usize> = (0..sheet.notes.len()).filter(|i| beyond(&sheet.notes[*i])).collect();
    for stretch in sheet.runs(&hits) {
        let high = |r: &Read<'_>| r.key.is_some_and(|k| k > i16::from(easy.high));
        let strains = |r: &&Read<'_>| {
            let held = family == Family::Voices && r.level <= QUIET && r.seconds() >= LONG;
            let strain = if high(r) { blown && (r.level <= SOFT || held) } else { voices && r.level >= LOUD };
            strain && r.marked()
        };
        let strained = stretch.hits.iter().map(|i| &sheet.notes[*i]).find(strains);
        let seconds: f64 = stretch.hits.iter().map(|i| sheet.notes[*i].seconds()).sum();
        if strained.is_none() && seconds < STRAIN {
            continue;
        }
        let (severity, at) = match strained {
            Some(read) if stretch.hits.len() == 1 => (Severity::Hard, format!(", at {}", read.mark())),
            Some(read) => (Severity::Hard, format!(", {} among them", read.mark())),
            None => (Severity::Advice, String::new()),
        };
        let bowed = family == Family::Strings;
        let advice = if voices && sheet.desk.players == 1 {
            "Spare the voice: transpose, or give it to a higher or lower voice; the singer's own judgement comes first"
        } else if voices {
            "Spare the voices: give it to a higher or lower part, or let few sing it; the singers' own judgement comes first"
        } else if bowed {
            "High positions want to be led up to: by step, or after a rest; ask the players, or bring it an octave down"
        } else if strained.is_some() {
            "Bring the dynamic nearer to mf, or give it to an instrument that has it in its middle"
        } else {
            "Ask the player, or give it to an instrument that has it in its middle"
        };
        out.push(
            sheet
                .found("range-comfort", severity, &stretch)
                .says(format!(
                    "{} ({}) outside the comfortable range, {} to {}{at}",
                    capital(&stretch.count()),
                    sheet.span(&stretch),
                    super::sheet::pitch_name(i16::from(easy.low)),
                    super::sheet::pitch_name(i16::from(easy.high)),
                ))
                .remedy(advice)
                .done(),
        );
    }
}

fn sides(sheet: &Sheet<'_>, stretch: &Stretch, hard: Range) -> &'static str {
    let keys = stretch.hits.iter().filter_map(|i| sheet.notes[*i].key);
    let (mut low, mut high) = (false, false);
    for key in keys {
        low |= key < i16::from(hard.low);
        high |= key > i16::from(hard.high);
    }
    match (low, high, stretch.hits.len()) {
        (true, true, _) => "lie outside the range",
        (true, _, 1) => "lies below the range",
        (true, _, _) => "lie below the range",
        (_, _, 1) => "lies above the range",
        _ => "lie above the range",
    }
}

/// An octave that puts the whole cell into the range, if there is one.
fn octave_remedy(sheet: &Sheet<'_>, stretch: &Stretch, hard: Range) -> (String, Option<Change>) {
    let chair = sheet.desk.id();
    let bar = stretch.first.bar;
    let low = stretch.hits.iter().all(|i| sheet.notes[*i].key < Some(i16::from(hard.low)));
    let high = stretch.hits.iter().all(|i| sheet.notes[*i].key > Some(i16::from(hard.high)));
    let by_hand = match sheet.desk.instrument.family {
        Family::Voices if low => "Give these notes to a lower voice, or write them an octave higher",
        Family::Voices if high => "Give these notes to a higher voice, or write them an octave lower",
        _ => "Give these notes to an instrument that has them, or write them at another octave",
    }
    .to_string();
    let (Some(passage), Some(text)) = (sheet.table.passage_at(bar), sheet.table.cell_at(chair, bar)) else {
        return (by_hand, None);
    };
    let cell = sheet.desk.part.cells.iter().find(|c| c.passage == passage.name);
    let Some(cell) = cell else { return (by_hand, None) };
    let keys: Vec<i16> = sheet
        .notes
        .iter()
        .filter(|r| r.note.at >= cell.from && r.note.at < cell.to)
        .filter_map(|r| r.key)
        .collect();
    let asking = keys.iter().filter(|k| !hard.holds(**k)).count();
    if (asking as f64) < WHOLE * keys.len() as f64 {
        return (by_hand, None);
    }
    let easy = sheet.desk.instrument.comfortable.unwrap_or(hard);
    let fits = |range: Range, by: i16| keys.iter().all(|k| range.holds(k.saturating_add(by)));
    let first = |moves: &[i16; 2]| {
        let mut all = moves.iter().map(|by| (easy, *by)).chain(moves.iter().map(|by| (hard, *by)));
        all.find(|(range, by)| fits(*range, *by)).map(|found| found.1)
    };
    let best = MOVES.iter().find_map(first).filter(|_| may_move(sheet.table, sheet.desk, bar));
    let change = best.and_then(|by| {
        let text = with_octave(text, by)?;
        Some((by, sheet.table.cell_change(chair, bar, text)?))
    });
    match change {
        Some((by, change)) => {
            let way = match by {
                12 => "an octave higher (8va)",
                -12 => "an octave lower (8vb)",
                24 => "two octaves higher (15ma)",
                _ => "two octaves lower (15mb)",
            };
            (format!("Play “{}” {way}: all of it then lies in the range", passage.name), Some(change))
        }
        None => (by_hand, None),
    }
}

/// With a capital letter.
pub(crate) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |c| c.to_uppercase().chain(letters).collect())
}
