//! The words around an opened cell: slurs, marks, dynamics, breaths, what is sung, calls, findings, title and caption.

use super::cell::{Draft, Sources};
use crate::Intent;
use ripieno_instruments::Instrument;
use ripieno_music::{
    Arpeggio, ChairPerformance, Clock, Direction, DirectionKind, Gesture, Glide, Mark, Note as Written,
    OrnamentKind, Part, SyllablePlace, named,
};
use ripieno_picture::staff::{Flag, Hairpin, Opened, Placed, Slur, Staff, Stroke, Words, pitch_name};
use ripieno_plan::{Call, CallKind, CellMark, ChairPlan, KeyMode, PassagePlan, PatchCard};
use ripieno_units::{Beats, Seconds};
use std::collections::BTreeMap;

/// What the words are taken from.
pub(super) struct Context<'a> {
    pub sources: &'a Sources<'a>,
    pub chair: &'a ChairPlan,
    pub facts: &'a Instrument,
    pub part: &'a Part,
    pub played: &'a ChairPerformance,
    pub written: &'a [&'a Written],
    pub drafts: &'a [Draft<'a>],
    pub clock: &'a Clock,
    pub from: Beats,
    pub to: Beats,
    pub bars: (i32, i32),
}

impl Context<'_> {
    fn seconds(&self, at: Beats) -> f64 {
        self.clock.seconds(at).0
    }

    /// When a written note is heard.
    fn onset(&self, note: &Written) -> f64 {
        let own = |d: &&Draft<'_>| d.written.is_some_and(|w| std::ptr::eq(w, note));
        let key = |d: &&Draft<'_>| note.pitch().is_none_or(|p| p.key == i16::from(d.gesture.key));
        let mut mine = self.drafts.iter().filter(own);
        let main = self.drafts.iter().filter(own).find(key);
        main.or_else(|| mine.next()).map_or_else(|| self.seconds(note.at), |d| d.gesture.onset.0)
    }
}

/// Fills in everything but the notes.
pub(super) fn fill(opened: &mut Opened, c: &Context<'_>, staff_of: &dyn Fn(&Draft<'_>) -> usize) {
    opened.slurs = slurs(c, staff_of);
    opened.marks = marks(c);
    directions(opened, c);
    opened.breaths = breaths(c);
    opened.lyrics = lyrics(c);
    opened.calls = calls(c);
    opened.findings = findings(opened, c);
}

/// Slurs as written, voice by voice.
fn slurs(c: &Context<'_>, staff_of: &dyn Fn(&Draft<'_>) -> usize) -> Vec<Slur> {
    let mut voices: BTreeMap<u16, Vec<&Written>> = BTreeMap::new();
    for note in c.written {
        let voice = voices.entry(note.voice).or_default();
        // Of a chord the highest note leads.
        match voice.last_mut() {
            Some(last) if last.at == note.at => {
                if note.pitch() > last.pitch() {
                    *last = note;
                }
            }
            _ => voice.push(note),
        }
    }
    let top = voices.keys().next().copied();
    let mut out = Vec::new();
    for (voice, notes) in &voices {
        let staff = |note: &Written| {
            let own = |d: &&Draft<'_>| d.written.is_some_and(|w| std::ptr::eq(w, note));
            c.drafts.iter().find(own).map_or(0, staff_of)
        };
        let mut begun: Option<(f64, bool, usize)> = None;
        for (i, note) in notes.iter().enumerate() {
            let onset = c.onset(note);
            if note.slurred && begun.is_none() && i == 0 {
                begun = Some((onset, true, staff(note)));
            }
            if note.slurs_on && begun.is_none() {
                begun = Some((onset, false, staff(note)));
            }
            let last = i + 1 == notes.len();
            if let Some((from, from_before, staff)) = begun
                && (!note.slurs_on || last)
            {
                let goes_on = note.slurs_on;
                if onset > from || goes_on || from_before {
                    let below = Some(*voice) != top && voices.len() > 1;
                    out.push(Slur { from, to: onset, staff, below, from_before, goes_on });
                }
                begun = None;
            }
        }
    }
    out
}

/// The trade's words for the signs at a note; those that other words say already are left out.
const SIGNS: &[(Mark, &str)] = &[
    (Mark::Staccato, "stacc."),
    (Mark::Staccatissimo, "staccatissimo"),
    (Mark::Spiccato, "spiccato"),
    (Mark::Tenuto, "ten."),
    (Mark::Portato, "portato"),
    (Mark::Accent, "accent"),
    (Mark::Marcato, "marcato"),
    (Mark::SoftAccent, "soft accent"),
    (Mark::Stress, "stress"),
    (Mark::Unstress, "unstressed"),
    (Mark::UpBow, "up-bow"),
    (Mark::DownBow, "down-bow"),
    (Mark::OpenString, "open string"),
    (Mark::Harmonic, "harm."),
    (Mark::Thumb, "thumb"),
    (Mark::SnapPizz, "snap pizz."),
    (Mark::Stopped, "stopped"),
    (Mark::Open, "open"),
    (Mark::DoubleTongue, "double tongue"),
    (Mark::TripleTongue, "triple tongue"),
    (Mark::Scoop, "scoop"),
    (Mark::Plop, "plop"),
    (Mark::Doit, "doit"),
    (Mark::Falloff, "fall"),
    (Mark::Fermata, "fermata"),
    (Mark::Damp, "damp"),
    (Mark::LetRing, "l.v."),
];

/// Articulations and ornaments in words; what holds for several notes in a row is said once.
fn marks(c: &Context<'_>) -> Vec<Words> {
    let mut places: BTreeMap<Beats, (f64, Vec<String>)> = BTreeMap::new();
    for note in c.written {
        let entry = places.entry(note.at).or_insert_with(|| (c.onset(note), Vec::new()));
        let mut say = |word: String| {
            if !entry.1.contains(&word) {
                entry.1.push(word);
            }
        };
        for (mark, word) in SIGNS {
            if note.marks.has(*mark) {
                say((*word).to_string());
            }
        }
        if let Some(name) = &note.named {
            say(name.clone());
        }
        if note.tremolo.is_some() {
            say("trem.".into());
        }
        if let Some(ornament) = note.ornament {
            say(ornament_word(ornament.kind).into());
        }
        match note.arpeggio {
            Some(Arpeggio::Up) => say("arpeggio".into()),
            Some(Arpeggio::Down) => say("arpeggio down".into()),
            Some(Arpeggio::Together) => say("not broken".into()),
            None => {}
        }
        match note.glide {
            Some(Glide::Glissando) => say("gliss.".into()),
            Some(Glide::Slide) => say("slide".into()),
            None => {}
        }
    }
    let places: Vec<(f64, Vec<String>)> = places.into_values().collect();
    let mut out: Vec<Words> = Vec::new();
    for (i, (at, words)) in places.iter().enumerate() {
        for word in words {
            let before = i.checked_sub(1).is_some_and(|k| places[k].1.contains(word));
            if before {
                continue;
            }
            let run = places[i..].iter().take_while(|p| p.1.contains(word)).last();
            let to = run.map(|p| p.0).filter(|to| to > at);
            out.push(Words { at: *at, to, text: word.clone() });
        }
    }
    out
}

fn ornament_word(kind: OrnamentKind) -> &'static str {
    match kind {
        OrnamentKind::Trill => "trill",
        OrnamentKind::Turn => "turn",
        OrnamentKind::DelayedTurn => "turn after",
        OrnamentKind::InvertedTurn => "inverted turn",
        OrnamentKind::DelayedInvertedTurn => "inverted turn after",
        OrnamentKind::UpperMordent => "upper mordent",
        OrnamentKind::Mordent => "mordent",
        OrnamentKind::Shake => "shake",
        OrnamentKind::Schleifer => "schleifer",
        OrnamentKind::Haydn => "Haydn turn",
        OrnamentKind::Cut => "cut",
        OrnamentKind::Strike => "strike",
        OrnamentKind::ShortRoll => "short roll",
        OrnamentKind::LongRoll => "long roll",
        OrnamentKind::Cran => "cran",
        OrnamentKind::Slide => "slide",
    }
}

/// What is said of one gesture alone.
pub(super) fn of_gesture(gesture: &Gesture, note: Option<&Written>, strokes: &[Stroke]) -> Option<String> {
    if strokes.len() < 2 {
        return note.and_then(|n| n.ornament).map(|o| ornament_word(o.kind).to_string());
    }
    let other = strokes.iter().find(|s| s.place != strokes[0].place).map(|s| s.place);
    let other = match other {
        Some(Placed::Pitch(spelling)) => Some(pitch_name(spelling)),
        _ => None,
    };
    let count = strokes.len();
    Some(match (gesture.articulation.as_str(), other) {
        (named::TRILL_1 | named::TRILL_2, Some(other)) => format!("trill with {other}, {count} notes"),
        (named::GLISSANDO, _) => format!("glissando of {count} notes"),
        (name, Some(other)) => format!("{name} with {other}, {count} strokes"),
        (name, None) => format!("{name}, {count} strokes"),
    })
}

/// Words, dynamics and hairpins of the part.
fn directions(opened: &mut Opened, c: &Context<'_>) {
    let here = |d: &&Direction| d.at >= c.from && d.at < c.to;
    let end = c.seconds(c.to);
    let mut seen: Vec<(Beats, String)> = Vec::new();
    for direction in c.part.content.directions.iter().filter(here) {
        let at = c.seconds(direction.at);
        let mut words = |list: &mut Vec<Words>, text: String, to: Option<f64>| {
            let once = (direction.at, text.clone());
            if !text.trim().is_empty() && !seen.contains(&once) {
                seen.push(once);
                list.push(Words { at, to, text });
            }
        };
        match &direction.kind {
            DirectionKind::Dynamic(dynamic) => words(&mut opened.dynamics, dynamic.word().into(), None),
            DirectionKind::Hairpin { louder, to, niente } => {
                let to = c.seconds(*to).min(end);
                let level = |t: f64| c.played.level.at(Seconds(t));
                let span = (level(to - 0.02) - level(at + 0.02)).abs();
                opened.hairpins.push(Hairpin { from: at, to, louder: *louder, span, niente: *niente });
            }
            DirectionKind::Playing(playing) => {
                words(&mut opened.marks, CellMark::Playing(playing.clone()).to_string(), None);
            }
            DirectionKind::Pedal { to } => {
                words(&mut opened.marks, "ped.".into(), Some(c.seconds(*to).min(end)));
            }
            DirectionKind::Words(text) => words(&mut opened.marks, text.trim().to_string(), None),
        }
    }
    opened.marks.sort_by(|a, b| a.at.total_cmp(&b.at));
}

/// Where a player or singer takes breath: a written comma, or a gap that the performance makes where none is written.
fn breaths(c: &Context<'_>) -> Vec<f64> {
    /// The performance shortens a note by so much for a breath, or more, seconds.
    const GAP: f64 = 0.2;
    if c.facts.breath.is_none() {
        return Vec::new();
    }
    let long = [named::SUSTAIN, named::LEGATO, named::DETACHE, named::ACCENT];
    let mut out: Vec<f64> = Vec::new();
    for (i, draft) in c.drafts.iter().enumerate() {
        let Some(note) = draft.written else { continue };
        let marked = note.marks.has(Mark::BreathAfter) || note.marks.has(Mark::CaesuraAfter);
        let next = c.drafts[i + 1..]
            .iter()
            .find(|d| d.gesture.voice == draft.gesture.voice && d.gesture.place != draft.gesture.place);
        let gap = next.map_or(f64::INFINITY, |n| n.gesture.onset.0 - draft.gesture.end.0);
        let joins = next.and_then(|n| n.written).is_some_and(|n| n.at <= note.end());
        let made = joins && gap >= GAP && long.contains(&draft.gesture.articulation.as_str());
        if marked || made {
            let at = draft.gesture.end.0 + if gap.is_finite() { 0.35 * gap.max(0.0) } else { 0.1 };
            if out.iter().all(|b| (b - at).abs() > 0.1) {
                out.push(at);
            }
        }
    }
    out
}

/// What is sung, with hyphens inside words, and lines over notes without a syllable of their own.
fn lyrics(c: &Context<'_>) -> Vec<Words> {
    let mut out: Vec<Words> = Vec::new();
    for draft in c.drafts {
        let gesture = draft.gesture;
        match &gesture.sung {
            Some(sung) => {
                let goes_on = matches!(sung.syllable.place, SyllablePlace::Begin | SyllablePlace::Middle);
                let text = format!("{}{}", sung.syllable.text, if goes_on { "-" } else { "" });
                let at = gesture.onset.0;
                if out.last().is_none_or(|l| (l.at - at).abs() > 0.03 || l.text != text) {
                    out.push(Words { at, to: None, text });
                }
            }
            None => {
                if let Some(last) = out.last_mut()
                    && gesture.voice == 1
                {
                    last.to = Some(gesture.onset.0);
                }
            }
        }
    }
    out
}

/// What the chair's patches are told, where it changes.
fn calls(c: &Context<'_>) -> Vec<Words> {
    let cards = c.sources.cue.cards.get(&c.chair.id).map_or(&[][..], Vec::as_slice);
    let track = c.chair.track.as_deref().unwrap_or(&c.chair.id);
    let mut state: BTreeMap<&str, (&str, Option<ripieno_music::Colour>, bool)> = BTreeMap::new();
    let mut mine: Vec<&Intent> = c
        .sources
        .intents
        .iter()
        .filter(|i| i.chair == c.chair.id && i.place.bar >= c.bars.0 && i.place.bar <= c.bars.1)
        .filter(|i| i.note_on.is_some())
        .collect();
    mine.sort_by(|a, b| a.onset.0.total_cmp(&b.onset.0));
    let mut out = Vec::new();
    for intent in mine {
        let instead = intent.used != intent.articulation;
        let now = (intent.used.as_str(), intent.used_colour, instead);
        if state.insert(&intent.track, now) == Some(now) {
            continue;
        }
        let number = intent.track.strip_prefix(track).and_then(|r| r.strip_prefix('/'));
        let index = number.and_then(|n| n.parse::<usize>().ok()).map_or(0, |n| n.saturating_sub(1));
        let mut text = match cards.get(index) {
            Some(card) => call_words(card, intent),
            None => intent.used.clone(),
        };
        if instead {
            text = format!("{text} for {}", intent.articulation);
        }
        if cards.len() > 1 {
            text = format!("{}: {text}", index + 1);
        }
        out.push(Words { at: intent.onset.0, to: None, text });
    }
    out
}

/// An articulation with its call: `legato (C0)`.
fn call_words(card: &PatchCard, intent: &Intent) -> String {
    let named = card.articulations.iter().find(|a| a.name == intent.used && a.colour == intent.used_colour);
    let mut text = intent.used.clone();
    if let Some(colour) = intent.used_colour {
        text = format!("{text} {}", colour.word());
    }
    let calls: Vec<String> =
        named.map_or(Vec::new(), |a| a.calls.iter().map(|call| one_call(call, card.middle_c)).collect());
    if calls.is_empty() { text } else { format!("{text} ({})", calls.join(", ")) }
}

fn one_call(call: &Call, middle_c: i16) -> String {
    match call.kind {
        CallKind::Key { key, mode, .. } => {
            // `key_name` counts middle C as C4.
            let shown = ripieno_music::key_name(i16::from(key) + 12 * (middle_c - 4));
            match mode {
                KeyMode::Latch => shown,
                KeyMode::Held => format!("{shown} held"),
            }
        }
        CallKind::Controller { number, value } => format!("controller {number} at {value}"),
        CallKind::Program { program, bank: None } => format!("program {program}"),
        CallKind::Program { program, bank: Some((msb, lsb)) } => {
            format!("program {program} of bank {msb}/{lsb}")
        }
        CallKind::Channel { channel } => format!("channel {channel}"),
        CallKind::Velocity { low, high } => format!("velocity {low} to {high}"),
    }
}

/// What was found for this chair in these bars.
fn findings(opened: &Opened, c: &Context<'_>) -> Vec<Flag> {
    let timeline = &c.sources.performance.timeline;
    c.sources
        .findings
        .iter()
        .filter(|f| f.chair == c.chair.id && f.bar <= c.bars.1 && f.to_bar.max(f.bar) >= c.bars.0)
        .map(|f| {
            let start = c.seconds(c.from);
            let at = timeline.at(f.bar, f.beat).map_or(start, |at| c.seconds(at)).max(start);
            let last = f.to_bar.max(f.bar).min(c.bars.1);
            let after = opened.bars.iter().find(|b| b.number > last).map_or(opened.end, |b| b.at);
            // A finding of one bar stands at its note; only what holds for longer has a line.
            let to = if f.to_bar > f.bar { after } else { at };
            let message = f.message.trim().trim_end_matches('.');
            let full = format!("{message}. {}", f.remedy.trim());
            Flag { at, to, severity: f.severity, text: message.to_string(), full }
        })
        .collect()
}

/// The picture's name.
pub(super) fn title(name: &str, passage: &str, plan: &PassagePlan, opened: &Opened) -> String {
    let bars = if plan.from_bar == plan.to_bar {
        format!("bar {}", plan.from_bar)
    } else {
        format!("bars {} to {}", plan.from_bar, plan.to_bar)
    };
    match opened.notes.iter().filter(|n| !n.small).count() {
        0 => format!("{name} in “{passage}”, {bars}: silent"),
        1 => format!("{name} in “{passage}”, {bars}: one note on a staff"),
        n => format!("{name} in “{passage}”, {bars}: {n} notes on a staff"),
    }
}

/// What stands below the picture.
pub(super) fn caption(facts: &Instrument, opened: &Opened) -> String {
    if opened.notes.is_empty() {
        return "Silent here.".into();
    }
    let mut text = String::from("A note's stroke is as long as it sounds and as heavy as it is loud.");
    if facts.unpitched {
        return text;
    }
    let clefs: Vec<String> = opened
        .staves
        .iter()
        .filter_map(|s| match s {
            Staff::Five(clef) => Some(clef.word()),
            Staff::Lines(_) => None,
        })
        .collect();
    text.push_str(&format!(" Shown as it sounds ({})", clefs.join("; ")));
    // Whole octaves are in the clef's figure; what is left is read otherwise.
    let rest = facts.transposition % 12;
    if rest != 0 {
        let interval = INTERVALS[usize::from(rest.unsigned_abs().min(11))];
        let way = if rest < 0 { "higher" } else { "lower" };
        text.push_str(&format!("; the player's part stands {interval} {way}"));
    }
    text.push('.');
    text
}

/// Intervals by their semitones.
const INTERVALS: [&str; 12] = [
    "in unison",
    "a semitone",
    "a whole tone",
    "a minor third",
    "a major third",
    "a fourth",
    "a tritone",
    "a fifth",
    "a minor sixth",
    "a major sixth",
    "a minor seventh",
    "a major seventh",
];
