//! A played track read through the card of its patch: calls become articulations and leave the notes, the delay of the patch
//! is taken out, so that notes stand where they are heard.
//!
//! The inverse of what this crate writes. Which articulation a note has is said by the rule of [`crate::reader`]; whether it
//! was joined to the note before it stands nowhere in a MIDI file and is judged by how the two notes meet.

use crate::{reader, select};
use ripieno_formats::midi::{self, MidiEvent};
use ripieno_music::{
    Clock, Content, Control, ControlKind, Direction, DirectionKind, Glide, Mark, Note, NoteKind, Ornament,
    OrnamentKind, Pitch, Played, Playing, Score, Tremolo, named,
};
use ripieno_plan::{ArticulationCard, CallKind, PatchCard};
use ripieno_units::{Beats, Seconds};
use std::collections::BTreeSet;

/// One track of a played source and the card of the patch that it was played on.
#[derive(Clone, Debug)]
pub struct PlayedTrack<'a> {
    /// Its indices in [`Score::tracks`]: one for each channel of the MIDI track.
    pub tracks: Vec<usize>,
    /// The card.
    pub card: &'a PatchCard,
    /// Index of the articulation that holds before any call, where the track's name says one.
    pub before: Option<usize>,
    /// The chair has no pitch: keys that the card does not name strike what General MIDI says.
    pub unpitched: bool,
}

/// A track as it is heard.
#[derive(Clone, Debug, Default)]
pub struct ReadBack {
    /// Notes where they are heard, [`Note::played`] the same; articulations at them; colours and pizzicato as directions.
    pub content: Content,
    /// How many notes, controllers and programs were calls, and are gone.
    pub calls: usize,
    /// How many notes no rule gives an articulation; they have the first of the card.
    pub undecided: usize,
    /// How many notes lie outside the keys that sound; they were kept.
    pub outside: usize,
}

/// Evidence against a join, in seconds, where a note of this name is hardly ever joined.
const SELDOM_JOINED: f64 = 0.030;
/// What it costs to take two notes as not joined though nothing else explains how they meet, in seconds: about the
/// spread of a player's own lengths.
const PLAIN_GAP: f64 = 0.035;
/// Weight of the distance from the beat's quarters and thirds in judging a join, and the most that it counts.
const GRID_WEIGHT: f64 = 0.5;
const GRID_MOST: f64 = 0.040;

/// A sounding note of the track, on its way.
struct Sent {
    note: Note,
    key: u8,
    used: usize,
    on: f64,
    off: f64,
    heard: f64,
    end: f64,
    delay: f64,
    joined: bool,
}

/// Reads one track through its card.
pub fn read_back(score: &Score, played: &PlayedTrack<'_>) -> ReadBack {
    let clock = score.timeline.clock();
    let card = played.card;
    let mut out = ReadBack::default();
    let (mut sent, controls) = gather(score, played, &clock, &mut out);
    settle(&mut sent, card, &clock);
    let place = |seconds: f64| Beats::approximate(clock.quarters(Seconds(seconds)));
    let mut notes: Vec<(Note, usize, bool)> = Vec::with_capacity(sent.len());
    for one in sent {
        let at = place(one.heard);
        let length = (place(one.end) - at).max(Beats::new(1, 96));
        let mut note = Note { at, length, played: Some(Played { at, length }), ..one.note };
        let kind = sounding(card, one.key, played.unpitched, &note.kind);
        let range = card.articulations[one.used].sounding.or(card.sounding);
        if let (NoteKind::Pitched(pitch), Some((low, high))) = (&kind, range)
            && !(i16::from(low)..=i16::from(high)).contains(&pitch.key)
        {
            out.outside += 1;
        }
        note.kind = kind;
        notes.push((note, one.used, one.joined));
    }
    out.content = written(notes, card);
    out.content.controls = controls;
    out.content.sort();
    out
}

/// Takes calls out of the notes and the controllers, and gives each note its articulation.
fn gather(
    score: &Score,
    played: &PlayedTrack<'_>,
    clock: &Clock,
    out: &mut ReadBack,
) -> (Vec<Sent>, Vec<Control>) {
    let card = played.card;
    let call_keys = select::call_keys(card);
    // Releases, controllers, calls, notes: the order within a tick that the rule needs.
    let mut events: Vec<(Beats, u8, MidiEvent, Option<usize>)> = Vec::new();
    let mut all: Vec<(&Note, u8)> = Vec::new();
    let mut controls: Vec<Control> = Vec::new();
    let mut seen = BTreeSet::new();
    for track in played.tracks.iter().filter_map(|i| score.tracks.get(*i)) {
        let channel = track.channel.unwrap_or(1).clamp(1, 16) - 1;
        for note in &track.content.notes {
            let Some(key) = raw_key(note, card, &call_keys) else { continue };
            let velocity = note.velocity.unwrap_or(64).max(1);
            let is_call = call_keys.binary_search(&key).is_ok();
            let index = (!is_call).then_some(all.len());
            out.calls += usize::from(is_call);
            events.push((
                note.at,
                if is_call { 2 } else { 3 },
                MidiEvent::NoteOn { channel, key, velocity },
                index,
            ));
            events.push((note.end(), 0, MidiEvent::NoteOff { channel, key, velocity: 64 }, None));
            if !is_call {
                all.push((note, key));
            }
        }
        for control in &track.content.controls {
            let value = u8::try_from(control.value).unwrap_or(0).min(127);
            let event = match control.kind {
                ControlKind::Controller(number) => Some(MidiEvent::Controller { channel, number, value }),
                ControlKind::Program => Some(MidiEvent::Program { channel, program: value }),
                _ => None,
            };
            if let Some(event) = event {
                let call = calls(card, &event);
                events.push((control.at, 1, event, None));
                if call {
                    out.calls += 1;
                    continue;
                }
            }
            // A curve that is sent on several channels is one curve.
            if seen.insert((control.at, control.kind, control.value)) {
                controls.push(*control);
            }
        }
    }
    events.sort_by_key(|e| (e.0, e.1));
    let used = reader::articulations_from(card, events.iter().map(|e| &e.2), played.before);
    let order = events.iter().filter(|e| matches!(e.2, MidiEvent::NoteOn { .. })).filter_map(|e| e.3);
    let mut sent = Vec::with_capacity(all.len());
    for (index, used) in order.zip(used) {
        let (note, key) = all[index];
        out.undecided += usize::from(used.is_none());
        sent.push(Sent {
            note: note.clone(),
            key,
            used: used.unwrap_or(0),
            on: clock.seconds(note.at).0,
            off: clock.seconds(note.end()).0,
            heard: 0.0,
            end: 0.0,
            delay: 0.0,
            joined: false,
        });
    }
    (sent, controls)
}

/// Is it a controller or program that this card calls by?
fn calls(card: &PatchCard, event: &MidiEvent) -> bool {
    card.articulations.iter().flat_map(|a| &a.calls).any(|call| match (call.kind, event) {
        (CallKind::Controller { number, .. }, MidiEvent::Controller { number: n, .. }) => number == *n,
        (CallKind::Program { bank, .. }, MidiEvent::Controller { number: 0 | 32, .. }) => bank.is_some(),
        (CallKind::Program { .. }, MidiEvent::Program { .. }) => true,
        _ => false,
    })
}

/// The MIDI key of a note as the file has it. On the percussion channel the reader has named it already: of the keys that
/// are called so, one that the card knows, else the first.
fn raw_key(note: &Note, card: &PatchCard, call_keys: &[u8]) -> Option<u8> {
    match &note.kind {
        NoteKind::Pitched(pitch) => u8::try_from(pitch.key).ok().filter(|k| *k <= 127),
        NoteKind::Unpitched { stroke } => {
            let keys: Vec<u8> = (0..128).filter(|k| midi::percussion_stroke(*k) == *stroke).collect();
            let known = |k: &&u8| card.strokes.iter().any(|s| s.1 == **k) || call_keys.contains(*k);
            keys.iter().find(known).or(keys.first()).copied()
        }
    }
}

/// What a key sounds.
fn sounding(card: &PatchCard, key: u8, unpitched: bool, kind: &NoteKind) -> NoteKind {
    if let Some((stroke, _)) = card.strokes.iter().find(|(_, k)| *k == key) {
        return NoteKind::Unpitched { stroke: stroke.clone() };
    }
    match kind {
        NoteKind::Unpitched { .. } => kind.clone(),
        NoteKind::Pitched(_) if unpitched => NoteKind::Unpitched { stroke: midi::percussion_stroke(key) },
        NoteKind::Pitched(_) => NoteKind::Pitched(Pitch::of_key(i16::from(key) - card.transpose)),
    }
}

/// Heard onsets and ends: which notes were joined decides which delay they had.
fn settle(sent: &mut [Sent], card: &PatchCard, clock: &Clock) {
    let alone = |a: &ArticulationCard| a.one_voice.unwrap_or(card.one_voice);
    for i in 0..sent.len() {
        let articulation = &card.articulations[sent[i].used];
        let velocity = sent[i].note.velocity.unwrap_or(64).max(1);
        let first = articulation.delays.first.at(velocity) / 1000.0;
        let joined = articulation.delays.joined.at(velocity) / 1000.0;
        let on = sent[i].on;
        let grid = |delay: f64| {
            let quarters = clock.quarters(Seconds(on + delay));
            let off = |n: f64| (quarters * n - (quarters * n).round()).abs() / n;
            let beat = f64::from(score_micros(clock, quarters)) / 1e6;
            GRID_WEIGHT * (off(4.0).min(off(3.0)) * beat).min(GRID_MOST)
        };
        // The nearest note before it that could lead into it.
        let overlap = articulation.overlap_ms / 1000.0;
        let apart = if seldom_joined(&articulation.name) { SELDOM_JOINED } else { 0.0 };
        let one_voice = alone(articulation);
        let mut best = (PLAIN_GAP + grid(first), false);
        for before in sent[..i].iter().rev().take(12).filter(|b| b.on + 0.004 < on) {
            let end = before.off + before.delay;
            let own = (end - (on + first)).abs() + grid(first);
            let into = if one_voice && alone(&card.articulations[before.used]) {
                (before.off - (on + overlap)).abs()
            } else {
                (end - (on + joined)).abs()
            };
            let into = into + apart + grid(joined);
            best = [best, (own, false), (into, true)]
                .into_iter()
                .min_by(|a, b| a.0.total_cmp(&b.0))
                .unwrap_or(best);
            if one_voice {
                break;
            }
        }
        let one = &mut sent[i];
        one.joined = best.1;
        one.delay = if one.joined { joined } else { first };
        one.heard = on + one.delay;
        one.end = (one.off + one.delay).max(one.heard + 0.010);
        // A joined note of one voice takes over where the one before it is heard to end.
        if one.joined && one_voice {
            let heard = one.heard;
            if let Some(before) = sent[..i].iter_mut().rev().find(|b| b.on + 0.004 < on) {
                before.end = heard.max(before.heard + 0.010);
            }
        }
    }
}

fn score_micros(clock: &Clock, quarters: f64) -> u32 {
    let length = clock.seconds_of(quarters + 0.5).0 - clock.seconds_of(quarters - 0.5).0;
    (length * 1e6).clamp(1.0, 1e8) as u32
}

/// Names of notes that begin anew by their nature (common practice, no source).
fn seldom_joined(name: &str) -> bool {
    [
        named::SUSTAIN,
        named::DETACHE,
        named::STACCATO,
        named::SPICCATO,
        named::MARCATO,
        named::ACCENT,
        named::TREMOLO,
        named::PIZZICATO,
        named::SNAP_PIZZICATO,
        named::ROLL,
    ]
    .contains(&name)
}

/// Articulations as signs at the notes, and by their names; colours and pizzicato as directions where they change.
fn written(notes: Vec<(Note, usize, bool)>, card: &PatchCard) -> Content {
    let mut content = Content::default();
    let mut colour = None;
    let mut plucked = false;
    let mut last: Option<usize> = None;
    for (mut note, used, joined) in notes {
        let articulation = &card.articulations[used];
        let word = |playing| Direction {
            at: note.at,
            staff: None,
            voice: None,
            kind: DirectionKind::Playing(playing),
        };
        if articulation.colour != colour {
            content.directions.extend(colour.map(|c| word(left(c))));
            content.directions.extend(articulation.colour.map(|c| word(entered(c))));
            colour = articulation.colour;
        }
        let now = matches!(articulation.name.as_str(), named::PIZZICATO | named::SNAP_PIZZICATO);
        if now != plucked {
            content.directions.push(word(if now { Playing::Pizz } else { Playing::Arco }));
            plucked = now;
        }
        put(&mut note, &articulation.name);
        if joined && let Some(before) = last.and_then(|b: usize| content.notes.get_mut(b)) {
            let before: &mut Note = before;
            before.slurs_on = true;
            note.slurred = true;
        }
        last = Some(content.notes.len());
        content.notes.push(note);
    }
    content
}

/// The word that leaves a colour.
fn left(colour: ripieno_music::Colour) -> Playing {
    use ripieno_music::Colour as C;
    match colour {
        C::ConSord => Playing::SenzaSord,
        C::Stopped => Playing::Open,
        C::NonVib => Playing::Vib,
        C::SulPont | C::SulTasto | C::Harmonics | C::ColLegno | C::Flutter => Playing::Ord,
    }
}

/// The word that enters a colour.
fn entered(colour: ripieno_music::Colour) -> Playing {
    use ripieno_music::Colour as C;
    match colour {
        C::ConSord => Playing::ConSord,
        C::SulPont => Playing::SulPont,
        C::SulTasto => Playing::SulTasto,
        C::Harmonics => Playing::Harmonics,
        C::ColLegno => Playing::ColLegnoBattuto,
        C::Flutter => Playing::Flutter,
        C::Stopped => Playing::Stopped,
        C::NonVib => Playing::NonVib,
    }
}

/// Puts an articulation on a note: as a sign where there is one, and by its name, so that it is played by that name and no
/// other. What is more than one stroke is a sign alone.
pub fn put(note: &mut Note, name: &str) {
    let trill = |note: &Note, up: i16| Ornament {
        kind: OrnamentKind::Trill,
        above: note.pitch().map(|p| p.up(up)),
        below: None,
    };
    note.named = None;
    match name {
        named::TREMOLO | named::ROLL => {
            note.tremolo = Some(Tremolo { strokes: 0, with: None });
            return;
        }
        named::TRILL_1 => {
            note.ornament = Some(trill(note, 1));
            return;
        }
        named::TRILL_2 => {
            note.ornament = Some(trill(note, 2));
            return;
        }
        named::GLISSANDO => {
            note.glide = Some(Glide::Glissando);
            return;
        }
        named::STACCATO => note.marks.add(Mark::Staccato),
        named::STACCATISSIMO => note.marks.add(Mark::Staccatissimo),
        named::SPICCATO => note.marks.add(Mark::Spiccato),
        named::PORTATO => note.marks.add(Mark::Portato),
        named::ACCENT => note.marks.add(Mark::Accent),
        named::MARCATO => note.marks.add(Mark::Marcato),
        named::SNAP_PIZZICATO => note.marks.add(Mark::SnapPizz),
        _ => {}
    }
    note.named = Some(name.to_string());
}
