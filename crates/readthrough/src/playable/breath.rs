//! `breath`: held notes and phrases longer than a breath, of players who are alone on their part, and where to breathe.
//!
//! Sections, doubled winds and choirs breathe in turn and are not asked. Rests and the ends of slurs are where every player
//! breathes without being told; only what those do not settle is a finding.

use super::breath_search::{Step, search};
use super::cell_edit::with_breaths;
use super::range::capital;
use super::sheet::{Sheet, pitch_name, place_said, said};
use ripieno_instruments::Breath;
use ripieno_music::{Change, Edit, Finding, Mark, Place, Severity};
use ripieno_plan::PlaceWord;
use ripieno_units::{Beats, Seconds};

/// The shortest breath, seconds, and how far it fills (common practice: a quick breath takes 0.25 to 0.4 s; three fifths of the air
/// is a comfortable phrase).
const QUICK: (f64, f64) = (0.25, 0.6);
/// A breath that fills the lungs, seconds (common practice: 0.6 to 1 s).
const FULL: f64 = 0.6;
/// What a breath may take from the note before it: so long, and at most this share.
const STOLEN: f64 = 0.40;
const STOLEN_SHARE: f64 = 0.5;
/// What breaths cost the music, only in their order: before a barline, elsewhere between slurs, in a slur, in a held note; more
/// where it is not a barline.
const AT_SLUR_END: u32 = 2;
const IN_SLUR: u32 = 12;
const IN_NOTE: u32 = 24;
const OFF_BARLINE: u32 = 1;
/// A short note before it: the gap is heard more.
const AFTER_SHORT: u32 = 2;
/// A player of short notes gives half of their length away.
const SHORT_MARKS_SHARE: f64 = 0.5;
/// Levels of piano and fortissimo, dB re mf, between which air is interpolated.
const PIANO: f64 = -9.0;
const FORTISSIMO: f64 = 9.0;

/// A place where one might breathe: which note it follows, and where it is.
struct Spot {
    step: Step,
    /// Every player breathes there unasked.
    natural: bool,
    inside: bool,
    at: Beats,
    note: usize,
}

pub(crate) fn check(sheet: &Sheet<'_>, out: &mut Vec<Finding>) {
    let Some(breath) = sheet.desk.instrument.breath.as_ref() else { return };
    // One line: of notes that begin together the longest, none over the next.
    let mut line: Vec<usize> = Vec::new();
    for (i, read) in sheet.notes.iter().enumerate() {
        match line.last().copied() {
            Some(last) if read.from - sheet.notes[last].from < 0.02 => {
                if read.to > sheet.notes[last].to {
                    line.pop();
                    line.push(i);
                }
            }
            _ => line.push(i),
        }
    }
    let mut from = 0;
    for k in 0..line.len() {
        let here = &sheet.notes[line[k]];
        let next = line.get(k + 1).map(|n| &sheet.notes[*n]);
        // What follows a full breath, or a note that others play as well, stands by itself.
        let parted = next.is_none_or(|n| n.from - here.to >= FULL || sheet.alone(n) != sheet.alone(here));
        if parted {
            if sheet.alone(here) {
                phrase(sheet, breath, &line[from..=k], out);
            }
            from = k + 1;
        }
    }
}

/// Share of a full breath that a second takes at a level.
fn rate(breath: &Breath, level: f64) -> f64 {
    let t = ((level - PIANO) / (FORTISSIMO - PIANO)).clamp(0.0, 1.0);
    let between = |p: f64, ff: f64| p + (ff - p) * t;
    let air = between(breath.flow_p, breath.flow_ff) / breath.litres.max(0.1);
    // Stale air, or the reed, may end it sooner than the air does.
    air.max(between(1.0 / breath.hold_p.max(0.1), 1.0 / breath.hold_ff.max(0.1)))
}

/// Air that a stretch takes, along the curve of dynamics.
fn takes(sheet: &Sheet<'_>, breath: &Breath, from: f64, to: f64) -> f64 {
    let parts = (((to - from) / 0.25).ceil()).clamp(1.0, 400.0);
    let step = (to - from) / parts;
    let level = |i: usize| sheet.desk.performance.level.at(Seconds(from + step * (i as f64 + 0.5)));
    (0..parts as usize).map(|i| rate(breath, level(i)) * step).sum()
}

/// How far a breath of so many seconds fills the lungs.
fn fills(seconds: f64) -> f64 {
    if seconds < QUICK.0 {
        return 0.0;
    }
    (QUICK.1 + (1.0 - QUICK.1) * (seconds - QUICK.0) / (FULL - QUICK.0)).min(1.0)
}

fn phrase(sheet: &Sheet<'_>, breath: &Breath, line: &[usize], out: &mut Vec<Finding>) {
    let spots = spots(sheet, breath, line);
    let natural: Vec<Step> =
        spots.iter().map(|s| if s.natural { s.step } else { Step { fills: 0.0, ..s.step } }).collect();
    let Err(stuck) = search(&natural) else { return };
    let steps: Vec<Step> = spots.iter().map(|s| s.step).collect();
    let chair = sheet.desk.id();
    let (first, last) = (&sheet.notes[line[0]], &sheet.notes[line[line.len() - 1]]);
    let at = sheet.place(first.note.at);
    let to = sheet.place(sheet.notes[spots[stuck].note].note.end()).bar;
    let name = sheet.desk.name();
    match search(&steps) {
        Ok(plan) => {
            let asked: Vec<&Spot> = plan.at.iter().map(|i| &spots[*i]).filter(|s| !s.natural).collect();
            let held = asked.iter().find(|s| s.inside).map(|s| &sheet.notes[s.note]);
            let places: Vec<Place> = asked.iter().map(|s| sheet.place(s.at)).collect();
            let told: Vec<String> = places.iter().map(|p| place_said(*p)).collect();
            let (severity, at, to, message) = match held {
                Some(read) => {
                    let air = takes(sheet, breath, read.from, read.to).max(1e-6);
                    let key = read.key.map_or(String::new(), pitch_name);
                    let (from, end) = (sheet.place(read.note.at), sheet.place(read.note.end()));
                    let message = format!(
                        "{key} is held for {} at {}, and {}",
                        said(read.seconds()),
                        read.mark(),
                        too_long(name, air, read.seconds()),
                    );
                    let severity = if air > 1.0 { Severity::Impossible } else { Severity::Hard };
                    (severity, from, end.bar, message)
                }
                None => {
                    let stretch = phrase_of(sheet, &spots, stuck);
                    let (a, b) = (&sheet.notes[stretch.0], &sheet.notes[stretch.1]);
                    let air = takes(sheet, breath, a.from, b.to).max(1e-6);
                    let message = format!(
                        "A phrase of {} at {} under its slurs, and {}",
                        said(b.to - a.from),
                        a.mark(),
                        too_long(name, air, b.to - a.from),
                    );
                    (Severity::Hard, sheet.place(a.note.at), to.max(sheet.place(b.note.at).bar), message)
                }
            };
            let change = change(sheet, chair, &places);
            out.push(
                crate::Found::new("breath", severity, chair, at)
                    .to(to)
                    .says(capital(&message))
                    .remedy(format!(
                        "Breathe before {}, or let two players take turns; the player's own judgement comes first",
                        and(&told)
                    ))
                    .change(change)
                    .done(),
            );
        }
        Err(stuck) => {
            let reached = &sheet.notes[spots[stuck].note];
            let seconds = last.to - first.from;
            let until = sheet.place(reached.note.at);
            out.push(
                crate::Found::new("breath", Severity::Hard, chair, at)
                    .to(sheet.place(last.note.at).bar)
                    .says(format!(
                        "{} without a rest and without a note long enough to breathe after: the air is out by {}",
                        said(seconds),
                        place_said(until)
                    ))
                    .remedy("Leave a note out now and then, or let two players take it in turn")
                    .done(),
            );
        }
    }
}

/// Why so many seconds are too long, where they take so much of a full breath.
fn too_long(name: &str, air: f64, seconds: f64) -> String {
    if air > 1.0 {
        return format!("one breath of the {name} lasts about {} there", said(seconds / air));
    }
    format!(
        "takes {:.0} % of a full breath of the {name}, with no rest before it to fill the lungs",
        100.0 * air
    )
}

/// The first and last note of the stretch without a natural breath that the air does not last for.
fn phrase_of(sheet: &Sheet<'_>, spots: &[Spot], stuck: usize) -> (usize, usize) {
    let end = spots[stuck..].iter().find(|s| s.natural).or(spots.last()).map_or(0, |s| s.note);
    let before = spots[..stuck].iter().rposition(|s| s.natural);
    let first = before.and_then(|b| spots.get(b + 1)).or(spots.first()).map_or(0, |s| s.note);
    (first.min(sheet.notes.len() - 1), end.max(first).min(sheet.notes.len() - 1))
}

fn spots(sheet: &Sheet<'_>, breath: &Breath, line: &[usize]) -> Vec<Spot> {
    let timeline = sheet.table.timeline;
    let mut spots = Vec::new();
    for (k, index) in line.iter().enumerate() {
        let read = &sheet.notes[*index];
        let next = line.get(k + 1).map(|n| &sheet.notes[*n]);
        let end = next.map_or(read.to, |n| n.from.min(read.to)).max(read.from);
        let short =
            [Mark::Staccato, Mark::Staccatissimo, Mark::Spiccato].iter().any(|m| read.note.marks.has(*m));
        let share = if short { SHORT_MARKS_SHARE } else { 1.0 };
        // Inside a long note, on its beats.
        let mut reached = read.from;
        if end - read.from >= 2.0 * FULL {
            let mut bar = timeline.bar_index(read.note.at);
            while let Some(here) = timeline.bars.get(bar).filter(|b| b.at < read.note.end()) {
                for beat in 0..i64::from(here.metre.beats) {
                    let at = here.at + here.metre.beat() * beat;
                    let time = sheet.table.clock.seconds(at).0;
                    if at >= here.at + here.length || time - reached < FULL || end - time < FULL {
                        continue;
                    }
                    let stolen = STOLEN.min(STOLEN_SHARE * (time - reached));
                    spots.push(Spot {
                        step: Step {
                            takes: share * takes(sheet, breath, reached, time),
                            cost: IN_NOTE + if beat == 0 { 0 } else { OFF_BARLINE },
                            fills: fills(stolen),
                        },
                        natural: false,
                        inside: true,
                        at,
                        note: *index,
                    });
                    reached = time;
                }
                bar += 1;
            }
        }
        let rest = next.map_or(FULL, |n| n.from - end);
        let marked = read.note.marks.has(Mark::BreathAfter) || read.note.marks.has(Mark::CaesuraAfter);
        let slurred = next.is_some_and(|n| n.note.slurred && read.note.slurs_on);
        let length = end - read.from;
        let gap = if rest >= QUICK.0 { rest } else { rest.max(0.0) + STOLEN.min(STOLEN_SHARE * length) };
        let at = next.map_or(read.note.end(), |n| n.note.at);
        let barline = timeline.bars[timeline.bar_index(at)].at == at;
        let mut cost = if slurred && !marked { IN_SLUR } else { AT_SLUR_END };
        cost += if barline { 0 } else { OFF_BARLINE };
        cost += if length < 1.0 { AFTER_SHORT } else { 0 };
        spots.push(Spot {
            step: Step {
                takes: share * takes(sheet, breath, reached, end),
                cost: if rest >= QUICK.0 || marked { 0 } else { cost },
                fills: fills(gap),
            },
            natural: rest >= QUICK.0 || marked || !slurred,
            inside: false,
            at,
            note: *index,
        });
    }
    spots
}

/// The cells with commas at these places.
fn change(sheet: &Sheet<'_>, chair: &str, places: &[Place]) -> Option<Change> {
    let mut edits: Vec<Edit> = Vec::new();
    let mut rest = places;
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

fn and(list: &[String]) -> String {
    match list {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join("; ")),
    }
}
