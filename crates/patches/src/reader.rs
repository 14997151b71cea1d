//! The rule by which a note's articulation is known from the track alone. The note-on decides; it is the first of: the
//! channel call of its channel; the held key that is down; the velocity range that holds its velocity; the last latching call
//! on the track; the articulation without call.

use ripieno_formats::midi::MidiEvent;
use ripieno_plan::{CallKind, KeyMode, PatchCard};

/// Index of the articulation of each note-on that is no call, in order of the events; `None` where the rule finds none.
pub fn articulations<'a>(
    card: &PatchCard,
    events: impl IntoIterator<Item = &'a MidiEvent>,
) -> Vec<Option<usize>> {
    articulations_from(card, events, None)
}

/// The same where an articulation holds before the first call: what the name of the track says.
pub fn articulations_from<'a>(
    card: &PatchCard,
    events: impl IntoIterator<Item = &'a MidiEvent>,
    before: Option<usize>,
) -> Vec<Option<usize>> {
    let find = |wanted: &dyn Fn(&CallKind) -> bool| {
        card.articulations.iter().position(|a| a.calls.iter().any(|c| wanted(&c.kind)))
    };
    let mut held: Vec<(u8, usize)> = Vec::new();
    let mut latched: Option<usize> = before;
    let mut bank = [(0u8, 0u8); 16];
    let mut found = Vec::new();
    for event in events {
        match *event {
            MidiEvent::NoteOn { channel, key, velocity } if velocity > 0 => {
                let call = card.articulations.iter().enumerate().find_map(|(i, a)| {
                    a.calls.iter().find_map(|c| match c.kind {
                        CallKind::Key { key: k, mode, .. } if k == key => Some((i, mode)),
                        _ => None,
                    })
                });
                match call {
                    Some((i, KeyMode::Latch)) => latched = Some(i),
                    Some((i, KeyMode::Held)) => held.push((key, i)),
                    None => found.push(
                        find(&|c| matches!(c, CallKind::Channel { channel: n } if *n == channel + 1))
                            .or(held.last().map(|h| h.1))
                            .or(find(&|c| {
                                matches!(c, CallKind::Velocity { low, high } if (*low..=*high).contains(&velocity))
                            }))
                            .or(latched)
                            .or(card.articulations.iter().position(|a| a.calls.is_empty())),
                    ),
                }
            }
            MidiEvent::NoteOff { key, .. } | MidiEvent::NoteOn { key, .. } => held.retain(|h| h.0 != key),
            MidiEvent::Controller { channel, number, value } => {
                match number {
                    0 => bank[usize::from(channel & 15)].0 = value,
                    32 => bank[usize::from(channel & 15)].1 = value,
                    _ => {}
                }
                let call = find(
                    &|c| matches!(c, CallKind::Controller { number: n, value: v } if (*n, *v) == (number, value)),
                );
                latched = call.or(latched);
            }
            MidiEvent::Program { channel, program } => {
                let now = bank[usize::from(channel & 15)];
                let call = find(
                    &|c| matches!(c, CallKind::Program { program: p, bank } if *p == program && bank.is_none_or(|b| b == now)),
                );
                latched = call.or(latched);
            }
            _ => {}
        }
    }
    found
}
