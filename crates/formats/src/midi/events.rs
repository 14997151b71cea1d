//! A MIDI file as its events, nothing paired or interpreted: for what must be compared event by event.

use super::bytes::{Division, Event, parse};
use super::{MidiEvent, MidiTrack};
use crate::FormatError;
use ripieno_music::ControlKind;

/// What one tick of a file is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tick {
    /// So many make a quarter note.
    OfQuarter(u16),
    /// So many seconds, as a fraction (SMPTE division).
    OfSecond(u32, u32),
}

/// A file of any format and division, track by track.
#[derive(Clone, Debug, PartialEq)]
pub struct MidiEvents {
    /// What a tick is.
    pub tick: Tick,
    /// The tracks. A note-on of velocity 0 is a note-off here; ticks never fall.
    pub tracks: Vec<MidiTrack>,
}

/// Reads the events of a MIDI file. Metre, keys and texts other than names are left out: nothing is compared by them.
///
/// Errors: a file in which nothing can be read, with its byte. A damaged track is read up to where it breaks.
pub fn read_events(bytes: &[u8]) -> Result<MidiEvents, FormatError> {
    let raw = parse(bytes)?;
    let tick = match raw.division {
        Division::PerQuarter(n) => Tick::OfQuarter(n.max(1)),
        // 29 frames are 30000/1001.
        Division::PerFrame(29, ticks) => Tick::OfSecond(1001, 30_000 * u32::from(ticks.max(1))),
        Division::PerFrame(frames, ticks) => {
            Tick::OfSecond(1, u32::from(frames.max(1)) * u32::from(ticks.max(1)))
        }
    };
    let tracks = raw
        .tracks
        .iter()
        .map(|track| {
            let mut out = MidiTrack::default();
            for (tick, event) in &track.events {
                if let Event::Name(name) = event
                    && out.name.is_empty()
                {
                    out.name = raw.charset.text(name);
                }
                out.events.extend(plain(event).map(|e| (*tick, e)));
            }
            out
        })
        .collect();
    Ok(MidiEvents { tick, tracks })
}

fn plain(event: &Event<'_>) -> Option<MidiEvent> {
    let byte = |value: i16| u8::try_from(value.clamp(0, 127)).unwrap_or(0);
    Some(match *event {
        Event::On { channel, key, velocity } => MidiEvent::NoteOn { channel, key, velocity },
        Event::Off { channel, key } => MidiEvent::NoteOff { channel, key, velocity: 64 },
        Event::Control { channel, kind, value } => match kind {
            ControlKind::Controller(number) => MidiEvent::Controller { channel, number, value: byte(value) },
            ControlKind::Program => MidiEvent::Program { channel, program: byte(value) },
            ControlKind::Pressure => MidiEvent::Pressure { channel, value: byte(value) },
            ControlKind::Bend => MidiEvent::Bend { channel, value },
        },
        Event::KeyPressure { channel, key, value } => MidiEvent::KeyPressure { channel, key, value },
        Event::Exclusive(bytes, false) => MidiEvent::Exclusive(bytes.to_vec()),
        Event::Tempo(micros) if micros > 0 => MidiEvent::Tempo(micros),
        _ => return None,
    })
}
