//! A played track read through the card of its patch: calls become articulations and leave the notes, the delay of the patch
//! is taken out, so that notes stand where they are heard.
//!
//! The inverse of what this crate writes. Which articulation a note has is said by the rule of [`crate::reader`]; whether it
//! was joined to the note before it stands nowhere in a MIDI file and is judged by how the two notes meet.

use crate::{joins, reader, schedule, select};
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
    /// The chair holds its notes: one can be joined to another. What dies away begins anew each time.
    pub holds: bool,
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

/// A sounding note of the track, on its way.
struct Sent {
    note: Note,
    key: u8,
    used: usize,
    on: f64,
    off: f64,
    heard: f64,
    end: f64,
    joined: bool,
}

/// What is known of where notes are heard.
#[derive(Clone, Copy)]
pub struct Ground<'a> {
    /// The players' deviation, in seconds.
    pub spread: f64,
    /// How likely a note is heard at a time in seconds, in nats.
    pub likely: &'a dyn Fn(f64) -> f64,
}

/// Reads the tracks of one chair that were played on one patch (all of the same card).
pub fn read_back(score: &Score, played: &[PlayedTrack<'_>], ground: &Ground<'_>) -> ReadBack {
    let Some(card) = played.first().map(|p| p.card) else { return ReadBack::default() };
    let unpitched = played.iter().any(|p| p.unpitched);
    let holds = played.iter().any(|p| p.holds);
    let clock = score.timeline.clock();
    let mut out = ReadBack::default();
    let (mut sent, mut controls) = (Vec::new(), Vec::new());
    let mut seen = BTreeSet::new();
    for one in played {
        let (notes, curves) = gather(score, one, &clock, &mut out, &mut seen);
        sent.extend(notes);
        controls.extend(curves);
    }
    sent.sort_by(|a: &Sent, b| a.on.total_cmp(&b.on));
    settle(&mut sent, card, holds, ground);
    sent.sort_by(|a, b| a.heard.total_cmp(&b.heard));
    let place = |seconds: f64| Beats::approximate(clock.quarters(Seconds(seconds)));
    let mut notes: Vec<(Note, usize, bool)> = Vec::with_capacity(sent.len());
    for one in sent {
        let at = place(one.heard);
        let length = (place(one.end) - at).max(Beats::new(1, 96));
        let mut note = Note { at, length, played: Some(Played { at, length }), ..one.note };
        let kind = sounding(card, one.key, unpitched, &note.kind);
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
    seen: &mut BTreeSet<(Beats, ControlKind, i16)>,
) -> (Vec<Sent>, Vec<Control>) {
    let card = played.card;
    let call_keys = select::call_keys(card);
    // Releases, controllers, calls, notes: the order within a tick that the rule needs.
    let mut events: Vec<(Beats, u8, MidiEvent, Option<usize>)> = Vec::new();
    let mut all: Vec<(&Note, u8)> = Vec::new();
    let mut controls: Vec<Control> = Vec::new();
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

/// The MIDI key of a note as the file has it. On the percussion channel the reader has named it already: the key that was struck,
/// else, of the keys that are called so, one that the card knows, else the first.
fn raw_key(note: &Note, card: &PatchCard, call_keys: &[u8]) -> Option<u8> {
    match &note.kind {
        NoteKind::Unpitched { .. } if note.struck.is_some() => note.struck,
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
        NoteKind::Unpitched { .. } if unpitched => kind.clone(),
        NoteKind::Pitched(_) if unpitched => NoteKind::Unpitched { stroke: midi::percussion_stroke(key) },
        // On the percussion channel too: a card may call an articulation by it.
        _ => NoteKind::Pitched(Pitch::of_key(i16::from(key) - card.transpose)),
    }
}

/// Heard onsets and ends: which notes were joined decides which delay they had.
fn settle(sent: &mut [Sent], card: &PatchCard, holds: bool, ground: &Ground<'_>) {
    let alone = |a: &ArticulationCard| a.one_voice.unwrap_or(card.one_voice);
    let sounding = |one: &Sent| {
        let articulation = &card.articulations[one.used];
        let velocity = one.note.velocity.unwrap_or(64).max(1);
        let both = &articulation.delays;
        let delays = [&both.first, if holds { &both.joined } else { &both.first }];
        joins::Sounding {
            key: one.key,
            on: one.on,
            off: one.off,
            delays: delays.map(|d| d.at(velocity) / 1000.0),
            one_voice: alone(articulation),
            overlap: articulation.overlap_ms / 1000.0,
            velocity: [0.0; 2],
            bound: articulation.name == named::LEGATO,
            join: joins::by_name(&articulation.name),
        }
    };
    let mut all: Vec<joins::Sounding> = sent.iter().map(sounding).collect();
    if holds {
        by_velocity(&mut all, sent, card);
    }
    let begun = joins::begun(&all, ground.spread, ground.likely);
    for (one, begun) in sent.iter_mut().zip(&begun) {
        // What dies away begins anew each time, and both delays are one.
        one.joined = holds && begun.way != joins::Way::Plain;
        one.heard = begun.heard;
        one.end = begun.end.max(begun.heard + 0.010);
    }
    // A joined note of one voice takes over where the one before it is heard to end.
    let mut in_order: Vec<usize> = (0..sent.len()).collect();
    in_order.sort_by(|a, b| sent[*a].heard.total_cmp(&sent[*b].heard));
    for pair in in_order.windows(2) {
        let [before, next] = [pair[0], pair[1]];
        if sent[next].joined && all[next].one_voice {
            sent[before].end = sent[next].heard.max(sent[before].heard + 0.010);
        }
    }
}

/// At least so many notes of a curve show whether a card's own velocities were sent, and this share of them.
const LEAST_KNOWN: usize = 10;
const KNOWN_SHARE: f64 = 0.3;
/// What it costs, in nats, that a note has one of the card's own velocities, where they are sent; another; and any, where any is
/// sent: one of a few dozen.
const KNOWN: [f64; 3] = [1.1, 7.0, 3.7];

/// Where a delay hangs on the velocity, whoever knows the patch sends the velocities that its card names (this crate does). Where
/// a track was played so, they tell a joined note from another.
fn by_velocity(all: &mut [joins::Sounding], sent: &[Sent], card: &PatchCard) {
    let velocity = |one: &Sent| one.note.velocity.unwrap_or(64).max(1);
    let known: Vec<[Vec<u8>; 2]> = card
        .articulations
        .iter()
        .map(|a| [&a.delays.first, &a.delays.joined].map(|d| schedule::known_velocities(card, a, d)))
        .collect();
    let played_so = known.iter().enumerate().any(|(i, ways)| {
        let own: Vec<u8> = sent.iter().filter(|s| s.used == i).map(velocity).collect();
        own.len() >= LEAST_KNOWN
            && ways.iter().any(|k| {
                own.iter().filter(|v| k.contains(v)).count() as f64 >= KNOWN_SHARE * own.len() as f64
            })
    });
    if !played_so {
        return;
    }
    for (one, sent) in all.iter_mut().zip(sent) {
        one.velocity = [0, 1].map(|way| {
            let known = &known[sent.used][way];
            let v = velocity(sent);
            if known.is_empty() {
                KNOWN[2]
            } else if known.contains(&v) {
                KNOWN[0]
            } else {
                KNOWN[1]
            }
        });
    }
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
