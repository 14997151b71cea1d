//! A cell, opened: what that chair will play in that passage, as it stands on its own staff.

use super::LineRoles;
use super::cell_words::{self, Context};
use crate::stages::for_patches;
use crate::{Checked, Cue, Intent, PerformOptions, Performed, Played};
use ripieno_instruments::{Clef as Reads, Family, Instrument};
use ripieno_music::{
    ChairPerformance, Colour, Finding, Gesture, Mark, Note as Written, Part, Performance, Pitch, Role,
    Spelling, named, spell,
};
use ripieno_picture::staff::{Bar, Clef, ClefSign, Head, Note, Opened, Placed, Staff, Stroke};
use ripieno_plan::{ChairPlan, PassagePlan};
use std::collections::BTreeMap;

/// Middle C: without a staff in the source, hands part here.
const MIDDLE_C: i16 = 60;

/// A range wider than this, in semitones, that several notes at once may fill, is read on two staves.
const WIDE: i16 = 36;

/// What of a cue is looked at.
#[derive(Clone, Copy, Debug)]
pub struct Sources<'a> {
    /// The cue.
    pub cue: &'a Cue,
    /// Its parts.
    pub parts: &'a [Part],
    /// How they are played.
    pub performance: &'a Performance,
    /// What the patches are told.
    pub intents: &'a [Intent],
    /// What was found; of any chair.
    pub findings: &'a [Finding],
}

/// One chair in one passage of a performed cue, with what its patch is told and, if it was read through, what was found.
/// `None` if there is no such chair or passage. A silent chair has no notes.
pub fn opened(
    cue: &Cue,
    performed: &Performed,
    checked: Option<&Checked>,
    chair: &str,
    passage: &str,
) -> Option<Opened> {
    let sources = Sources {
        cue,
        parts: &performed.parts,
        performance: &performed.performance,
        intents: &performed.patches.intents,
        findings: checked.map_or(&performed.findings, |c| &c.findings),
    };
    let roles = LineRoles::of(&cue.score);
    open(&sources, &roles, chair, passage)
}

/// The same on the page, where a cue is performed chair by chair: the chair's patches are told here.
pub fn opened_from(
    played: &Played,
    roles: &LineRoles,
    checked: Option<&Checked>,
    chair: &str,
    passage: &str,
) -> Option<Opened> {
    let performance = &played.performance;
    let alone = Performance {
        timeline: performance.timeline.clone(),
        passages: performance.passages.clone(),
        chairs: performance.chairs.iter().filter(|c| c.chair == chair).cloned().collect(),
    };
    let mut patches = for_patches(&played.cue, &alone, PerformOptions::default());
    // The notes as they are sent: marks of other chairs find nothing here.
    crate::pencil::onto(&played.cue, &mut patches);
    let mut findings = checked.map_or_else(Vec::new, |c| c.findings.clone());
    if checked.is_none() {
        findings.extend(played.findings.iter().chain(&patches.findings).cloned());
    }
    let sources = Sources {
        cue: &played.cue,
        parts: &played.parts,
        performance,
        intents: &patches.intents,
        findings: &findings,
    };
    open(&sources, roles, chair, passage)
}

fn open(sources: &Sources<'_>, roles: &LineRoles, chair: &str, passage: &str) -> Option<Opened> {
    let plan: &PassagePlan = sources.cue.plan.passages.iter().find(|p| p.name == passage)?;
    let who: &ChairPlan = sources.cue.template.chairs.iter().find(|c| c.id == chair)?;
    let facts = ripieno_instruments::by_id(&who.instrument)?;
    let timeline = &sources.performance.timeline;
    let clock = timeline.clock();
    let inside: Vec<_> =
        timeline.bars.iter().filter(|b| b.number >= plan.from_bar && b.number <= plan.to_bar).collect();
    let (first, last) = (inside.first()?, inside.last()?);
    let (from, to) = (first.at, last.at + last.length);
    let key = timeline.key_at(from);
    let (fifths, minor) = key.map_or((0, false), |k| (k.fifths, k.minor));
    let mut signature = fifths;
    let mut metre = None;
    let bars: Vec<Bar> = inside
        .iter()
        .map(|b| {
            let now = timeline.key_at(b.at).map_or(0, |k| k.fifths);
            let bar = Bar {
                at: clock.seconds(b.at).0,
                number: b.number,
                metre: (metre != Some(b.metre)).then_some((b.metre.beats, b.metre.unit)),
                fifths: (now != signature).then_some(now),
            };
            (signature, metre) = (now, Some(b.metre));
            bar
        })
        .collect();
    let part = sources.parts.iter().find(|p| p.chair == chair);
    let played = sources.performance.chairs.iter().find(|c| c.chair == chair);
    let written: Vec<&Written> =
        part.map_or(Vec::new(), |p| p.content.notes.iter().filter(|n| n.at >= from && n.at < to).collect());
    let gestures: Vec<&Gesture> = played.map_or(Vec::new(), |p| {
        let here = |g: &&Gesture| g.place.bar >= plan.from_bar && g.place.bar <= plan.to_bar;
        p.gestures.iter().filter(here).collect()
    });
    let table = Table::new(sources, &written);
    let mut opened = Opened { fifths, bars, end: clock.seconds(to).0, ..Opened::default() };
    let mut draft: Vec<Draft<'_>> =
        gestures.iter().map(|g| Draft { gesture: g, written: table.of(g) }).collect();
    draft.sort_by(|a, b| a.gesture.onset.0.total_cmp(&b.gesture.onset.0));

    let spelled = |pitch: Pitch, note: Option<&Written>| {
        spell::sounding(pitch, note.and_then(|n| n.written), fifths, minor)
    };
    let two = two_staves(facts) && !facts.unpitched;
    let from_source = written.iter().any(|n| n.staff > 1);
    let staff_of = |d: &Draft<'_>| match (two, d.written) {
        (false, _) => 0,
        (true, Some(note)) if from_source => usize::from(note.staff > 1),
        (true, _) => usize::from(i16::from(d.gesture.key) < MIDDLE_C),
    };
    let pitch_of = |d: &Draft<'_>| {
        let own = d.written.filter(|n| n.pitch().is_some_and(|p| p.key == i16::from(d.gesture.key)));
        let pitch = own.and_then(Written::pitch).unwrap_or(Pitch::of_key(i16::from(d.gesture.key)));
        spelled(pitch, own)
    };
    opened.staves = if facts.unpitched {
        vec![Staff::Lines(strokes_of(&draft, facts))]
    } else {
        let clefs: Vec<Clef> = facts.concert.iter().filter_map(clef).collect();
        let notes = |staff: usize| {
            let mine: Vec<Spelling> = draft.iter().filter(|d| staff_of(d) == staff).map(&pitch_of).collect();
            mine
        };
        let chosen =
            |order: &[Clef], staff: usize| Staff::Five(Clef::that_suits(order, notes(staff).iter().copied()));
        if two {
            let lower: Vec<Clef> = clefs.iter().rev().copied().collect();
            vec![chosen(&clefs, 0), chosen(&lower, 1)]
        } else {
            vec![chosen(&clefs, 0)]
        }
    };
    if let (Some(played), Some(part)) = (played, part) {
        let lines = match opened.staves.first() {
            Some(Staff::Lines(names)) => names.clone(),
            _ => Vec::new(),
        };
        for (i, d) in draft.iter().enumerate() {
            let place = match &d.gesture.stroke {
                Some(stroke) if facts.unpitched => {
                    let name = stroke_name(stroke);
                    Placed::Line(lines.iter().position(|l| *l == name).unwrap_or(0))
                }
                _ => Placed::Pitch(pitch_of(d)),
            };
            let bar = opened.bars.iter().position(|b| b.number == d.gesture.place.bar).unwrap_or(0);
            let small = is_small(&draft, i);
            opened.notes.push(note(d, played, facts, bar, staff_of(d), place, small, &spelled));
        }
        let context = Context {
            sources,
            chair: who,
            facts,
            part,
            played,
            written: &written,
            drafts: &draft,
            clock: &clock,
            from,
            to,
            bars: (plan.from_bar, plan.to_bar),
        };
        cell_words::fill(&mut opened, &context, &staff_of);
    }
    let name = who.name.clone().unwrap_or_else(|| facts.name().to_string());
    let cell = part.and_then(|p| p.cells.iter().find(|c| c.passage == passage));
    opened.role = match cell.and_then(|c| c.line.as_ref()) {
        Some(line) if !opened.notes.is_empty() => {
            roles.role(&sources.cue.plan, line, plan.from_bar, plan.to_bar)
        }
        _ => Role::Silence,
    };
    opened.title = cell_words::title(&name, passage, plan, &opened);
    opened.caption = cell_words::caption(facts, &opened);
    Some(opened)
}

/// A gesture with the note that it plays, where one is written.
pub(super) struct Draft<'a> {
    pub gesture: &'a Gesture,
    pub written: Option<&'a Written>,
}

/// Written notes by their place.
struct Table<'a> {
    by_place: BTreeMap<(i32, i64), Vec<&'a Written>>,
}

impl<'a> Table<'a> {
    fn new(sources: &Sources<'_>, written: &[&'a Written]) -> Self {
        let mut by_place: BTreeMap<(i32, i64), Vec<&'a Written>> = BTreeMap::new();
        for note in written {
            let place = sources.performance.timeline.place(note.at);
            by_place.entry((place.bar, fine(place.beat))).or_default().push(note);
        }
        Self { by_place }
    }

    /// The note that a gesture plays: at its place, of its key if there is one, else of its voice (then it is an ornament's).
    fn of(&self, gesture: &Gesture) -> Option<&'a Written> {
        let here = self.by_place.get(&(gesture.place.bar, fine(gesture.place.beat)))?;
        let key = |n: &&&Written| n.pitch().is_none_or(|p| p.key == i16::from(gesture.key));
        let voice = |n: &&&Written| n.voice == gesture.voice;
        let found = here.iter().filter(key).find(voice).or_else(|| here.iter().find(key));
        found.or_else(|| here.iter().find(voice)).or_else(|| here.first()).copied()
    }
}

fn fine(beat: f64) -> i64 {
    (beat * 1e5).round() as i64
}

/// A note of an ornament or a grace note: beside a longer one of its place and voice, not together with it.
fn is_small(draft: &[Draft<'_>], i: usize) -> bool {
    /// Longer notes are read as notes of their own, seconds.
    const LONGEST: f64 = 0.13;
    let own = draft[i].gesture;
    let long = |g: &Gesture| (g.end - g.onset).0;
    long(own) <= LONGEST
        && draft.iter().skip(i.saturating_sub(16)).take(32).any(|other| {
            let other = other.gesture;
            (other.place, other.voice) == (own.place, own.voice)
                && (other.onset.0 - own.onset.0).abs() > 0.02
                && long(other) > 1.3 * long(own)
        })
}

/// Instruments that are read on two staves.
fn two_staves(facts: &Instrument) -> bool {
    let both = facts.clefs.contains(&Reads::Treble) && facts.clefs.contains(&Reads::Bass);
    let span = facts.hard.map_or(0, |h| i16::from(h.high) - i16::from(h.low));
    let keys = matches!(facts.family, Family::Keyboard);
    both && facts.polyphony.notes > 1 && (keys || span > WIDE)
        || both && facts.is_section() && facts.family != Family::Strings && span > 24
}

fn clef((sign, octaves): &(Reads, i8)) -> Option<Clef> {
    let (sign, more) = match sign {
        Reads::Treble => (ClefSign::Treble, 0),
        Reads::TrebleOctaveLower => (ClefSign::Treble, -1),
        Reads::Alto => (ClefSign::Alto, 0),
        Reads::Tenor => (ClefSign::Tenor, 0),
        Reads::Bass => (ClefSign::Bass, 0),
        Reads::Percussion => return None,
    };
    Some(Clef { sign, octaves: octaves + more })
}

/// Name of what is struck.
fn stroke_name(stroke: &str) -> String {
    let facts = ripieno_instruments::by_id(stroke);
    facts.map_or_else(|| stroke.replace('-', " "), |i| i.name().to_string())
}

/// What is struck, in score order; the instrument itself if nothing is.
fn strokes_of(draft: &[Draft<'_>], facts: &Instrument) -> Vec<String> {
    let mut found: Vec<&str> = draft.iter().filter_map(|d| d.gesture.stroke.as_deref()).collect();
    found.sort_by_key(|s| (ripieno_instruments::by_id(s).map_or(u16::MAX, |i| i.order), *s));
    found.dedup();
    if found.is_empty() {
        return vec![facts.name().to_string()];
    }
    let mut names: Vec<String> = found.into_iter().map(stroke_name).collect();
    names.dedup();
    names
}

#[allow(clippy::too_many_arguments)]
fn note(
    draft: &Draft<'_>,
    played: &ChairPerformance,
    facts: &Instrument,
    bar: usize,
    staff: usize,
    place: Placed,
    small: bool,
    spelled: &dyn Fn(Pitch, Option<&Written>) -> Spelling,
) -> Note {
    let g = draft.gesture;
    let plucked = matches!(g.articulation.as_str(), named::PIZZICATO | named::SNAP_PIZZICATO);
    let fades = (facts.decays || plucked) && g.realisation.is_none();
    let mut levels = vec![(g.onset.0, if fades { g.attack.0 } else { played.level.at(g.onset) })];
    if !fades {
        let within = |p: &&(f64, f64)| p.0 > g.onset.0 && p.0 < g.end.0;
        levels.extend(played.level.points.iter().filter(within));
        levels.push((g.end.0, played.level.at(g.end)));
    }
    let main = match place {
        Placed::Pitch(spelling) => Some(spelling),
        Placed::Line(_) => None,
    };
    // Neighbours of a trill by their written names, the rest by the key.
    let neighbour = draft.written.and_then(|n| n.ornament).map(|o| [o.above, o.below]);
    let stands = |key: u8| match main {
        _ if key == g.key => place,
        None => place,
        Some(_) => {
            let pitch = Pitch::of_key(i16::from(key));
            let by_key = spelled(pitch, None);
            let letter = |s: Spelling| i32::from(s.octave) * 7 + i32::from(s.step);
            // A trill is to the next letter, whatever the key says.
            let is_neighbour = neighbour.is_some_and(|n| n.iter().flatten().any(|p| p.key == pitch.key));
            match main.filter(|m| is_neighbour && letter(*m) == letter(by_key)) {
                Some(main) => Placed::Pitch(next_letter(main, pitch, key > g.key)),
                None => Placed::Pitch(by_key),
            }
        }
    };
    let strokes: Vec<Stroke> = g.realisation.as_ref().map_or(Vec::new(), |r| {
        r.strokes.iter().map(|s| Stroke { at: s.onset.0, place: stands(s.key) }).collect()
    });
    let head = match (g.colour, draft.written) {
        (Some(Colour::Harmonics), _) => Head::Lozenge,
        (_, Some(n)) if n.marks.has(Mark::Damp) => Head::Cross,
        _ => Head::Oval,
    };
    let last_bend = g.bend.last().map(|b| b.1).filter(|c| c.abs() >= 50.0 && !small);
    let slides_to = last_bend.map(|cents| {
        let key = i16::from(g.key) + (cents / 100.0).round() as i16;
        spelled(Pitch::of_key(key), None)
    });
    let said = cell_words::of_gesture(g, draft.written, &strokes);
    Note {
        onset: g.onset.0,
        end: g.end.0,
        bar,
        beat: g.place.beat,
        staff,
        place,
        head,
        small,
        fades,
        levels,
        strokes,
        slides_to: slides_to.filter(|_| g.realisation.as_ref().is_none_or(|r| r.strokes.len() < 3)),
        said,
    }
}

/// The next letter up or down, at a pitch.
fn next_letter(from: Spelling, pitch: Pitch, up: bool) -> Spelling {
    let letter = i32::from(from.octave) * 7 + i32::from(from.step) + if up { 1 } else { -1 };
    let plain = Spelling { step: letter.rem_euclid(7) as u8, alter: 0, octave: letter.div_euclid(7) as i8 };
    Spelling { alter: 100 * (pitch.key - plain.pitch().key), ..plain }
}
