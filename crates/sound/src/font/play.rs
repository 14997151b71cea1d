//! Notes through SoundFont players, with their bends and swells.

use super::notes::{CHANNELS, Note, gain, notes};
use super::{Font, FontError, FontSetup, MF, Preset};
use crate::{Options, Voice};
use ripieno_instruments::by_id;
use ripieno_music::{ChairPerformance, Curve};
use ripieno_units::{Seconds, math};
use rustysynth::Synthesizer;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;

/// Frames between two looks at notes and curves.
pub const BLOCK: usize = 64;

/// Expression holds back so many dB at mf: so far may a note that began softly swell.
pub const RESERVE: f64 = 36.0;

/// What was played so long before the start may still be heard: seconds of release, seconds of notes that still sound.
const RELEASE: f64 = 2.0;
const BEFORE: f64 = 30.0;

/// After so many blocks of nothing the player rests until the next note.
const REST: usize = 100;

/// A chair that plays through presets.
pub struct FontVoice {
    players: Vec<Player>,
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
}

/// One player of the library, with [`CHANNELS`] channels.
struct Player {
    inner: Synthesizer,
    /// Notes that are down, and blocks since anything was heard.
    down: usize,
    silent: usize,
    /// What was sent last by channel: preset, expression, bend.
    sent: [(Option<Preset>, i32, i32); CHANNELS],
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
        let players = notes.iter().map(|n| n.channel / CHANNELS + 1).max().unwrap_or(0);
        let players = (0..players)
            .map(|_| Ok(Player::new(font.player(options.sample_rate)?, bend_range)))
            .collect::<Result<_, FontError>>()?;
        let mut voice = Self {
            players,
            notes,
            next: 0,
            sounding: Vec::new(),
            level: chair.level.clone(),
            rate,
            gain,
            bend_range,
            block: start,
            left: Vec::new(),
        };
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

    /// Plays the next block into `left`.
    fn fill(&mut self) {
        self.left.clear();
        self.left.resize(BLOCK, 0.0);
        self.turn(self.block);
        self.block += 1;
        for player in &mut self.players {
            player.add(self.gain, &mut self.left);
        }
    }

    /// Ends, begins and shapes notes before a block.
    fn turn(&mut self, block: i64) {
        let Self { players, notes, sounding, .. } = self;
        sounding.retain(|i| {
            let note = &notes[*i];
            let goes_on = note.off > block;
            if !goes_on {
                players[note.channel / CHANNELS].off(note);
            }
            goes_on
        });
        while notes.get(self.next).is_some_and(|n| n.on <= block) {
            sounding.push(self.next);
            self.next += 1;
        }
        let time = block as f64 * BLOCK as f64 / self.rate;
        for i in sounding {
            let note = &notes[*i];
            let at = if note.follows { time.max(note.onset) } else { note.onset };
            let level = self.level.at(Seconds(at)).clamp(-80.0, 30.0) + note.offset - softness(note.velocity);
            // The player squares it.
            let expression = 16_383.0 * math::pow(10.0, (level - RESERVE) / 40.0);
            let cents = note.cents + math::polyline(&note.bend, time - note.onset);
            let bend = 8192.0 + 8192.0 * cents / (100.0 * self.bend_range);
            let whole = |x: f64| (x + 0.5).clamp(0.0, 16_383.0) as i32;
            let player = &mut players[note.channel / CHANNELS];
            player.shape(note, whole(expression), whole(bend));
            if note.on == block {
                player.on(note);
            }
        }
    }
}

impl Player {
    fn new(mut inner: Synthesizer, bend_range: f64) -> Self {
        for channel in 0..CHANNELS as i32 {
            let range = bend_range as i32;
            for (number, value) in [(91, 0), (93, 0), (101, 0), (100, 0), (6, range), (38, 0)] {
                inner.process_midi_message(channel, 0xb0, number, value);
            }
        }
        Self { inner, down: 0, silent: REST, sent: [(None, -1, -1); CHANNELS] }
    }

    fn on(&mut self, note: &Note) {
        let channel = note.channel % CHANNELS;
        if self.sent[channel].0 != Some(note.preset) {
            self.sent[channel].0 = Some(note.preset);
            select(&mut self.inner, channel as i32, note.preset);
        }
        self.down += 1;
        self.silent = 0;
        // A region that points outside its samples: the note is lost, the rest is played.
        let inner = &mut self.inner;
        let begun = catch_unwind(AssertUnwindSafe(|| {
            inner.note_on(channel as i32, note.key.into(), note.velocity.into());
        }));
        if begun.is_err() {
            self.inner.note_off_all(true);
        }
    }

    fn off(&mut self, note: &Note) {
        self.down = self.down.saturating_sub(1);
        self.inner.note_off((note.channel % CHANNELS) as i32, note.key.into());
    }

    /// Expression and bend of a note's channel.
    fn shape(&mut self, note: &Note, expression: i32, bend: i32) {
        let channel = note.channel % CHANNELS;
        let sent = &mut self.sent[channel];
        let mut send = |command, a, b| self.inner.process_midi_message(channel as i32, command, a, b);
        if sent.1 != expression {
            sent.1 = expression;
            send(0xb0, 11, expression >> 7);
            send(0xb0, 43, expression & 127);
        }
        if sent.2 != bend {
            sent.2 = bend;
            send(0xe0, bend & 127, bend >> 7);
        }
    }

    /// Adds the next block of both sides.
    fn add(&mut self, gain: f32, out: &mut [f32]) {
        if self.down == 0 && self.silent >= REST {
            return;
        }
        let (mut left, mut right) = ([0.0_f32; BLOCK], [0.0_f32; BLOCK]);
        let inner = &mut self.inner;
        let played = catch_unwind(AssertUnwindSafe(|| inner.render(&mut left, &mut right)));
        if played.is_err() {
            self.inner.note_off_all(true);
            return;
        }
        self.silent += 1;
        for ((y, l), r) in out.iter_mut().zip(left).zip(right) {
            let x = gain * (l + r);
            if x != 0.0 && x.is_finite() {
                *y += x;
                self.silent = 0;
            }
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
