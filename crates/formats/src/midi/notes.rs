//! Note-ons and note-offs made into notes.

use super::bytes::{Event, RawTrack};
use ripieno_music::ControlKind;
use std::collections::BTreeMap;

/// A note in ticks; `off` is after `on`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Struck {
    pub channel: u8,
    pub key: u8,
    pub velocity: u8,
    pub on: u64,
    pub off: u64,
}

/// What had to be settled by a rule, each with its tick.
#[derive(Default)]
pub(super) struct Settled {
    pub struck_again: Vec<u64>,
    pub one_off_for_two: Vec<u64>,
    pub hanging: Vec<u64>,
    pub without_length: Vec<u64>,
    pub stray_off: Vec<u64>,
}

/// What is known of one key of one channel.
#[derive(Default)]
struct Key {
    /// Notes that sound, all begun at one tick.
    sounding: Vec<usize>,
    /// Where the last note that began with those was ended.
    twin_off: Option<u64>,
    /// Notes ended by a new note-on at this tick, whose own note-off may still follow at the same tick.
    cut: (u64, usize),
}

/// The notes of one track in order of their note-ons.
pub(super) fn pair(track: &RawTrack<'_>) -> (Vec<Struck>, Settled) {
    let count = track.events.iter().filter(|(_, e)| matches!(e, Event::On { .. })).count();
    let mut notes: Vec<Struck> = Vec::with_capacity(count);
    let mut settled = Settled::default();
    let mut keys: BTreeMap<(u8, u8), Key> = BTreeMap::new();
    let mut all_off: BTreeMap<u8, Vec<u64>> = BTreeMap::new();
    for (tick, event) in &track.events {
        let tick = *tick;
        match *event {
            Event::On { channel, key, velocity } => {
                let state = keys.entry((channel, key)).or_default();
                if state.sounding.last().is_some_and(|i| notes[*i].on < tick) {
                    for i in std::mem::take(&mut state.sounding) {
                        let list = match state.twin_off {
                            Some(off) => {
                                notes[i].off = off;
                                &mut settled.one_off_for_two
                            }
                            None => {
                                notes[i].off = tick;
                                state.cut =
                                    if state.cut.0 == tick { (tick, state.cut.1 + 1) } else { (tick, 1) };
                                &mut settled.struck_again
                            }
                        };
                        list.push(tick);
                    }
                }
                if state.sounding.is_empty() {
                    state.twin_off = None;
                }
                state.sounding.push(notes.len());
                notes.push(Struck { channel, key, velocity, on: tick, off: tick });
            }
            Event::Off { channel, key } => {
                let state = keys.entry((channel, key)).or_default();
                if state.cut.0 == tick && state.cut.1 > 0 {
                    state.cut.1 -= 1;
                } else if state.sounding.is_empty() {
                    settled.stray_off.push(tick);
                } else {
                    let note = &mut notes[state.sounding.remove(0)];
                    note.off = tick;
                    if note.on == tick {
                        note.off += 1;
                        settled.without_length.push(tick);
                    }
                    state.twin_off = Some(note.off);
                }
            }
            // All sound off, all notes off.
            Event::Control { channel, kind: ControlKind::Controller(120 | 123), .. } => {
                all_off.entry(channel).or_default().push(tick);
            }
            _ => {}
        }
    }
    for ((channel, _), state) in keys {
        for i in state.sounding {
            let note = &mut notes[i];
            if let Some(off) = state.twin_off {
                note.off = off;
                settled.one_off_for_two.push(note.on);
                continue;
            }
            let silence = all_off.get(&channel).map_or(&[][..], Vec::as_slice);
            let silence = silence.get(silence.partition_point(|t| *t <= note.on));
            note.off = silence.copied().unwrap_or(track.end).max(note.on + 1);
            settled.hanging.push(note.on);
        }
    }
    (notes, settled)
}
