//! Note-ons and note-offs made into notes.

use super::bytes::{Event, RawTrack};
use ripieno_music::ControlKind;
use std::collections::{BTreeMap, VecDeque};

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
    sounding: VecDeque<usize>,
    /// Where the last note that began with those was ended.
    twin_off: Option<u64>,
    /// Where notes were last ended by a new note-on.
    cut_at: u64,
    /// How many notes were, whose own note-offs may still follow.
    cut: usize,
    /// A note-off without a note. Writers that sort note-offs first put that of a note without length ahead of its note-on:
    /// where the key is struck at the same tick and has no other end, this is its end.
    early: Option<u64>,
}

/// For each event that is a note-off: is the next event of its key a note-off too?
fn offs_before_offs(track: &RawTrack<'_>) -> Vec<bool> {
    let mut next_is_off: BTreeMap<(u8, u8), bool> = BTreeMap::new();
    let mut out = vec![false; track.events.len()];
    for (i, (_, event)) in track.events.iter().enumerate().rev() {
        match *event {
            Event::On { channel, key, .. } => {
                next_is_off.insert((channel, key), false);
            }
            Event::Off { channel, key } => {
                out[i] = next_is_off.insert((channel, key), true).unwrap_or(false);
            }
            _ => {}
        }
    }
    out
}

/// The notes of one track in order of their note-ons.
pub(super) fn pair(track: &RawTrack<'_>) -> (Vec<Struck>, Settled) {
    let count = track.events.iter().filter(|(_, e)| matches!(e, Event::On { .. })).count();
    let mut notes: Vec<Struck> = Vec::with_capacity(count);
    let mut settled = Settled::default();
    let mut keys: BTreeMap<(u8, u8), Key> = BTreeMap::new();
    let mut all_off: BTreeMap<u8, Vec<u64>> = BTreeMap::new();
    let more_offs = offs_before_offs(track);
    for ((tick, event), more) in track.events.iter().zip(more_offs) {
        let tick = *tick;
        match *event {
            Event::On { channel, key, velocity } => {
                let state = keys.entry((channel, key)).or_default();
                if state.sounding.back().is_some_and(|i| notes[*i].on < tick) {
                    for i in std::mem::take(&mut state.sounding) {
                        let list = match (state.twin_off, state.early) {
                            (Some(off), _) => {
                                notes[i].off = off;
                                &mut settled.one_off_for_two
                            }
                            (None, Some(early)) if early == notes[i].on => {
                                notes[i].off += 1;
                                state.early = None;
                                &mut settled.without_length
                            }
                            _ => {
                                notes[i].off = tick;
                                state.cut += 1;
                                state.cut_at = tick;
                                &mut settled.struck_again
                            }
                        };
                        list.push(tick);
                    }
                }
                if state.sounding.is_empty() {
                    state.twin_off = None;
                }
                settled.stray_off.extend(state.early.take_if(|early| *early != tick));
                state.sounding.push_back(notes.len());
                notes.push(Struck { channel, key, velocity, on: tick, off: tick });
            }
            Event::Off { channel, key } => {
                let state = keys.entry((channel, key)).or_default();
                // Where enough note-offs come before the key is struck again, the first are those of the notes cut short.
                if state.cut > 0 && (state.cut_at == tick || more) {
                    state.cut -= 1;
                } else if let Some(i) = state.sounding.pop_front() {
                    let note = &mut notes[i];
                    note.off = tick;
                    if note.on == tick {
                        note.off += 1;
                        settled.without_length.push(tick);
                    }
                    state.twin_off = Some(note.off);
                    state.cut = 0;
                } else {
                    settled.stray_off.extend(state.early.replace(tick));
                }
            }
            // All sound off, all notes off.
            Event::Control { channel, kind: ControlKind::Controller(120 | 123), .. } => {
                all_off.entry(channel).or_default().push(tick);
            }
            _ => {}
        }
    }
    for ((channel, _), mut state) in keys {
        for i in std::mem::take(&mut state.sounding) {
            let note = &mut notes[i];
            if let Some(off) = state.twin_off {
                note.off = off;
                settled.one_off_for_two.push(note.on);
                continue;
            }
            if state.early == Some(note.on) {
                note.off += 1;
                state.early = None;
                settled.without_length.push(note.on);
                continue;
            }
            let silence = all_off.get(&channel).map_or(&[][..], Vec::as_slice);
            let silence = silence.get(silence.partition_point(|t| *t <= note.on));
            note.off = silence.copied().unwrap_or(track.end).max(note.on + 1);
            settled.hanging.push(note.on);
        }
        settled.stray_off.extend(state.early);
    }
    (notes, settled)
}
