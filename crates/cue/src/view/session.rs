//! The performed MIDI with its times, to be sent to the composer's own sampler while it is watched; and one call to be tried.

use crate::Performed;
use ripieno_formats::midi::{MidiEvent, MidiFile, MidiTrack};
use ripieno_plan::{CallKind, KeyMode, PatchCard};

/// A session that can be sent.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Session {
    /// Seconds of the whole bars before bar 1.
    pub lead_in: f64,
    /// When the last event is sent, seconds from the start of the lead-in.
    pub seconds: f64,
    /// One for each track.
    pub tracks: Vec<SessionTrack>,
}

/// One track.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SessionTrack {
    /// Its chair.
    pub chair: String,
    /// Its name.
    pub name: String,
    /// The port that the template names.
    pub port: Option<String>,
    /// Channels that it uses, 1 to 16.
    pub channels: Vec<u8>,
    /// Seconds from the start of the lead-in, and the message's bytes.
    pub events: Vec<(f64, Vec<u8>)>,
}

/// The performed MIDI with its times: of one chair, or of all.
pub fn session(performed: &Performed, chair: Option<&str>) -> Session {
    let file = &performed.patches.file;
    let clock = Ticks::of(file);
    let chair_of = |name: &str| {
        let track = performed.patches.tracks.iter().find(|t| t.track == name);
        track.map_or_else(|| name.to_string(), |t| t.chair.clone())
    };
    let tracks: Vec<SessionTrack> = file
        .tracks
        .iter()
        .skip(1)
        .map(|track| (chair_of(&track.name), track))
        .filter(|(of, _)| chair.is_none_or(|c| c == of))
        .map(|(of, track)| sent(of, track, &clock))
        .filter(|t| !t.events.is_empty())
        .collect();
    let last = tracks.iter().filter_map(|t| t.events.last()).map(|e| e.0).fold(0.0, f64::max);
    Session { lead_in: performed.patches.lead_in.0, seconds: last, tracks }
}

fn sent(chair: String, track: &MidiTrack, clock: &Ticks) -> SessionTrack {
    let events: Vec<(f64, Vec<u8>)> =
        track.events.iter().filter_map(|(at, event)| Some((clock.seconds(*at), bytes(event)?))).collect();
    let mut channels: Vec<u8> = events.iter().filter_map(|(_, b)| Some(b.first()? % 16 + 1)).collect();
    channels.sort_unstable();
    channels.dedup();
    SessionTrack { chair, name: track.name.clone(), port: track.port.clone(), channels, events }
}

/// A channel voice message as it goes over the wire (MIDI 1.0); none for what only files have.
fn bytes(event: &MidiEvent) -> Option<Vec<u8>> {
    Some(match *event {
        MidiEvent::NoteOn { channel, key, velocity } => {
            vec![0x90 | (channel % 16), key & 127, velocity & 127]
        }
        MidiEvent::NoteOff { channel, key, velocity } => {
            vec![0x80 | (channel % 16), key & 127, velocity & 127]
        }
        MidiEvent::Controller { channel, number, value } => {
            vec![0xb0 | (channel % 16), number & 127, value & 127]
        }
        MidiEvent::Program { channel, program } => vec![0xc0 | (channel % 16), program & 127],
        MidiEvent::Bend { channel, value } => {
            let raw = (i32::from(value) + 8192).clamp(0, 16383) as u16;
            vec![0xe0 | (channel % 16), (raw & 127) as u8, (raw >> 7) as u8]
        }
        _ => return None,
    })
}

/// Ticks to seconds, by the file's own tempo events.
struct Ticks {
    quarter: f64,
    /// Tick, seconds there, seconds a quarter from there on.
    at: Vec<(u64, f64, f64)>,
}

impl Ticks {
    fn of(file: &MidiFile) -> Self {
        let quarter = f64::from(file.ticks_per_quarter.max(1));
        // 120 quarters a minute where nothing is said (Standard MIDI Files 1.0).
        let mut at = vec![(0, 0.0, 0.5)];
        for (tick, event) in file.tracks.first().into_iter().flat_map(|t| &t.events) {
            let (MidiEvent::Tempo(micros), Some((from, seconds, pace))) = (event, at.last().copied()) else {
                continue;
            };
            let here = seconds + tick.saturating_sub(from) as f64 / quarter * pace;
            at.push((*tick, here, f64::from(*micros) * 1e-6));
        }
        Self { quarter, at }
    }

    fn seconds(&self, tick: u64) -> f64 {
        let next = self.at.partition_point(|(t, ..)| *t <= tick);
        let (from, seconds, pace) =
            next.checked_sub(1).and_then(|i| self.at.get(i)).copied().unwrap_or((0, 0.0, 0.5));
        seconds + tick.saturating_sub(from) as f64 / self.quarter * pace
    }
}

/// One call with one note.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Trial {
    /// Milliseconds from now, and the message's bytes.
    pub events: Vec<(f64, Vec<u8>)>,
    /// The key that sounds.
    pub key: u8,
    /// Its name, middle C being C4.
    pub name: String,
}

/// Milliseconds from a call to its note, and the length of the note.
const AHEAD: f64 = 30.0;
const LONG: f64 = 1500.0;

/// Velocity of a note that is tried, where no call asks for another: mf.
const VELOCITY: u8 = 80;

/// What to send to hear an articulation: its calls, a note in the middle of its range, and their ends.
pub fn trial(card: &PatchCard, articulation: usize) -> Option<Trial> {
    let one = card.articulations.get(articulation)?;
    let mut channel = card.channel.clamp(1, 16) - 1;
    let mut velocity = VELOCITY;
    for call in &one.calls {
        match call.kind {
            CallKind::Channel { channel: own } => channel = own.clamp(1, 16) - 1,
            CallKind::Velocity { low, high } => {
                velocity = ((u16::from(low) + u16::from(high)) / 2).clamp(1, 127) as u8
            }
            _ => {}
        }
    }
    let dynamics = one.dynamics.as_ref().unwrap_or(&card.dynamics);
    let mut events: Vec<(f64, Vec<u8>)> = Vec::new();
    let mut ends: Vec<(f64, Vec<u8>)> = Vec::new();
    // A patch whose dynamics stand at 0 would be silent.
    for number in [dynamics.controller, dynamics.expression].into_iter().flatten() {
        events.push((
            0.0,
            vec![0xb0 | channel, number & 127, if Some(number) == dynamics.controller { 80 } else { 110 }],
        ));
    }
    for call in &one.calls {
        match call.kind {
            CallKind::Key { key, mode, velocity } => {
                events.push((10.0, vec![0x90 | channel, key & 127, velocity.clamp(1, 127)]));
                let until = if mode == KeyMode::Held { AHEAD + LONG + 20.0 } else { 20.0 };
                ends.push((until, vec![0x80 | channel, key & 127, 64]));
            }
            CallKind::Controller { number, value } => {
                events.push((10.0, vec![0xb0 | channel, number & 127, value & 127]))
            }
            CallKind::Program { program, bank } => {
                if let Some((msb, lsb)) = bank {
                    events.push((5.0, vec![0xb0 | channel, 0, msb & 127]));
                    events.push((5.0, vec![0xb0 | channel, 32, lsb & 127]));
                }
                events.push((10.0, vec![0xc0 | channel, program & 127]));
            }
            CallKind::Channel { .. } | CallKind::Velocity { .. } => {}
        }
    }
    let calls = card.articulations.iter().flat_map(|a| &a.calls).filter_map(|c| match c.kind {
        CallKind::Key { key, .. } => Some(key),
        _ => None,
    });
    let calls: Vec<u8> = calls.collect();
    let (sounds, key) = match (card.strokes.first(), one.sounding.or(card.sounding)) {
        // What strikes has its own keys, which are sent as they are.
        (Some((_, key)), _) => (*key, *key),
        (None, range) => {
            let (low, high) = range.unwrap_or((48, 84));
            let middle = ((u16::from(low) + u16::from(high)) / 2) as u8;
            let sent = |key: u8| (i16::from(key) + card.transpose).clamp(0, 127) as u8;
            // Where the card gives no range, a call may lie in the middle: the note goes up until it is free.
            let free =
                (middle..=high).chain(low..middle).find(|k| !calls.contains(&sent(*k))).unwrap_or(middle);
            (free, sent(free))
        }
    };
    events.push((AHEAD, vec![0x90 | channel, key & 127, velocity]));
    ends.push((AHEAD + LONG, vec![0x80 | channel, key & 127, 64]));
    events.append(&mut ends);
    events.sort_by(|a, b| a.0.total_cmp(&b.0));
    Some(Trial { events, key, name: ripieno_music::key_name(i16::from(sounds)) })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn card(text: &str) -> PatchCard {
        let (card, faults) = PatchCard::parse("x.toml", text);
        assert!(faults.iter().all(|f| f.warning), "{faults:?}");
        card
    }

    #[test]
    fn a_held_key_is_down_before_the_note_and_until_after_it() {
        let card = card(
            "patch = \"x\"\ninstrument = \"flute\"\nsounding = [\"C4\", \"C6\"]\n[[articulation]]\nname = \"legato\"\ncall = { key = \"C1\", mode = \"held\" }\n[[articulation]]\nname = \"staccato\"\ncall = [{ channel = 3 }, { velocity = [10, 30] }]\n[[articulation]]\nname = \"pizzicato\"\ncall = { program = 5, bank = [1, 2] }\n",
        );
        let at = |t: &Trial, bytes: [u8; 2]| t.events.iter().find(|e| e.1[..2] == bytes).unwrap().0;
        let held = trial(&card, 0).unwrap();
        assert_eq!((held.key, held.name.as_str()), (72, "C5"));
        assert!(at(&held, [0x90, 24]) < at(&held, [0x90, 72]));
        assert!(at(&held, [0x80, 72]) < at(&held, [0x80, 24]));
        // Every note that is begun ends.
        for t in [&held, &trial(&card, 1).unwrap(), &trial(&card, 2).unwrap()] {
            let count = |kind: u8| t.events.iter().filter(|e| e.1[0] & 0xf0 == kind).count();
            assert_eq!(count(0x90), count(0x80));
        }
        let other = trial(&card, 1).unwrap();
        assert!(other.events.contains(&(AHEAD, vec![0x92, 72, 20])));
        let program: Vec<Vec<u8>> = trial(&card, 2).unwrap().events.into_iter().map(|e| e.1).collect();
        let place = |b: &[u8]| program.iter().position(|x| x == b).unwrap();
        assert!(place(&[0xb0, 0, 1]) < place(&[0xc0, 5]) && place(&[0xb0, 32, 2]) < place(&[0xc0, 5]));
        assert!(trial(&card, 3).is_none());
    }

    #[test]
    fn seconds_follow_the_tempo_map() {
        let track = MidiTrack {
            events: vec![(0, MidiEvent::Tempo(1_000_000)), (960, MidiEvent::Tempo(250_000))],
            ..MidiTrack::default()
        };
        let clock = Ticks::of(&MidiFile { ticks_per_quarter: 480, tracks: vec![track] });
        assert_eq!([0, 480, 960, 1440].map(|t| clock.seconds(t)), [0.0, 1.0, 2.0, 2.25]);
        assert_eq!(Ticks::of(&MidiFile { ticks_per_quarter: 480, tracks: vec![] }).seconds(960), 1.0);
        assert_eq!(bytes(&MidiEvent::Bend { channel: 1, value: 0 }), Some(vec![0xe1, 0, 64]));
        assert_eq!(bytes(&MidiEvent::Bend { channel: 0, value: 8191 }), Some(vec![0xe0, 127, 127]));
    }
}
