//! Gestures to the notes, bends and swells of a SoundFont player.

use super::{Font, FontError, FontSetup, INSIDE, MF, Preset};
use crate::{FORTE, FULL_SCALE, Options, Voice};
use ripieno_instruments::{Instrument, by_id};
use ripieno_music::{ChairPerformance, Colour, Curve, Gesture, named};
use ripieno_units::{Decibels, Seconds, math};
use rustysynth::Synthesizer;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;

/// Frames between two looks at notes and curves.
pub const BLOCK: usize = 64;

/// Velocity by level in dB re mf (common practice: pp near 30, mf 80, fff 127).
const VELOCITY: [(f64, f64); 3] = [(-18.0, 30.0), (0.0, 80.0), (13.5, 127.0)];

/// Expression holds back so many dB at mf: so far may a note that began softly swell.
const RESERVE: f64 = 36.0;

/// How long a note goes on under the one that is slurred to it, seconds.
const OVERLAP: f64 = 0.030;

/// What was played so long before the start may still be heard: seconds of release, seconds of notes that still sound.
const RELEASE: f64 = 2.0;
const BEFORE: f64 = 30.0;

/// After so many blocks of nothing the player rests until the next note.
const REST: usize = 100;

/// Level in dB re 1 pW of an instrument whose forte is not known.
const UNKNOWN: f64 = 90.0;

/// One note for the player.
#[derive(Clone, Debug)]
struct Note {
    /// Blocks from time zero.
    on: i64,
    off: i64,
    onset: f64,
    key: u8,
    velocity: u8,
    preset: Preset,
    /// Cents that do not fit the key, and their changes: seconds from the onset, cents.
    cents: f64,
    bend: Vec<(f64, f64)>,
    /// dB that the level of the chair is moved by, and whether it is followed while the note sounds.
    offset: f64,
    follows: bool,
    /// Plucked on an instrument that is bowed.
    plucked: bool,
    channel: usize,
}

/// A chair that plays through presets.
pub struct FontVoice {
    player: Synthesizer,
    notes: Vec<Note>,
    next: usize,
    sounding: Vec<usize>,
    level: Curve,
    rate: f64,
    gain: f32,
    bend_range: f64,
    /// The next block, counted from time zero, and what is left of the last.
    block: i64,
    left: Vec<f32>,
    silent: usize,
    /// What was sent last by channel: preset, expression, bend.
    sent: Vec<(Option<Preset>, i32, i32)>,
}

impl FontVoice {
    /// Of a chair, from the time `from` on. What began before is played in silence first, so that it goes on as it was.
    ///
    /// Errors: no or unknown presets; a preset that is silent where the instrument plays; a sample rate outside 16 to 192 kHz.
    pub fn new(
        font: &Arc<Font>,
        chair: &ChairPerformance,
        setup: &FontSetup,
        options: &Options,
        from: Seconds,
    ) -> Result<Self, FontError> {
        if setup.presets.is_empty() {
            return Err(FontError::NoPresets);
        }
        for (_, preset) in &setup.presets {
            font.check(*preset)?;
        }
        let player = font.player(options.sample_rate)?;
        let rate = f64::from(options.sample_rate);
        let from = if from.0.is_finite() { from.0.clamp(-1e6, 1e6) } else { 0.0 };
        let instrument = by_id(&chair.instrument);
        let mut notes = notes(chair, instrument, setup, options);
        let gain = gain(font, chair, instrument, setup, &mut notes)?;
        let bend_range = notes
            .iter()
            .flat_map(|n| n.bend.iter().map(|b| b.1 + n.cents).chain([n.cents]))
            .fold(200.0_f64, |most, cents| most.max(cents.abs()));
        let bend_range = math::floor(bend_range / 100.0 + 0.999).clamp(2.0, 24.0);
        let first = math::floor(from * rate + 0.5) as i64;
        let heard = notes.iter().filter(|n| n.off as f64 * BLOCK as f64 > (from - RELEASE) * rate);
        let before = heard.filter(|n| n.on * (BLOCK as i64) < first).map(|n| n.on).min();
        let last = ((from - BEFORE) * rate) as i64 / BLOCK as i64;
        let start = before.map_or(first.div_euclid(BLOCK as i64), |b| b.max(last));
        // What has ended is not played; what began before the silent part begins with it.
        notes.retain(|n| n.off > start && n.off as f64 * BLOCK as f64 > (from - RELEASE) * rate);
        for note in &mut notes {
            note.on = note.on.max(start);
        }
        let mut voice = Self {
            player,
            notes,
            next: 0,
            sounding: Vec::new(),
            level: chair.level.clone(),
            rate,
            gain,
            bend_range,
            block: start,
            left: Vec::new(),
            silent: REST,
            sent: vec![(None, -1, -1); 16],
        };
        voice.prepare();
        let mut skip = (first - start * BLOCK as i64).max(0) as usize;
        while skip > 0 {
            voice.fill();
            let taken = skip.min(voice.left.len());
            voice.left.drain(..taken);
            skip -= taken;
        }
        Ok(voice)
    }

    /// The next samples.
    pub fn samples(&mut self, out: &mut [f32]) {
        let mut done = 0;
        while done < out.len() {
            if self.left.is_empty() {
                self.fill();
            }
            let taken = self.left.len().min(out.len() - done);
            for (y, x) in out[done..].iter_mut().zip(self.left.drain(..taken)) {
                *y = x;
            }
            done += taken;
        }
    }

    fn prepare(&mut self) {
        for channel in 0..16 {
            let mut control = |number, value| self.player.process_midi_message(channel, 0xb0, number, value);
            for (number, value) in [
                (7, 127),
                (39, 127),
                (91, 0),
                (93, 0),
                (101, 0),
                (100, 0),
                (6, self.bend_range as i32),
                (38, 0),
            ] {
                control(number, value);
            }
        }
    }

    /// Plays the next block into `left`.
    fn fill(&mut self) {
        self.left.resize(BLOCK, 0.0);
        let block = self.block;
        self.block += 1;
        let starts = self.notes.get(self.next).is_some_and(|n| n.on <= block);
        if !starts && self.sounding.is_empty() && self.silent >= REST {
            self.left.fill(0.0);
            return;
        }
        let (mut left, mut right) = ([0.0_f32; BLOCK], [0.0_f32; BLOCK]);
        let played = catch_unwind(AssertUnwindSafe(|| {
            self.turn(block);
            self.player.render(&mut left, &mut right);
        }));
        if played.is_err() {
            // A region that points outside its samples: the note is lost, the rest is played.
            left.fill(0.0);
            right.fill(0.0);
            self.player.note_off_all(true);
        }
        let mut heard = false;
        for ((y, l), r) in self.left.iter_mut().zip(left).zip(right) {
            let x = self.gain * (l + r);
            *y = if x.is_finite() { x } else { 0.0 };
            heard |= *y != 0.0;
        }
        self.silent = if heard { 0 } else { self.silent + 1 };
    }

    /// Ends, begins and shapes notes before a block.
    fn turn(&mut self, block: i64) {
        let Self { player, notes, sounding, .. } = self;
        sounding.retain(|i| {
            let note = &notes[*i];
            let goes_on = note.off > block;
            if !goes_on {
                player.note_off(note.channel as i32, note.key.into());
            }
            goes_on
        });
        while self.notes.get(self.next).is_some_and(|n| n.on <= block) {
            let i = self.next;
            self.next += 1;
            let note = &self.notes[i];
            if self.sent[note.channel].0 != Some(note.preset) {
                select(&mut self.player, note.channel as i32, note.preset);
                self.sent[note.channel].0 = Some(note.preset);
            }
            self.shape(i, block);
            let note = &self.notes[i];
            self.player.note_on(note.channel as i32, note.key.into(), note.velocity.into());
            self.silent = 0;
            self.sounding.push(i);
        }
        for n in 0..self.sounding.len() {
            self.shape(self.sounding[n], block);
        }
    }

    /// Expression and bend of a note's channel.
    fn shape(&mut self, i: usize, block: i64) {
        let note = &self.notes[i];
        let time = block as f64 * BLOCK as f64 / self.rate;
        let at = if note.follows { time.max(note.onset) } else { note.onset };
        let level =
            self.level.at(Seconds(at)).clamp(-80.0, 30.0) + note.offset - softness(note.velocity) - RESERVE;
        // The player squares it.
        let value = (16_383.0 * math::pow(10.0, level / 40.0) + 0.5).clamp(0.0, 16_383.0) as i32;
        let cents = note.cents + math::polyline(&note.bend, time - note.onset);
        let bend = (8192.0 + 8192.0 * cents / (100.0 * self.bend_range) + 0.5).clamp(0.0, 16_383.0) as i32;
        let channel = note.channel;
        let sent = &mut self.sent[channel];
        let mut send = |command, a, b| self.player.process_midi_message(channel as i32, command, a, b);
        if sent.1 != value {
            sent.1 = value;
            send(0xb0, 11, value >> 7);
            send(0xb0, 43, value & 127);
        }
        if sent.2 != bend {
            sent.2 = bend;
            send(0xe0, bend & 127, bend >> 7);
        }
    }
}

impl Voice for FontVoice {
    fn desks(&self) -> usize {
        1
    }

    fn next(&mut self, frames: usize, desks: &mut Vec<Vec<f32>>) {
        desks.resize_with(1, Vec::new);
        let mut out = std::mem::take(&mut desks[0]);
        out.clear();
        out.resize(frames, 0.0);
        self.samples(&mut out);
        desks[0] = out;
    }
}

impl std::fmt::Debug for FontVoice {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "FontVoice {{ notes: {}, block: {} }}", self.notes.len(), self.block)
    }
}

/// Chooses the preset of a channel; the player takes bank 128 on any.
pub fn select(player: &mut Synthesizer, channel: i32, preset: Preset) {
    // The tenth channel adds 128 by itself; it is not used.
    player.process_midi_message(channel, 0xb0, 0, preset.bank.into());
    player.process_midi_message(channel, 0xb0, 7, 127);
    player.process_midi_message(channel, 0xb0, 39, 127);
    player.process_midi_message(channel, 0xc0, preset.program.into(), 0);
}

/// dB that a velocity takes away, re that of mf: the default of the format, 40 log of velocity over 127.
fn softness(velocity: u8) -> f64 {
    40.0 * math::log10(f64::from(velocity.max(1)) / f64::from(MF))
}

/// Channels that notes are dealt to, so that each has its own bend and level: all but the tenth.
const CHANNELS: [usize; 15] = [0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12, 13, 14, 15];

fn notes(
    chair: &ChairPerformance,
    instrument: Option<&Instrument>,
    setup: &FontSetup,
    options: &Options,
) -> Vec<Note> {
    let unpitched = instrument.is_some_and(|i| i.unpitched);
    let decays = unpitched || instrument.is_some_and(|i| i.decays);
    let rate = f64::from(options.sample_rate);
    let tuning = if options.tuning > 0.0 { 1200.0 * math::log2(options.tuning / 440.0) } else { 0.0 };
    let block = |t: f64| math::floor(t * rate / BLOCK as f64 + 0.5) as i64;
    let mut notes = Vec::new();
    let mut put =
        |gesture: &Gesture, onset: f64, end: f64, key: u8, attack: f64, preset: Preset, joins_on: bool| {
            let kit = unpitched || gesture.stroke.is_some() || preset.bank == 128;
            let sane = [onset, end, attack].iter().all(|x| x.is_finite() && x.abs() < 1e6) && end > onset;
            if !sane {
                return;
            }
            let plucked = !decays
                && (matches!(gesture.articulation.as_str(), named::PIZZICATO | named::SNAP_PIZZICATO)
                    || gesture.colour == Some(Colour::ColLegno));
            let move_by = if kit { 0 } else { i16::from(setup.transpose) };
            let key = if kit && key == 0 { 60 } else { key };
            let cents = if kit { 0.0 } else { gesture.cents + tuning + setup.cents };
            // Beyond half a semitone it is another key.
            let steps = math::floor(cents / 100.0 + 0.5).clamp(-24.0, 24.0);
            let share =
                f64::from(gesture.players.clamp(1, chair.players.max(1))) / f64::from(chair.players.max(1));
            let end = pedalled(chair, if joins_on { end + OVERLAP } else { end });
            let on = block(onset);
            notes.push(Note {
                on,
                off: block(end).max(on + 1),
                onset,
                key: (i16::from(key.min(127)) + move_by + steps as i16).clamp(0, 127) as u8,
                velocity: (math::polyline(&VELOCITY, attack) + 0.5) as u8,
                preset,
                cents: if cents.is_finite() { cents - 100.0 * steps } else { 0.0 },
                bend: gesture.bend.iter().map(|(t, c)| (t.0, c.clamp(-2400.0, 2400.0))).collect(),
                offset: attack - chair.level.at(Seconds(onset)) + 10.0 * math::log10(share),
                // What is struck or plucked keeps its level.
                follows: !decays && !plucked,
                plucked,
                channel: 0,
            });
        };
    for gesture in &chair.gestures {
        let own = own_preset(setup, gesture, &gesture.articulation);
        match &gesture.realisation {
            // Note by note, unless a preset plays it whole.
            Some(r) if own.is_none() && gesture.bend.is_empty() && !r.strokes.is_empty() => {
                let preset = own_preset(setup, gesture, &r.articulation).or_else(|| other(setup));
                let Some(preset) = preset else { continue };
                for (i, s) in r.strokes.iter().enumerate() {
                    let joins_on = r.strokes.get(i + 1).map_or(gesture.joins_on, |n| n.joined);
                    put(gesture, s.onset.0, s.end.0, s.key, s.attack.0, preset, joins_on);
                }
            }
            _ => {
                let Some(preset) = own.or_else(|| other(setup)) else { continue };
                let (onset, end) = (gesture.onset.0, gesture.end.0);
                put(gesture, onset, end, gesture.key, gesture.attack.0, preset, gesture.joins_on);
            }
        }
    }
    notes.sort_by(|a, b| a.onset.total_cmp(&b.onset).then(a.key.cmp(&b.key)));
    deal(&mut notes);
    notes
}

/// Gives each note the channel that has been silent for longest.
fn deal(notes: &mut [Note]) {
    let mut free = [i64::MIN; CHANNELS.len()];
    for note in notes {
        let i = (0..free.len()).min_by_key(|i| free[*i]).unwrap_or(0);
        free[i] = note.off;
        note.channel = CHANNELS[i];
    }
}

/// The end of a note, put off while the pedal is down.
fn pedalled(chair: &ChairPerformance, end: f64) -> f64 {
    let held = chair.pedal.iter().find(|(down, up)| down.0 <= end && end < up.0);
    held.map_or(end, |(_, up)| up.0)
}

/// The preset that is named for a colour or an articulation.
fn own_preset(setup: &FontSetup, gesture: &Gesture, articulation: &str) -> Option<Preset> {
    let named = |name: &str| setup.presets.iter().find(|(n, _)| n == name).map(|(_, p)| *p);
    gesture.colour.and_then(|c| named(c.word())).or_else(|| named(articulation))
}

/// The preset for all others.
fn other(setup: &FontSetup) -> Option<Preset> {
    let plain = setup.presets.iter().find(|(name, _)| name.is_empty());
    plain.or(setup.presets.first()).map(|(_, p)| *p)
}

/// The factor on the player's output, so that its mf is the instrument's; presets that differ in level are evened out in the
/// notes.
fn gain(
    font: &Font,
    chair: &ChairPerformance,
    instrument: Option<&Instrument>,
    setup: &FontSetup,
    notes: &mut [Note],
) -> Result<f32, FontError> {
    let unpitched = instrument.is_some_and(|i| i.unpitched);
    let range = instrument.and_then(|i| i.comfortable.or(i.hard));
    let mut keys: Vec<u8> = notes.iter().map(|n| n.key).collect();
    keys.sort_unstable();
    let middle = keys.get(keys.len() / 2).copied().unwrap_or(60);
    let middle = range.map_or(middle, |r| {
        (i16::from(r.low) / 2 + i16::from(r.high) / 2 + i16::from(setup.transpose)).clamp(0, 127) as u8
    });
    let mut most = 0.0_f64;
    let mut levels = Vec::with_capacity(notes.len());
    for note in notes.iter() {
        let kit = unpitched || note.preset.bank == 128;
        let found = font.loudness(note.preset, if kit { note.key } else { middle })?;
        most = most.max(found);
        levels.push(found);
    }
    let forte = instrument.and_then(|i| i.level).map_or_else(
        || match crate::model::of(&chair.instrument) {
            crate::model::Model::Held(held) => held.forte,
            crate::model::Model::Plucked(string) => string.forte,
            crate::model::Model::Struck => UNKNOWN,
        },
        |level| level.forte,
    );
    let string = crate::model::plucked(&chair.instrument).forte;
    for (note, level) in notes.iter_mut().zip(levels) {
        note.offset += 20.0 * math::log10(most / level) + if note.plucked { string - forte } else { 0.0 };
    }
    let players = 10.0 * math::log10(f64::from(chair.players.max(1)));
    let wanted = Decibels(forte - FORTE + players + setup.gain.clamp(-60.0, 30.0) - FULL_SCALE).amplitude();
    let reserve = Decibels(RESERVE).amplitude();
    Ok(if most > 0.0 { (wanted * reserve / most) as f32 / INSIDE } else { 0.0 })
}
