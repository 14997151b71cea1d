//! From a draft to its gestures: grace notes, the note itself, or what realises it.

use crate::articulate;
use crate::chair::{Draft, Performer, Stage};
use crate::nature::Nature;
use crate::ornament::{self, Small};
use crate::realise::{self, Frame};
use crate::sung;
use ripieno_music::{
    Colour, Curve, Gesture, Glide, Mark, Note, NoteKind, OrnamentKind, Realisation, Stroke, Sung, Syllable,
    named,
};
use ripieno_units::{Beats, Chance, Decibels, Seconds};
use std::collections::BTreeMap;

/// Small deviations of pitch.
pub(crate) struct Tuning {
    chance: Chance,
    chair: f64,
    spread: f64,
    amount: f64,
}

impl Tuning {
    pub(crate) fn new(stage: &Stage<'_>, performer: &Performer<'_>, nature: Nature) -> Self {
        let mut chance = Chance::named(stage.options.seed, &[&performer.part.chair, "tuning"]);
        let amount = if nature.fixed_pitch() { 0.0 } else { stage.options.intonation };
        let chair = chance.normal(2.0).clamp(-5.0, 5.0);
        Self { chance, chair, spread: if performer.players > 1 { 3.0 } else { 2.0 }, amount }
    }

    fn next(&mut self) -> f64 {
        self.amount * (self.chair + self.chance.normal(self.spread).clamp(-9.0, 9.0))
    }
}

/// Turns one draft into its gestures: graces, the note itself or what realises it.
#[allow(clippy::too_many_arguments)]
pub(crate) fn make_gestures(
    stage: &Stage<'_>,
    performer: &Performer<'_>,
    nature: Nature,
    draft: &Draft<'_>,
    next: Option<&Draft<'_>>,
    level: &Curve,
    tuning: &mut Tuning,
    chance: &mut Chance,
    out: &mut Vec<Gesture>,
) {
    let note = draft.note;
    let tempo = stage.timeline.tempo_at(note.at).quarters_per_minute();
    let (key, stroke) = match &note.kind {
        NoteKind::Pitched(pitch) => (midi_key(pitch.key), None),
        NoteKind::Unpitched { stroke } => (stroke_key(stroke, performer), Some(stroke.clone())),
    };
    let microtone = note.pitch().map_or(0.0, |p| f64::from(p.cents));
    let mut colour = draft.state.colour();
    if note.marks.has(Mark::Harmonic) {
        colour = Some(Colour::Harmonics);
    } else if note.marks.has(Mark::Stopped) && nature == Nature::Brass {
        colour = Some(Colour::Stopped);
    } else if note.marks.has(Mark::Open) && colour == Some(Colour::Stopped) {
        colour = None;
    }
    if !nature.sustains() && colour == Some(Colour::NonVib) {
        colour = None;
    }
    let noise = chance.normal(0.5).clamp(-1.5, 1.5);
    let attack_at = |t: f64| level.at(Seconds(t)) + if nature.sustains() { 0.0 } else { draft.accent };
    let mut onset = draft.onset;
    let mut joined = draft.joined;
    let mut articulation = draft.articulation;
    let sung = note.syllable.as_ref().filter(|_| nature == Nature::Sung);
    let base = Gesture {
        onset: Seconds(onset),
        end: Seconds(draft.end.max(onset + 0.02)),
        place: draft.place,
        key,
        cents: microtone + tuning.next(),
        stroke,
        articulation: String::new(),
        colour,
        joined: false,
        joins_on: draft.joins_on,
        attack: Decibels::ZERO,
        realisation: None,
        glide: Seconds::ZERO,
        bend: Vec::new(),
        sung: None,
        voice: draft.voice,
        players: draft.state.players.unwrap_or(performer.players).min(performer.players.max(1)),
    };
    let plain = |s: &Small, articulation: &str, joined: bool, joins_on: bool| Gesture {
        onset: Seconds(s.onset),
        end: Seconds(s.end.max(s.onset + 0.015)),
        key: midi_key(s.key),
        articulation: articulation.to_string(),
        joined,
        joins_on,
        attack: Decibels(attack_at(s.onset) + s.level),
        ..base.clone()
    };

    // Grace notes.
    if !note.graces.is_empty() {
        let before = out.iter().rev().take(32).find(|g| g.voice == draft.voice).map(|g| g.onset.0);
        let free = before.map_or(1.0, |b| onset - b);
        let placed = ornament::graces(&note.graces, onset, draft.end - onset, free, tempo);
        let first = placed.notes.first().map_or(onset, |s| s.onset);
        if let Some(last) =
            out.iter_mut().rev().take(32).find(|g| g.voice == draft.voice && g.onset.0 < first)
        {
            trim(last, first);
            last.joins_on = false;
        }
        let slurred = nature.sustains() && note.graces.iter().all(|g| g.slurred);
        let name = match (nature.sustains(), slurred) {
            (true, true) => named::LEGATO,
            (true, false) => named::DETACHE,
            (false, _) => named::SUSTAIN,
        };
        for (i, small) in placed.notes.iter().enumerate() {
            let mut grace = plain(small, name, slurred && i > 0, slurred);
            grace.cents -= microtone;
            out.push(grace);
        }
        onset = placed.main;
        joined = slurred;
        if slurred && matches!(articulation, named::SUSTAIN | named::DETACHE) {
            articulation = named::LEGATO;
        }
    }
    let end = draft.end.max(onset + 0.02);
    let glide = match (joined, draft.from_key, note.pitch()) {
        (true, Some(from), Some(to)) => nature.glide(to.key.saturating_sub(from)),
        _ => 0.0,
    };
    let mut gesture = Gesture {
        onset: Seconds(onset),
        end: Seconds(end),
        // A name of the plan's own stands for the whole note, unless that is more than one note.
        articulation: note.named.clone().unwrap_or_else(|| articulation.to_string()),
        joined,
        attack: Decibels(attack_at(onset) + noise),
        glide: Seconds(glide),
        sung: sung.map(|s| place_syllable(s, onset, end, draft, next)),
        ..base.clone()
    };
    let frame = Frame { onset, end, key, attack: attack_at(onset) };

    if note.named.is_some() {
        out.push(gesture);
        return;
    }
    // What is more than one note.
    let other = note.tremolo.and_then(|t| t.with).map(|p| midi_key(p.key));
    match articulation {
        named::TREMOLO if !draft.run.is_empty() => {
            let stroke = |(onset, end): &(f64, f64)| Stroke {
                onset: Seconds(*onset),
                end: Seconds(*end),
                key,
                attack: Decibels(attack_at(*onset)),
                joined: false,
            };
            let strokes = draft.run.iter().map(stroke).collect();
            gesture.realisation = Some(Realisation { articulation: articulation.to_string(), strokes });
            out.push(gesture);
            return;
        }
        named::TREMOLO | named::ROLL => {
            let rate = realise::rate(nature, &performer.instrument.id, key);
            let whole = Frame { end: draft.written_end.max(onset + 0.02), ..frame };
            gesture.end = Seconds(whole.end);
            let mut realisation = realise::strokes(whole, other, rate, articulation, chance);
            // Strokes follow the chair's level, whatever their gesture began with.
            for stroke in &mut realisation.strokes {
                stroke.attack += Decibels(level.at(stroke.onset) - level.at(Seconds(onset)));
            }
            gesture.realisation = Some(realisation);
            out.push(gesture);
            return;
        }
        named::SWELL => {
            let i = stage.barlines.partition_point(|b| *b < note.end());
            let peak = stage.barlines.get(i).map_or(end, |b| stage.seconds(*b)).max(onset + 0.05);
            gesture.end = Seconds(peak);
            gesture.attack = Decibels(level.at(Seconds(onset)));
            if nature.is_struck() {
                let rate = realise::rate(nature, &performer.instrument.id, key);
                let frame = Frame { end: peak, attack: 0.0, ..frame };
                let mut realisation = realise::strokes(frame, None, rate, named::SWELL, chance);
                for stroke in &mut realisation.strokes {
                    stroke.attack = Decibels(level.at(stroke.onset) + 0.3 * stroke.attack.0);
                }
                gesture.realisation = Some(realisation);
            }
            out.push(gesture);
            return;
        }
        named::TRILL_1 | named::TRILL_2 => {
            let small = ornament::trill(note, onset, end, tempo, chance);
            gesture.realisation = Some(Realisation {
                articulation: articulation.to_string(),
                strokes: to_strokes(&small, nature, &attack_at),
            });
            out.push(gesture);
            return;
        }
        named::GLISSANDO => {
            let target = next.and_then(|n| n.note.pitch()).map_or(key, |p| midi_key(p.key));
            let whole = Frame { end: draft.written_end.max(onset + 0.02), ..frame };
            gesture.end = Seconds(whole.end);
            let keys = glissando_keys(stage, performer, nature, note);
            gesture.realisation = Some(realise::glissando(whole, target, &keys, articulation, nature));
            if nature.sustains() || note.glide == Some(Glide::Slide) {
                let semitones = f64::from(target) - f64::from(key);
                gesture.bend = realise::slide_bend(whole.end - onset, semitones);
            }
            out.push(gesture);
            return;
        }
        _ => {}
    }
    // Counted tremolo: notes of their own.
    if let Some(tremolo) = note.tremolo
        && tremolo.strokes > 0
        && !(nature.is_struck() && draft.state.rolled == Some(false))
    {
        let unit = note.length.min(Beats::whole(1)).scaled(1, 1 << tremolo.strokes.min(8));
        let count = note.length.ratio(unit).round().clamp(1.0, 4000.0) as i64;
        let written = draft.written_end - onset;
        for i in 0..count {
            let start = onset + written * i as f64 / count as f64;
            let length = written / count as f64;
            let share = articulate::sounding_share(articulation).min(0.92);
            let mut one = gesture.clone();
            (one.onset, one.end) = (Seconds(start), Seconds(start + length * share));
            one.key = other.filter(|_| i % 2 == 1).unwrap_or(key);
            one.place = stage.timeline.place(note.at + unit * i);
            (one.joined, one.joins_on, one.glide) = (false, false, Seconds::ZERO);
            one.attack =
                Decibels(attack_at(start) + if i > 0 && !nature.sustains() { -draft.accent } else { 0.0 });
            if i > 0 {
                one.sung = None;
            }
            out.push(one);
        }
        return;
    }
    // Short ornaments.
    if note.ornament.is_some_and(|o| o.kind == OrnamentKind::Slide) {
        gesture.bend = ornament::slide(end - onset).into_iter().map(|(t, c)| (Seconds(t), c)).collect();
    } else if let Some(small) = ornament::small(note, onset, end) {
        let name = match (nature.sustains(), articulation) {
            (true, named::SUSTAIN | named::DETACHE) => named::LEGATO,
            _ => articulation,
        };
        let count = small.len();
        for (i, s) in small.iter().enumerate() {
            let connected = nature.sustains();
            let mut one = plain(s, name, if i == 0 { joined } else { connected }, i + 1 < count && connected);
            if i + 1 == count {
                one.joins_on = draft.joins_on;
            }
            if i == 0 {
                one.sung = gesture.sung.clone();
            }
            out.push(one);
        }
        return;
    }
    // A turned end without a trill.
    if !note.graces_after.is_empty() {
        let each = 0.055_f64.min(0.3 * (end - onset) / note.graces_after.len() as f64);
        let start = end - each * note.graces_after.len() as f64;
        gesture.end = Seconds(start);
        gesture.joins_on = nature.sustains();
        out.push(gesture);
        for (i, grace) in note.graces_after.iter().enumerate() {
            let small = Small {
                onset: start + each * i as f64,
                end: start + each * (i + 1) as f64,
                key: grace.pitch.key,
                level: -1.0,
            };
            let name = if nature.sustains() { named::LEGATO } else { articulation };
            out.push(plain(
                &small,
                name,
                nature.sustains(),
                nature.sustains() && i + 1 < note.graces_after.len(),
            ));
        }
        return;
    }
    out.push(gesture);
}

fn to_strokes(small: &[Small], nature: Nature, attack_at: &dyn Fn(f64) -> f64) -> Vec<Stroke> {
    small
        .iter()
        .enumerate()
        .map(|(i, s)| Stroke {
            onset: Seconds(s.onset),
            end: Seconds(s.end),
            key: midi_key(s.key),
            attack: Decibels(attack_at(s.onset) + s.level),
            joined: i > 0 && nature.sustains(),
        })
        .collect()
}

fn place_syllable(
    syllable: &Syllable,
    onset: f64,
    end: f64,
    draft: &Draft<'_>,
    next: Option<&Draft<'_>>,
) -> Sung {
    let interval = next.map_or(end - onset, |n| n.onset - draft.onset);
    Sung {
        syllable: syllable.clone(),
        consonant: Seconds(sung::consonant_start(&syllable.text, onset, interval)),
        coda: Seconds(sung::coda_start(&syllable.text, onset, end)),
    }
}

fn midi_key(key: i16) -> u8 {
    key.clamp(0, 127) as u8
}

/// General MIDI percussion key of a stroke, middle C where it has none.
fn stroke_key(stroke: &str, performer: &Performer<'_>) -> u8 {
    let own = || performer.instrument.gm_key;
    ripieno_instruments::by_id(stroke).and_then(|i| i.gm_key).or_else(own).unwrap_or(60)
}

/// The keys that a glissando runs over: the harp's seven letters, else the white keys of keyboards and bars, else all.
fn glissando_keys(stage: &Stage<'_>, performer: &Performer<'_>, nature: Nature, note: &Note) -> Vec<u8> {
    let scale: &[i16] = &[0, 2, 4, 5, 7, 9, 11];
    let fifths = stage.timeline.key_at(note.at).map_or(0, |k| i16::from(k.fifths));
    match nature {
        Nature::Plucked if performer.instrument.id == "harp" => {
            let tonic = (fifths * 7).rem_euclid(12);
            (0..=127u8).filter(|k| scale.contains(&(i16::from(*k) - tonic).rem_euclid(12))).collect()
        }
        Nature::Keyboard | Nature::Struck => {
            (0..=127u8).filter(|k| scale.contains(&(i16::from(*k) % 12))).collect()
        }
        _ => (0..=127u8).collect(),
    }
}

/// Cuts a gesture short, its strokes with it.
fn trim(gesture: &mut Gesture, at: f64) {
    if gesture.end.0 <= at {
        return;
    }
    gesture.end = Seconds(at.max(gesture.onset.0 + 0.010));
    if let Some(realisation) = &mut gesture.realisation {
        realisation.strokes.retain(|s| s.onset.0 < at - 0.005);
        for stroke in &mut realisation.strokes {
            stroke.end = Seconds(stroke.end.0.min(at));
        }
    }
}

/// In order of onset; one pitch sounds once at a time: what is written twice at one onset is one sound, and what is
/// struck again while it sounds is released first.
pub(crate) fn settle(gestures: &mut Vec<Gesture>) {
    gestures.sort_by(|a, b| a.onset.total_cmp(&b.onset).then(a.key.cmp(&b.key)).then(a.voice.cmp(&b.voice)));
    let mut sounding: BTreeMap<(u8, Option<String>), usize> = BTreeMap::new();
    let mut kept: Vec<Gesture> = Vec::with_capacity(gestures.len());
    for gesture in gestures.drain(..) {
        let name = (gesture.key, gesture.stroke.clone());
        if let Some(i) = sounding.get(&name).copied() {
            let last = &mut kept[i];
            if gesture.onset.0 - last.onset.0 < 0.012 {
                if gesture.end.0 > last.end.0 && last.realisation.is_none() {
                    last.end = gesture.end;
                }
                last.joins_on |= gesture.joins_on;
                continue;
            }
            trim(last, gesture.onset.0);
        }
        sounding.insert(name, kept.len());
        kept.push(gesture);
    }
    *gestures = kept;
}
