//! The notes of one track: which articulation, when sent, with which velocity, and the calls before them.

use crate::select::{self, Choice};
use crate::{Placement, TICKS};
use ripieno_formats::midi::MidiEvent;
use ripieno_music::{ChairPerformance, Clock, Colour, Place, Syllable};
use ripieno_plan::{ArticulationCard, CallKind, DelayCurve, DynamicsCard, KeyMode, PatchCard};
use ripieno_units::{Seconds, math};
use std::collections::BTreeMap;

/// How far before its note-on a call is sent where there is room, in seconds.
const CALL_LEAD: f64 = 0.020;

/// One note to be sent, or not.
#[derive(Clone, Debug)]
pub struct Item {
    /// Index of its gesture.
    pub gesture: usize,
    /// When it is to be heard.
    pub onset: f64,
    /// When it is to end.
    pub end: f64,
    /// Where it is written.
    pub place: Place,
    /// Key sent.
    pub key: u8,
    /// Level of its attack.
    pub attack: f64,
    /// Slurred from the note before.
    pub joined: bool,
    /// The note after it is slurred to it.
    pub joins_on: bool,
    /// Voice within the chair.
    pub voice: u16,
    /// Asked for.
    pub articulation: String,
    /// Asked for.
    pub colour: Option<Colour>,
    /// Articulation of the card.
    pub used: usize,
    /// Channel, 0 to 15.
    pub channel: u8,
    /// Velocity, 1 to 127.
    pub velocity: u8,
    /// Delay of its patch, in seconds.
    pub delay: f64,
    /// Tick of its note-on, counted from bar 1.
    pub on: i64,
    /// Tick of its note-off.
    pub off: i64,
    /// It is sent.
    pub sent: bool,
    /// Text sung on it.
    pub syllable: Option<Syllable>,
    /// Rules that it falls under.
    pub findings: Vec<&'static str>,
}

/// An event of a track with its order within a tick.
#[derive(Clone, Debug)]
pub struct Timed {
    /// Tick, counted from bar 1.
    pub tick: i64,
    /// 0 releases, 1 curves, 2 calls, 3 text, 4 notes.
    pub order: u8,
    /// The event.
    pub event: MidiEvent,
}

/// Seconds to ticks from bar 1.
pub fn tick(clock: &Clock, at: f64) -> i64 {
    (clock.quarters(Seconds(at)) * f64::from(TICKS)).round() as i64
}

/// Ticks from bar 1 to seconds.
pub fn seconds(clock: &Clock, tick: i64) -> f64 {
    clock.seconds_of(tick as f64 / f64::from(TICKS)).0
}

/// The dynamics that an articulation follows.
pub fn dynamics<'a>(card: &'a PatchCard, articulation: &'a ArticulationCard) -> &'a DynamicsCard {
    articulation.dynamics.as_ref().unwrap_or(&card.dynamics)
}

/// The controller or velocity value of a level: the inverse of the response, 1 to 127, unrounded.
pub fn value_of(response: &[(u8, f64)], level: f64) -> f64 {
    let (Some(first), Some(last)) = (response.first(), response.last()) else { return 64.0 };
    let value = if level <= first.1 {
        f64::from(first.0)
    } else if level >= last.1 {
        f64::from(last.0)
    } else {
        let i = response.partition_point(|r| r.1 <= level).clamp(1, response.len() - 1);
        let (a, b) = (response[i - 1], response[i]);
        math::lerp(f64::from(a.0), f64::from(b.0), (level - a.1) / (b.1 - a.1).max(1e-12))
    };
    value.clamp(1.0, 127.0)
}

/// Collects the notes that a card plays of its chair.
pub fn items(chair: &ChairPerformance, card: &PatchCard, plays: &dyn Fn(usize) -> bool) -> Vec<Item> {
    let mut items = Vec::new();
    let call_keys = select::call_keys(card);
    for (index, gesture) in chair.gestures.iter().enumerate().filter(|(i, _)| plays(*i)) {
        let whole = select::has(card, &gesture.articulation, gesture.colour);
        let stroke_key = gesture.stroke.as_ref().map(|s| {
            let own = card.strokes.iter().find(|(name, _)| name == s).map(|(_, key)| *key);
            if card.strokes.is_empty() { Some(gesture.key) } else { own }
        });
        let mut push = |onset: Seconds,
                        end: Seconds,
                        key: u8,
                        attack: f64,
                        joined: bool,
                        joins_on: bool,
                        leads: bool| {
            let name = match &gesture.realisation {
                Some(r) if !whole => r.articulation.as_str(),
                _ => gesture.articulation.as_str(),
            };
            let Choice { index: used, fall_back } = select::articulation(card, name, gesture.colour);
            let articulation = &card.articulations[used];
            let sent_key = match stroke_key {
                Some(key) => key.map(i16::from),
                None => Some(i16::from(key) + card.transpose),
            };
            let range = articulation.sounding.or(card.sounding);
            let sounds = match stroke_key {
                Some(found) => found.is_some(),
                None => range.is_none_or(|(low, high)| (low..=high).contains(&key)),
            };
            let valid = sent_key.and_then(|k| u8::try_from(k).ok()).filter(|k| *k <= 127);
            let is_call = valid.is_some_and(|k| call_keys.binary_search(&k).is_ok());
            let sent = sounds && valid.is_some() && !is_call;
            let mut findings = Vec::new();
            if fall_back {
                findings.push(select::FALL_BACK);
            }
            if !sent {
                findings.push(select::KEY);
            }
            items.push(Item {
                gesture: index,
                onset: onset.0,
                end: end.0,
                place: gesture.place,
                key: valid.unwrap_or(key.min(127)),
                attack,
                joined,
                joins_on,
                voice: gesture.voice,
                articulation: name.to_string(),
                colour: gesture.colour,
                used,
                channel: 0,
                velocity: 64,
                delay: 0.0,
                on: 0,
                off: 0,
                sent,
                syllable: gesture.sung.as_ref().filter(|_| leads).map(|s| s.syllable.clone()),
                findings,
            });
        };
        match &gesture.realisation {
            Some(realisation) if !whole => {
                for (i, stroke) in realisation.strokes.iter().enumerate() {
                    push(stroke.onset, stroke.end, stroke.key, stroke.attack.0, false, false, i == 0);
                }
            }
            _ => push(
                gesture.onset,
                gesture.end,
                gesture.key,
                gesture.attack.0,
                gesture.joined,
                gesture.joins_on,
                true,
            ),
        }
    }
    items.sort_by(|a, b| a.onset.total_cmp(&b.onset).then(b.key.cmp(&a.key)));
    items
}

/// Settles what begins together, and what cannot be called any more.
pub fn settle(items: &mut [Item], card: &PatchCard) {
    let mut i = 0;
    let mut latched = false;
    let first_latching = card.articulations.iter().any(select::latches);
    // Highest note of each one-voice stretch that still sounds.
    let mut alone: Option<usize> = None;
    while i < items.len() {
        let onset = items[i].onset;
        let count = items[i..].iter().take_while(|it| it.onset - onset < 0.0005).count();
        let group = &mut items[i..i + count];
        // Without a call, and something was latched: it cannot come back.
        for item in group.iter_mut() {
            if latched && card.articulations[item.used].calls.is_empty() {
                let able = |n: &usize| !card.articulations[*n].calls.is_empty();
                let instead =
                    card.instead.iter().filter_map(|n| card.articulations.iter().position(|a| a.name == *n));
                if let Some(other) = instead.chain(0..card.articulations.len()).find(able) {
                    item.used = other;
                    item.findings.push(select::NO_RETURN);
                }
            }
        }
        let top = group.iter().position(|it| it.sent);
        if let Some(top) = top {
            let lead = group[top].used;
            let by_note = |used: usize| {
                let a = &card.articulations[used];
                select::called_channel(a).is_some()
                    || (select::called_velocity(a).is_some() && !select::latches(a) && !select::is_held(a))
            };
            let mut others: Vec<usize> = group.iter().filter(|it| it.sent).map(|it| it.used).collect();
            others.sort_unstable();
            others.dedup();
            let velocity_called = others
                .iter()
                .any(|u| select::called_channel(&card.articulations[*u]).is_none() && by_note(*u));
            let by_state: Vec<usize> = others.iter().copied().filter(|u| !by_note(*u)).collect();
            let held = by_state.iter().any(|u| select::is_held(&card.articulations[*u]));
            if by_state.len() > 1 || (held && velocity_called) {
                for item in group.iter_mut().filter(|it| it.sent && it.used != lead) {
                    if select::called_channel(&card.articulations[item.used]).is_none() {
                        item.used = lead;
                        item.findings.push(select::TWO);
                    }
                }
                // The range may differ between articulations.
                for item in group.iter_mut().filter(|it| it.sent) {
                    let a = &card.articulations[item.used];
                    let sounding = i16::from(item.key) - card.transpose;
                    let (low, high) = a.sounding.or(card.sounding).unwrap_or((0, 127));
                    if card.strokes.is_empty() && !(i16::from(low)..=i16::from(high)).contains(&sounding) {
                        item.sent = false;
                        item.findings.push(select::KEY);
                    }
                }
            }
        }
        for item in group.iter().filter(|it| it.sent) {
            latched |= first_latching && select::latches(&card.articulations[item.used]);
        }
        // One voice: the top note, and nothing below what still sounds.
        let one_voice = |used: usize| card.articulations[used].one_voice.unwrap_or(card.one_voice);
        for k in i..i + count {
            if !items[k].sent || !one_voice(items[k].used) {
                continue;
            }
            match alone.map(|a| (a, items[a].onset, items[a].end, items[a].key, items[a].joins_on)) {
                Some((a, ..)) if (items[a].onset - items[k].onset).abs() < 0.0005 => {
                    items[k].sent = false;
                    items[k].findings.push(select::TWO);
                }
                Some((a, _, end, key, _)) if end > items[k].onset + 0.030 && !items[k].joined => {
                    if key > items[k].key {
                        items[k].sent = false;
                        items[k].findings.push(select::TWO);
                    } else {
                        items[a].end = items[k].onset;
                        items[a].findings.push(select::TWO);
                        alone = Some(k);
                    }
                }
                _ => alone = Some(k),
            }
        }
        i += count;
    }
}

/// Where the delay hangs on the velocity and the velocity is free, one of the card's own velocities is sent: there the delay is
/// known and not interpolated. Empty where any velocity is sent.
pub fn known_velocities(card: &PatchCard, articulation: &ArticulationCard, delays: &DelayCurve) -> Vec<u8> {
    if delays.pairs.len() < 2 || dynamics(card, articulation).velocity {
        return Vec::new();
    }
    delays.pairs.iter().map(|p| p.0).filter(|v| select::allows_velocity(card, articulation, *v)).collect()
}

/// Velocities, channels, delays, note-ons and note-offs.
pub fn place(items: &mut [Item], card: &PatchCard, clock: &Clock, placement: Placement) {
    for item in items.iter_mut().filter(|it| it.sent) {
        let articulation = &card.articulations[item.used];
        let own = select::called_velocity(articulation);
        let allowed = |v: u8| select::allows_velocity(card, articulation, v);
        let dynamics = dynamics(card, articulation);
        let wanted = value_of(&dynamics.response, item.attack);
        let wanted = match own {
            Some((low, high)) => f64::from(low) + f64::from(high - low) * (wanted - 1.0) / 126.0,
            None => wanted,
        };
        let curve = if item.joined { &articulation.delays.joined } else { &articulation.delays.first };
        let known = known_velocities(card, articulation, curve);
        item.velocity = if !known.is_empty() {
            nearest(known.into_iter(), wanted)
        } else {
            let plain = wanted.round().clamp(1.0, 127.0) as u8;
            if allowed(plain) { plain } else { nearest((1..=127).filter(|v| allowed(*v)), wanted) }
        };
        item.channel = select::called_channel(articulation).unwrap_or(card.channel).clamp(1, 16) - 1;
        item.delay = match placement {
            Placement::Compensated => curve.at(item.velocity) / 1000.0,
            Placement::AsNotated => 0.0,
        };
        item.on = tick(clock, item.onset - item.delay);
        item.off = tick(clock, item.end - item.delay).max(item.on + 1);
    }
    // What is joined, or alone on its patch, comes after the note before it.
    let one_voice = |used: usize| card.articulations[used].one_voice.unwrap_or(card.one_voice);
    let mut last_of_voice: BTreeMap<u16, usize> = BTreeMap::new();
    let mut last_alone: Option<usize> = None;
    for i in 0..items.len() {
        if !items[i].sent {
            continue;
        }
        let alone = one_voice(items[i].used);
        let before = if alone { last_alone } else { last_of_voice.get(&items[i].voice).copied() };
        if let Some(b) = before {
            if (alone || items[i].joined) && items[i].on < items[b].on + 4 && items[b].onset < items[i].onset
            {
                items[i].on = items[b].on + 4;
                items[i].off = items[i].off.max(items[i].on + 1);
            }
            if alone {
                let overlap = card.articulations[items[i].used].overlap_ms / 1000.0;
                let connected = items[i].joined && items[b].joins_on;
                let at = if connected {
                    // Into the next note by its overlap, or short of it by its gap.
                    let end = seconds(clock, items[i].on) + overlap;
                    let end = tick(clock, end);
                    if overlap < 0.0 { end.min(items[i].on - 1) } else { end }
                } else {
                    items[b].off.min(items[i].on - 1)
                };
                items[b].off = at.max(items[b].on + 1);
            }
        }
        if alone {
            last_alone = Some(i);
        }
        last_of_voice.insert(items[i].voice, i);
    }
}

fn nearest(values: impl Iterator<Item = u8>, wanted: f64) -> u8 {
    values
        .min_by(|a, b| (f64::from(*a) - wanted).abs().total_cmp(&(f64::from(*b) - wanted).abs()))
        .unwrap_or_else(|| wanted.round().clamp(1.0, 127.0) as u8)
}

/// Puts the notes in the order of their note-ons, with their calls: every event of the track that is no curve.
/// `passages` are the ticks at which passages begin.
pub fn sequence(items: &mut [Item], card: &PatchCard, clock: &Clock, passages: &[i64]) -> Vec<Timed> {
    let mut order: Vec<usize> = (0..items.len()).filter(|i| items[*i].sent).collect();
    order.sort_by_key(|i| (items[*i].on, *i));
    let mut calls = Calls { out: Vec::new(), latched: None, held: None, released: i64::MIN, clock };
    let mut last_on: Option<i64> = None;
    let mut passage: Option<usize> = None;
    for i in order.iter().copied() {
        let item = &items[i];
        let articulation = &card.articulations[item.used];
        // A note that is played a little early still opens its passage.
        let now = passages.partition_point(|p| *p <= tick(clock, item.onset + 0.020));
        calls.expire(item.on);
        let restate = passage != Some(now);
        passage = Some(now);
        let needed = calls.needed(item.used, articulation, restate);
        let mut on = last_on.map_or(item.on, |l| item.on.max(l));
        if needed && let Some(last) = last_on {
            on = on.max(last + 2);
        }
        if needed {
            calls.call(item.used, articulation, card, item.channel, last_on, on, restate);
        }
        let item = &mut items[i];
        item.off += (on - item.on).clamp(0, 8);
        item.on = on;
        item.off = item.off.max(on + 1);
        last_on = Some(on);
        calls.extend_held(items[i].used, items[i].off);
    }
    let mut out = calls.finish();
    release_restruck(items, card, clock);
    for item in items.iter().filter(|it| it.sent) {
        let (channel, key) = (item.channel, item.key);
        let note = MidiEvent::NoteOn { channel, key, velocity: item.velocity };
        out.push(Timed { tick: item.on, order: 4, event: note });
        out.push(Timed {
            tick: item.off,
            order: 0,
            event: MidiEvent::NoteOff { channel, key, velocity: 64 },
        });
        if let Some(syllable) = &item.syllable {
            out.push(Timed { tick: item.on, order: 3, event: MidiEvent::Lyric(lyric(syllable)) });
        }
    }
    out
}

/// As RP-017 writes syllables: a hyphen inside the word, a space after it.
fn lyric(syllable: &Syllable) -> String {
    use ripieno_music::SyllablePlace::{Begin, Middle};
    let tail = if matches!(syllable.place, Begin | Middle) { "-" } else { " " };
    format!("{}{tail}", syllable.text)
}

/// A key that is struck again is released at least one tick before; what would begin at the same tick is not sent twice.
fn release_restruck(items: &mut [Item], card: &PatchCard, clock: &Clock) {
    let mut order: Vec<usize> = (0..items.len()).filter(|i| items[*i].sent).collect();
    order.sort_by_key(|i| (items[*i].on, *i));
    let mut last: BTreeMap<(u8, u8), usize> = BTreeMap::new();
    for i in order {
        let name = (items[i].channel, items[i].key);
        if let Some(b) = last.get(&name).copied() {
            if items[i].on < items[b].on + 2 {
                items[b].off = items[b].off.max(items[i].off);
                items[i].sent = false;
                items[i].findings.push(select::TWO);
                continue;
            }
            items[b].off = items[b].off.min(items[i].on - 1);
            let interval = seconds(clock, items[i].on) - seconds(clock, items[b].on);
            let shortest = card.articulations[items[i].used].repeat_ms;
            if shortest.is_some_and(|ms| interval * 1000.0 < ms - 0.5) {
                items[i].findings.push(select::REPEAT);
            }
        }
        last.insert(name, i);
    }
}

/// The state of a patch, and the calls that change it.
struct Calls<'a> {
    out: Vec<Timed>,
    latched: Option<usize>,
    held: Option<Held>,
    released: i64,
    clock: &'a Clock,
}

struct Held {
    articulation: usize,
    keys: Vec<(u8, u8)>,
    until: i64,
}

impl Calls<'_> {
    fn needed(&self, used: usize, articulation: &ArticulationCard, restate: bool) -> bool {
        let latch = select::latches(articulation) && (self.latched != Some(used) || restate);
        let held_now = self.held.as_ref().map(|h| h.articulation);
        let hold = select::is_held(articulation) && held_now != Some(used);
        latch || hold || held_now.is_some_and(|h| h != used)
    }

    #[allow(clippy::too_many_arguments)]
    fn call(
        &mut self,
        used: usize,
        articulation: &ArticulationCard,
        card: &PatchCard,
        channel: u8,
        last_on: Option<i64>,
        on: i64,
        restate: bool,
    ) {
        let lead = (on - tick(self.clock, seconds(self.clock, on) - CALL_LEAD)).max(1);
        let room = last_on.map_or(lead, |l| ((on - l) / 2).max(1));
        let at = (on - lead.min(room)).max(self.released.saturating_add(1));
        if self.held.as_ref().is_some_and(|h| h.articulation != used)
            && let Some(held) = self.held.take()
        {
            self.release(&held, held.until.min(at));
        }
        let channel = if select::called_channel(articulation).is_some() {
            channel
        } else {
            card.channel.clamp(1, 16) - 1
        };
        let latch = select::latches(articulation) && (self.latched != Some(used) || restate);
        let hold = select::is_held(articulation) && self.held.is_none();
        let mut keys = Vec::new();
        for call in &articulation.calls {
            match call.kind {
                CallKind::Key { key, mode: KeyMode::Latch, velocity } if latch => {
                    self.push(at, 2, MidiEvent::NoteOn { channel, key, velocity });
                    self.push(on, 0, MidiEvent::NoteOff { channel, key, velocity: 64 });
                }
                CallKind::Controller { number, value } if latch => {
                    self.push(at, 2, MidiEvent::Controller { channel, number, value });
                }
                CallKind::Program { program, bank } if latch => {
                    if let Some((msb, lsb)) = bank {
                        self.push(at, 2, MidiEvent::Controller { channel, number: 0, value: msb });
                        self.push(at, 2, MidiEvent::Controller { channel, number: 32, value: lsb });
                    }
                    self.push(at, 2, MidiEvent::Program { channel, program });
                }
                CallKind::Key { key, mode: KeyMode::Held, velocity } if hold => {
                    self.push(at, 2, MidiEvent::NoteOn { channel, key, velocity });
                    keys.push((channel, key));
                }
                _ => {}
            }
        }
        if latch {
            self.latched = Some(used);
        }
        if hold {
            self.held = Some(Held { articulation: used, keys, until: on + 1 });
        }
    }

    /// Lets go of a held key whose note has ended before the next note needs anything.
    fn expire(&mut self, on: i64) {
        if let Some(held) = self.held.take_if(|h| h.until + 2 < on) {
            self.release(&held, held.until);
            self.released = held.until;
        }
    }

    fn extend_held(&mut self, used: usize, off: i64) {
        if let Some(held) = self.held.as_mut().filter(|h| h.articulation == used) {
            held.until = held.until.max(off);
        }
    }

    fn release(&mut self, held: &Held, at: i64) {
        for (channel, key) in &held.keys {
            self.push(at, 0, MidiEvent::NoteOff { channel: *channel, key: *key, velocity: 64 });
        }
    }

    fn push(&mut self, tick: i64, order: u8, event: MidiEvent) {
        self.out.push(Timed { tick, order, event });
    }

    fn finish(mut self) -> Vec<Timed> {
        if let Some(held) = self.held.take() {
            self.release(&held, held.until);
        }
        self.out
    }
}
