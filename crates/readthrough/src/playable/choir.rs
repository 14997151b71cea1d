//! `tessitura`, `vowel-high`, `text-high`, `leap-sung`, `syllable-speed`: what voices and words can do.
//!
//! Voices can be hurt: every message puts the singer's own judgement first.

use super::range::capital;
use super::sheet::{Read, Sheet, pitch_name, said};
use super::vowels::{closed, tongue};
use ripieno_instruments::{
    Family,
    players::{Limits, limits},
};
use ripieno_music::{Finding, Severity, Syllable};

/// The mean pitch is taken over so many seconds ...
const LONG: f64 = 20.0;
/// ... of which so many are sung.
const SUNG: f64 = 10.0;
/// So many semitones outside are no matter.
const NEAR: f64 = 1.0;
/// A closed vowel that is touched in passing matters little, seconds.
const HELD: f64 = 0.5;
/// So many syllables above the staff in one stretch are text, fewer a cry.
const TEXT: usize = 3;
/// After a rest of so long the voice comes in anew, seconds.
const ENTRY: f64 = 1.0;
/// Wider than a fifth into the top is a leap that wants preparing (semitones).
const INTO_THE_TOP: i16 = 7;
/// So many syllables in a row make a speed.
const WINDOW: usize = 5;
/// Written speeds are not metronomes.
const TOLERANCE: f64 = 1.05;
/// Beyond this factor nobody follows.
const BEYOND: f64 = 1.5;

pub(crate) fn check(sheet: &Sheet<'_>, out: &mut Vec<Finding>) {
    if sheet.desk.instrument.family != Family::Voices {
        return;
    }
    syllables(sheet, out);
    let Some(limits) = limits(&sheet.desk.instrument.id) else { return };
    tessitura(sheet, limits, out);
    vowels(sheet, limits, out);
    text(sheet, limits, out);
    leaps(sheet, limits, out);
}

fn tessitura(sheet: &Sheet<'_>, limits: &Limits, out: &mut Vec<Finding>) {
    let Some(lies) = limits.tessitura else { return };
    let mut hits: Vec<usize> = Vec::new();
    let mut means: Vec<(usize, f64)> = Vec::new();
    // Windows that begin with each note; sums are kept as they slide.
    let (mut end, mut weight, mut sum) = (0, 0.0, 0.0);
    let of = |r: &Read<'_>| r.key.map(|k| (r.seconds(), f64::from(k) * r.seconds()));
    for start in 0..sheet.notes.len() {
        let from = sheet.notes[start].from;
        while end < sheet.notes.len() && (end <= start || sheet.notes[end].from < from + LONG) {
            if let Some((w, s)) = of(&sheet.notes[end]) {
                (weight, sum) = (weight + w, sum + s);
            }
            end += 1;
        }
        let last = &sheet.notes[end - 1];
        let mean = sum / weight.max(1e-9);
        let outside = mean > f64::from(lies.high) + NEAR || mean < f64::from(lies.low) - NEAR;
        if outside && weight >= SUNG && last.to - from >= LONG * 0.75 {
            hits.extend(start..end);
            means.push((start, mean));
        }
        if let Some((w, s)) = of(&sheet.notes[start]) {
            (weight, sum) = ((weight - w).max(0.0), sum - s);
        }
    }
    hits.sort_unstable();
    hits.dedup();
    for stretch in sheet.runs(&hits) {
        let off = |m: f64| (m - f64::from(lies.high)).max(f64::from(lies.low) - m);
        let worst = means
            .iter()
            .filter(|m| stretch.hits.binary_search(&m.0).is_ok())
            .max_by(|a, b| off(a.1).total_cmp(&off(b.1)));
        let Some((_, mean)) = worst else { continue };
        let way = if *mean > f64::from(lies.high) { "high" } else { "low" };
        out.push(
            sheet
                .found("tessitura", Severity::Hard, &stretch)
                .says(format!(
                    "Lies {way} for long: around {} over {}, where the voice lies well between {} and {}",
                    pitch_name(mean.round() as i16),
                    said(LONG),
                    pitch_name(i16::from(lies.low)),
                    pitch_name(i16::from(lies.high))
                ))
                .remedy(if way == "high" && sheet.desk.players == 1 {
                    "Spare the voice: transpose, exchange with a higher voice, or rest between; the singer's own judgement comes first"
                } else if sheet.desk.players == 1 {
                    "Transpose, or exchange with a lower voice; do not press the low notes: the singer's own judgement comes first"
                } else if way == "high" {
                    "Spare the voices: transpose, exchange with a higher part, or divide and rest in turn; the singers' own judgement comes first"
                } else {
                    "Transpose, or exchange with a lower part; do not press the low notes: the singers' own judgement comes first"
                })
                .done(),
        );
    }
}

/// The text that a note carries: its own, or that of the melisma that it belongs to.
fn sung<'a>(sheet: &'a Sheet<'_>) -> Vec<Option<&'a Syllable>> {
    let mut out: Vec<Option<&Syllable>> = vec![None; sheet.notes.len()];
    for voice in &sheet.voices {
        let (mut last, mut extends): (Option<&Syllable>, bool) = (None, false);
        for i in voice {
            let note = sheet.notes[*i].note;
            match &note.syllable {
                Some(s) => (last, extends) = (Some(s), s.extends),
                None if !note.slurred && !extends => last = None,
                None => {}
            }
            out[*i] = last;
        }
    }
    out
}

fn vowels(sheet: &Sheet<'_>, limits: &Limits, out: &mut Vec<Finding>) {
    let Some(from) = limits.open_above.map(i16::from) else { return };
    let text = sung(sheet);
    let tongue = tongue(sheet.notes.iter().filter_map(|r| r.note.syllable.as_ref()));
    let hits: Vec<usize> = (0..sheet.notes.len())
        .filter(|i| {
            let read = &sheet.notes[*i];
            let closed = |syllable: &Syllable| closed(syllable, tongue);
            read.key.is_some_and(|k| k >= from) && read.seconds() >= HELD && text[*i].is_some_and(closed)
        })
        .collect();
    for stretch in sheet.runs(&hits) {
        let mut words: Vec<&str> = Vec::new();
        for word in stretch.hits.iter().filter_map(|i| Some(text[*i]?.text.as_str())) {
            if !words.contains(&word) {
                words.push(word);
            }
        }
        words.truncate(4);
        out.push(
            sheet
                .found("vowel-high", Severity::Hard, &stretch)
                .says(format!(
                    "Closed vowel on “{}” ({}, {}): from {} on it cannot be kept without pressing",
                    words.join("”, “"),
                    stretch.count(),
                    sheet.span(&stretch),
                    pitch_name(from)
                ))
                .remedy(if sheet.desk.players == 1 {
                    "Set an open vowel (ah, oh) there, or let the singer open it; spare the voice: the singer's own judgement comes first"
                } else {
                    "Set an open vowel (ah, oh) there, or let the singers open it; spare the voices: the singers' own judgement comes first"
                })
                .done(),
        );
    }
}

fn text(sheet: &Sheet<'_>, limits: &Limits, out: &mut Vec<Finding>) {
    let Some(from) = limits.text_above.map(i16::from) else { return };
    let hits: Vec<usize> = (0..sheet.notes.len())
        .filter(|i| {
            let read = &sheet.notes[*i];
            read.key.is_some_and(|k| k >= from) && read.note.syllable.is_some()
        })
        .collect();
    for stretch in sheet.runs(&hits) {
        let mut words: Vec<String> = stretch
            .hits
            .iter()
            .filter_map(|i| sheet.notes[*i].note.syllable.as_ref().map(|s| s.text.to_lowercase()))
            .collect();
        let syllables = words.len();
        words.sort_unstable();
        words.dedup();
        // One vowel on every note is no text to be lost.
        if syllables < TEXT || words.len() < 2 {
            continue;
        }
        out.push(
            sheet
                .found("text-high", Severity::Advice, &stretch)
                .says(format!(
                    "{syllables} syllables at or above {}: the words are not understood there",
                    pitch_name(from)
                ))
                .remedy("Say the words again lower, or let another part have them at the same time")
                .done(),
        );
    }
}

fn leaps(sheet: &Sheet<'_>, limits: &Limits, out: &mut Vec<Finding>) {
    let Some((widest, _)) = limits.leap else { return };
    let top = sheet.desk.instrument.comfortable.map_or(i16::MAX, |c| i16::from(c.high));
    let (mut wide, mut high, mut cold) = (Vec::new(), Vec::new(), Vec::new());
    for voice in &sheet.voices {
        for (k, i) in voice.iter().enumerate() {
            let now = &sheet.notes[*i];
            let Some(key) = now.key else { continue };
            let before = k.checked_sub(1).map(|b| &sheet.notes[voice[b]]);
            let leap = before.and_then(|b| b.key).map_or(0, |b| key - b);
            if before.is_none_or(|b| now.from - b.to >= ENTRY) {
                if key > top {
                    cold.push(*i);
                }
            } else if f64::from(leap.abs()) > widest {
                wide.push(*i);
            } else if key > top && leap > INTO_THE_TOP {
                high.push(*i);
            }
        }
    }
    let care = if sheet.desk.players == 1 {
        "; spare the voice: the singer's own judgement comes first"
    } else {
        "; spare the voices: the singers' own judgement comes first"
    };
    for (mut hits, severity, [one, several], what, remedy) in [
        (
            wide,
            Severity::Hard,
            ["a", "several times a"],
            "leap wider than a choir finds",
            "Bring the note within an octave, or give it a cue from another part",
        ),
        (
            high,
            Severity::Hard,
            ["a", "several times a"],
            "leap into the top of the voice",
            "Lead up to it by step or by chord, or let another part cue it",
        ),
        (
            cold,
            Severity::Advice,
            ["an", "several times an"],
            "entry in the top of the voice after a rest",
            "Cue the note in another part, and lead up to it",
        ),
    ] {
        hits.sort_unstable();
        for stretch in sheet.runs(&hits) {
            out.push(
                sheet
                    .found("leap-sung", severity, &stretch)
                    .says(format!(
                        "{} {what} ({})",
                        capital(if stretch.hits.len() == 1 { one } else { several }),
                        sheet.span(&stretch)
                    ))
                    .remedy(format!("{remedy}{care}"))
                    .done(),
            );
        }
    }
}

fn syllables(sheet: &Sheet<'_>, out: &mut Vec<Finding>) {
    let most = sheet.desk.instrument.repetition.single;
    if most <= 0.0 {
        return;
    }
    let mut hits: Vec<usize> = Vec::new();
    let mut rates: Vec<(usize, f64)> = Vec::new();
    for voice in &sheet.voices {
        let with_text: Vec<usize> =
            voice.iter().copied().filter(|i| sheet.notes[*i].note.syllable.is_some()).collect();
        for window in with_text.windows(WINDOW) {
            let time = sheet.notes[window[WINDOW - 1]].from - sheet.notes[window[0]].from;
            let rate = (WINDOW - 1) as f64 / time.max(1e-3);
            if rate > most * TOLERANCE {
                hits.extend(window);
                rates.push((window[0], rate));
            }
        }
    }
    hits.sort_unstable();
    hits.dedup();
    for stretch in sheet.runs(&hits) {
        let rate = rates.iter().filter(|r| stretch.hits.contains(&r.0)).map(|r| r.1).fold(0.0, f64::max);
        let severity = if rate > most * BEYOND { Severity::Impossible } else { Severity::Hard };
        out.push(
            sheet
                .found("syllable-speed", severity, &stretch)
                .says(format!(
                    "{rate:.1} syllables a second ({}): {most:.0} can be sung and understood",
                    stretch.count()
                ))
                .remedy("Put fewer syllables on the notes, or a slower value under each")
                .done(),
        );
    }
}
