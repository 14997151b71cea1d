//! The harpist's hands: chords laid in two hands, and one string again and again.

use super::charts::place_words;
use super::harp::{Played, RESPELL, key_name};
use super::harp_hands::{leave_out, share};
use super::harp_pedals::LETTERS;
use crate::Found;
use ripieno_music::{Arpeggio, Finding, Note, Severity};
use std::collections::BTreeMap;

/// Repetitions of one key that follow each other within this are one run, seconds.
const RUN: f64 = 0.6;

/// Chords and repetitions of one harp.
pub(super) fn check(played: &Played<'_>, findings: &mut Vec<Finding>) {
    chords(played, findings);
    repetitions(played, findings);
}

/// The string of a key in an event, counted from C0: by the letter that the way through takes it on.
fn string(played: &Played<'_>, event: Option<usize>, key: i16) -> i16 {
    let way = event.and_then(|e| played.solution.played.get(e));
    let on = |letter: usize, position: i16| {
        let natural = key - position;
        (natural.rem_euclid(12) == LETTERS[letter]).then(|| natural.div_euclid(12) * 7 + letter as i16)
    };
    if let Some(way) = way
        && let Some(found) =
            (0..7).find_map(|l| on(l, i16::from(way[l])).filter(|_| (-1..=1).contains(&way[l])))
    {
        return found;
    }
    // By its natural letter or as a sharp: near enough for a hand's width.
    [0, 1].iter().find_map(|p| (0..7).find_map(|l| on(l, *p))).unwrap_or_default()
}

fn chords(played: &Played<'_>, findings: &mut Vec<Finding>) {
    let notes = &played.desk.part.content.notes;
    // The event of each note itself, not of its graces.
    let mut event_of: BTreeMap<usize, usize> = BTreeMap::new();
    for (event, plucked) in played.plucked.notes.iter().enumerate() {
        for note in plucked {
            let at = played.table.clock.seconds(notes[*note].at).0;
            if (played.plucked.events[event].at - at).abs() < 0.05 {
                event_of.insert(*note, event);
            }
        }
    }
    let mut told: BTreeMap<Vec<i16>, usize> = BTreeMap::new();
    let mut index = 0;
    while index < notes.len() {
        let count = notes[index..].iter().take_while(|n| n.at == notes[index].at).count();
        let chord = index..index + count;
        index += count;
        let rolled = |n: &Note| matches!(n.arpeggio, Some(Arpeggio::Up | Arpeggio::Down));
        if notes[chord.clone()].iter().any(rolled) {
            continue; // hand after hand
        }
        let mut all: Vec<(i16, i16)> = chord
            .clone()
            .filter_map(|i| notes[i].pitch().map(|p| (i, p.key)))
            .map(|(i, key)| (string(played, event_of.get(&i).copied(), key), key))
            .collect();
        all.sort_unstable();
        all.dedup_by_key(|s| s.0);
        let strings: Vec<i16> = all.iter().map(|s| s.0).collect();
        if share(&strings, played.facts).is_some() {
            continue;
        }
        let place = played.table.timeline.place(notes[chord.start].at);
        // The same chord over and over is one finding.
        if let Some(finding) = told.get(&strings).and_then(|i: &usize| findings.get_mut(*i))
            && place.bar - finding.to_bar <= 2
        {
            finding.to_bar = place.bar;
            continue;
        }
        told.insert(strings.clone(), findings.len());
        findings.push(chord_finding(played, place, &all, &strings));
    }
}

fn chord_finding(
    played: &Played<'_>,
    place: ripieno_music::Place,
    all: &[(i16, i16)],
    strings: &[i16],
) -> Finding {
    let (facts, desk) = (played.facts, played.desk);
    let most = 2 * facts.fingers;
    let names = |out: &[usize]| out.iter().map(|i| key_name(all[*i].1)).collect::<Vec<_>>().join(" and ");
    let many = strings.len() > most;
    let what = if many {
        format!("{} notes at once; a harpist has {most} fingers that play", strings.len())
    } else {
        let low = all.first().map_or_else(String::new, |s| key_name(s.1));
        let high = all.last().map_or_else(String::new, |s| key_name(s.1));
        format!(
            "{} notes from {low} to {high} do not lie in two hands of {} fingers and a tenth",
            strings.len(),
            facts.fingers
        )
    };
    let out = leave_out(strings, facts);
    let leave = out.map(|o| format!("leave out {}", names(&o)));
    let remedy = match (desk.players > 1, many, leave) {
        (true, _, _) => "divide it between the harps".to_string(),
        (_, false, Some(leave)) => format!("have it rolled, or {leave}"),
        (_, false, None) => "have it rolled".to_string(),
        (_, true, Some(leave)) => leave,
        (_, true, None) => "divide it between two harps".to_string(),
    };
    let severity = if desk.players > 1 {
        Severity::Advice
    } else if many {
        Severity::Impossible
    } else {
        Severity::Hard
    };
    Found::new("harp-span", severity, desk.id(), place).says(what).remedy(remedy).done()
}

fn repetitions(played: &Played<'_>, findings: &mut Vec<Finding>) {
    let events = &played.plucked.events;
    // By key: first event, last event, plucks, shortest time.
    let mut runs: BTreeMap<i16, (usize, usize, usize, f64)> = BTreeMap::new();
    let mut done: Vec<(i16, (usize, usize, usize, f64))> = Vec::new();
    for event in 0..events.len() {
        for need in &events[event].needs {
            let Some(before) = need.again else { continue };
            if rested(played, event, need, before) {
                continue;
            }
            let gap = events[event].at - before;
            for key in &need.keys {
                match runs.get_mut(key) {
                    Some(run) if events[event].at - events[run.1].at < RUN => {
                        (run.1, run.2, run.3) = (event, run.2 + 1, run.3.min(gap));
                    }
                    _ => {
                        let old = runs.insert(*key, (event, event, 2, gap));
                        done.extend(old.map(|o| (*key, o)));
                    }
                }
            }
        }
    }
    done.extend(runs);
    done.sort_by_key(|d| (d.1.0, d.0));
    for (key, (first, last, plucks, gap)) in done {
        findings.push(repeat_finding(played, key, (first, last), plucks, gap));
    }
}

/// Is the note taken on a string that was not plucked at that time or since?
fn rested(played: &Played<'_>, event: usize, need: &super::harp_pedals::Need, before: f64) -> bool {
    let way = &played.solution.played[event];
    let mut letters = need.options.iter().filter(|(l, p)| way[usize::from(*l)] == *p).map(|(l, _)| *l);
    let plucked = |letter: u8| {
        (0..event)
            .rev()
            .take_while(|e| played.plucked.events[*e].at >= before - 1e-6)
            .any(|e| played.solution.played[e][usize::from(letter)] != super::harp_pedals::UNSET)
    };
    letters.any(|l| !plucked(l))
}

fn repeat_finding(
    played: &Played<'_>,
    key: i16,
    (first, last): (usize, usize),
    plucks: usize,
    gap: f64,
) -> Finding {
    let repetition = &played.desk.instrument.repetition;
    let place = played.place(first);
    let found = Found::new("harp-repeat", Severity::Hard, played.desk.id(), place)
        .to(played.place(last).bar)
        .says(format!(
            "{} plucked {plucks} times, {gap:.2} s apart, from {} on: one string gives {} a second",
            key_name(key),
            place_words(place),
            repetition.single
        ));
    let from = played.plucked.events[first].at;
    let to = played.plucked.events[last].at;
    if let Some(freely) = played.freely() {
        let clean = (0..freely.plucked.events.len())
            .filter(|e| (from..=to).contains(&freely.plucked.events[*e].at))
            .all(|e| {
                let mut needs = freely.plucked.events[e].needs.iter().filter(|n| n.keys.contains(&key));
                needs.all(|n| n.again.is_none_or(|before| rested(freely, e, n, before)))
            });
        let in_time = freely
            .solution
            .moves
            .iter()
            .all(|m| m.timed.is_some() || !(from..=to).contains(&freely.plucked.events[m.event].at));
        let quick_enough = repetition.fast.is_some_and(|fast| gap >= 1.0 / fast - 1e-6);
        if clean && in_time && quick_enough {
            return found
                .remedy(format!("{RESPELL}: two strings of one pitch in turn"))
                .change(Some(played.respelling()))
                .done();
        }
    }
    let alone = super::harp_pedals::spellings(key.rem_euclid(12) as u8).len() == 1;
    let remedy = if alone {
        "pluck it less often, or in turn with its octave: this pitch has one string only"
    } else {
        "pluck it less often, or in turn with its octave"
    };
    found.remedy(remedy).done()
}
