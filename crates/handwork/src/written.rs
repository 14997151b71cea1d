//! What was written: the notes of every track with what each of them is, and everything else.

use crate::{Axis, Control};
use ripieno_formats::midi::MidiEvent;
use ripieno_units::Beats;

/// A note as it is sent, in ticks from bar 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[allow(missing_docs)] // fields are what the MIDI 1.0 specification calls them
pub struct Sounded {
    pub on: i64,
    pub key: u8,
    pub channel: u8,
    pub velocity: u8,
    pub off: i64,
}

/// Which note of the chair's card it is: place, key, and which of those that share both.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct NoteName {
    /// Where it is written.
    pub at: Beats,
    /// The key that was computed.
    pub key: u8,
    /// From 1.
    pub ordinal: u32,
}

/// What a note of a track is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Who {
    /// A note of the music.
    Computed(NoteName),
    /// A note that was added by hand; the mark's id.
    Added(u32),
    /// A key that calls an articulation.
    Call,
}

/// One note.
#[derive(Clone, Debug, PartialEq)]
pub struct WrittenNote {
    /// As it is.
    pub now: Sounded,
    /// As it was computed, before any mark.
    pub computed: Sounded,
    /// What it is.
    pub who: Who,
    /// `false`: taken out by a mark.
    pub sent: bool,
    /// Its articulation as computed: name, and colour after a space.
    pub used: String,
}

/// One track.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WrittenTrack {
    /// The chair.
    pub chair: String,
    /// Which of its cards, from 1.
    pub card: u32,
    /// Name of the track.
    pub name: String,
    /// Its notes.
    pub notes: Vec<WrittenNote>,
    /// Everything else, in order: ticks never fall.
    pub rest: Vec<(i64, MidiEvent)>,
    /// Everything that is no note as it was computed, before any mark.
    pub computed: Vec<(i64, MidiEvent)>,
    /// Keys that are calls.
    pub call_keys: Vec<u8>,
    /// Controls that are calls.
    pub calls: Vec<Control>,
}

/// The whole file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Written {
    /// Ticks before bar 1.
    pub lead: i64,
    /// The tempo map: tick, microseconds a quarter.
    pub tempi: Vec<(i64, u32)>,
    /// Passages and bars.
    pub axis: Axis,
    /// The tracks.
    pub tracks: Vec<WrittenTrack>,
}

impl WrittenTrack {
    /// All events of the track as they stand, in the order in which they are written.
    pub fn events(&self) -> Vec<(i64, MidiEvent)> {
        self.linked().into_iter().map(|(tick, event, _)| (tick, event)).collect()
    }

    /// The same, each note-on with the index of its note.
    pub fn linked(&self) -> Vec<(i64, MidiEvent, Option<usize>)> {
        let mut out: Vec<(i64, u8, MidiEvent, Option<usize>)> =
            Vec::with_capacity(self.rest.len() + 2 * self.notes.len());
        for (tick, event) in &self.rest {
            let order = match Control::of(event) {
                Some((_, control, _)) if self.calls.contains(&control) => 2,
                Some(_) => 1,
                None => 3,
            };
            out.push((*tick, order, event.clone(), None));
        }
        for (i, note) in self.notes.iter().enumerate().filter(|n| n.1.sent) {
            let Sounded { on, key, channel, velocity, off } = note.now;
            let order = if note.who == Who::Call { 2 } else { 4 };
            out.push((on, order, MidiEvent::NoteOn { channel, key, velocity }, Some(i)));
            out.push((off.max(on + 1), 0, MidiEvent::NoteOff { channel, key, velocity: 64 }, None));
        }
        out.sort_by_key(|e| (e.0, e.1));
        out.into_iter().map(|(tick, _, event, note)| (tick, event, note)).collect()
    }
}
