//! The players that stand for a chair: how they differ, and where their pitch and level are.

use crate::model::{Held, Kind};
use crate::notes::Note;
use crate::periods::{Periods, Quad, Ramp, Set, Turning, Weights, read};
use ripieno_units::{Chance, Decibels, math};
use std::f64::consts::TAU;

/// Players that stand for a section: their sum with the level of all (four sound like eight and more).
const STAND_FOR: u16 = 4;

/// Vibrato begins after this and is full after that, seconds (0.15 to 0.4; common practice).
const VIBRATO: (f64, f64) = (0.18, 0.55);

/// One of the players that stand for a chair.
pub struct Player {
    /// Which desk it sits at.
    pub desk: usize,
    /// Seconds after the others' mean.
    pub late: f64,
    /// Amplitude.
    pub gain: f64,
    /// Which note it plays.
    pub note: usize,
    /// Which shape of the mouth it has.
    pub spoken: usize,
    /// Amplitude of its voice re a vowel's.
    pub voiced: f64,
    cents: f64,
    /// Semitones that its body stands off the others'.
    body: f64,
    drift: f64,
    drifts: f64,
    sways: f64,
    sway: f64,
    extent: f64,
    vibrato_hertz: f64,
    vibrato_phase: f64,
    flutter_hertz: f64,
    phase: u32,
    step: f64,
    /// What sounds, and what it comes from.
    now: Option<Reading>,
    before: Option<Reading>,
    fading: Vec<Reading>,
    /// Share of `now`, and seconds that the change takes.
    mix: f64,
    pass: f64,
    /// Seconds since the note began, and how long the pitch takes to it.
    pub since: f64,
    pub glide: f64,
    from_cents: f64,
    now_cents: f64,
    /// dB and cents of its colour now.
    pub tinted: f64,
}

/// Two nodes that are being read.
struct Reading {
    set: usize,
    node: usize,
    weights: Weights,
}

/// Draws the players of a chain.
pub fn draw(held: &Held, first: &Note<'_>, desks: usize, plain: bool, chance: &mut Chance) -> Vec<Player> {
    let count = if plain { 1 } else { usize::from(first.players.clamp(1, STAND_FOR)) };
    let section = count > 1;
    // Onsets 15 to 35 ms, choirs 30 to 50; pitch 6 to 12 cents, choirs 10 to 15; 1.5 dB (methods of section sound: Ternström and
    // Sundberg 1988; Pätynen, Tervo and Lokki 2011; common practice where winds play together).
    let (apart, detune): (f64, f64) = match held.kind {
        Kind::Sung => (0.035, 11.0),
        Kind::Strings => (0.022, 8.0),
        _ => (0.012, 5.0),
    };
    // Of a tremolo, no two bows go together.
    let apart: f64 = if first.articulation == ripieno_music::named::TREMOLO { 0.04 } else { apart };
    let apart = apart.min(0.15 * (first.end - first.onset));
    let spread = |sd: f64, chance: &mut Chance| {
        let drawn = chance.normal(sd).clamp(-2.0 * sd, 2.0 * sd);
        if section { drawn } else { 0.0 }
    };
    // The fourth sits in the middle.
    let seat = |i: usize| if i == 3 { 1 % desks } else { [0, desks - 1, 1 % desks][i % 3] };
    let voice = usize::from(first.voice.max(1)) - 1;
    let mut all: Vec<Player> = (0..count)
        .map(|i| {
            let fellows = (0..count).filter(|k| seat(*k) == seat(i)).count() as f64;
            let occupied = (0..desks).filter(|d| (0..count).any(|k| seat(k) == *d)).count().max(1) as f64;
            let scoop = if plain { 0.0 } else { held.scoop * chance.between(0.3, 1.0) };
            Player {
                desk: (voice + seat(i)) % desks,
                late: spread(apart, chance),
                gain: math::sqrt(1.0 / (fellows * occupied)) * Decibels(spread(1.3, chance)).amplitude(),
                note: 0,
                spoken: 0,
                voiced: 1.0,
                cents: spread(detune, chance),
                body: spread(0.35, chance),
                drift: scoop,
                drifts: if section { held.drift } else { 0.5 * held.drift },
                sways: if section { 0.6 } else { 0.35 },
                sway: 0.0,
                extent: if plain { 0.0 } else { chance.between(0.8, 1.2) },
                vibrato_hertz: held.vibrato.1 + chance.normal(0.3).clamp(-0.6, 0.6),
                vibrato_phase: if section { TAU * chance.unit() } else { 0.0 },
                flutter_hertz: 25.0 + chance.between(-2.5, 2.5),
                phase: (chance.bits() >> 32) as u32,
                step: 0.0,
                now: None,
                before: None,
                fading: Vec::new(),
                mix: 1.0,
                pass: 0.02,
                since: 1e3,
                glide: 0.0,
                from_cents: 0.0,
                now_cents: 0.0,
                tinted: 0.0,
            }
        })
        .collect();
    // The section as a whole is in tune and in time, and has the level of all.
    let n = f64::from(count as u32);
    let (late, cents) =
        (all.iter().map(|p| p.late).sum::<f64>() / n, all.iter().map(|p| p.cents).sum::<f64>() / n);
    let power = math::sqrt(all.iter().map(|p| p.gain * p.gain).sum::<f64>().max(1e-9));
    for player in &mut all {
        player.late -= late;
        player.cents -= cents;
        player.gain /= power;
    }
    all
}

/// What a player does in one block.
pub struct Moment {
    /// Seconds from block to block.
    pub dt: f64,
    /// Seconds since the start of the chain, for this player.
    pub since: f64,
    /// Cents above A4 that the note has.
    pub cents: f64,
    /// Amplitude.
    pub amplitude: f64,
    /// dB re mf: decides about the spectrum.
    pub effort: f64,
    /// Share of the vibrato, 0 to 1.
    pub vibrato: f64,
    /// Share of flutter, 0 or 1.
    pub flutter: f64,
}

impl Player {
    /// Passes to a pitch in so many seconds.
    pub fn turn(&mut self, glide: f64) {
        self.from_cents = self.now_cents;
        (self.since, self.glide) = (0.0, glide);
    }

    /// Changes its shape or colour in so many seconds.
    pub fn change(&mut self, set: usize, pass: f64) {
        let Some(now) = &self.now else {
            self.now = Some(Reading { set, node: usize::MAX, weights: Weights::default() });
            return;
        };
        if now.set == set {
            return;
        }
        // Where a change is still under way, the louder of both goes on, the other fades in one block.
        let (goes, ends) = match self.before.take() {
            Some(before) if self.mix <= 0.5 => (Some(before), self.now.take()),
            other => (self.now.take(), other),
        };
        self.before = goes;
        self.fading.extend(ends);
        self.now = Some(Reading { set, node: usize::MAX, weights: Weights::default() });
        (self.mix, self.pass) = (0.0, pass.max(0.008));
    }

    /// Adds a block; gives the amplitude at its end.
    pub fn sound(
        &mut self,
        held: &Held,
        moment: &Moment,
        tuned: (f64, f64),
        periods: &mut Periods,
        chance: &mut Chance,
        block: &mut [f32],
    ) -> f64 {
        let (tuning, rate) = tuned;
        let Moment { dt, .. } = *moment;
        self.since += dt;
        let mut cents = moment.cents;
        if self.since < self.glide {
            cents = math::lerp(self.from_cents, cents, crate::envelope::smooth(self.since / self.glide));
        }
        self.now_cents = cents;
        let (mut sway, mut wave, mut rough) = (0.0, 0.0, 0.0);
        if self.extent > 0.0 {
            // A slow walk of pitch and level; time constants of 0.5 and 0.3 s.
            let kick = |sd: f64, tau: f64, chance: &mut Chance| {
                sd * math::sqrt(6.0 * dt / tau) * chance.between(-1.0, 1.0)
            };
            self.drift += -self.drift * dt / if moment.since < 0.25 { 0.06 } else { 0.5 }
                + kick(self.drifts, 0.5, chance);
            self.sway += -self.sway * dt / 0.3 + kick(self.sways, 0.3, chance);
            sway = self.sway;
            rough = held.jitter * chance.between(-1.0, 1.0);
            let grown = ((moment.since - VIBRATO.0) / (VIBRATO.1 - VIBRATO.0)).clamp(0.0, 1.0);
            self.vibrato_phase += TAU * self.vibrato_hertz * dt;
            if self.vibrato_phase > TAU {
                self.vibrato_phase -= TAU;
                // No two waves are quite alike.
                self.vibrato_hertz += 0.3 * (held.vibrato.1 - self.vibrato_hertz) + chance.between(-0.3, 0.3);
                self.extent = (self.extent + 0.2 * (1.0 - self.extent) + chance.between(-0.1, 0.1)).max(0.1);
            }
            if grown > 0.0 && moment.vibrato > 0.0 {
                wave = grown * moment.vibrato * self.extent * math::sin(self.vibrato_phase);
            }
        }
        let sounding = cents + self.cents + self.drift + held.vibrato.0 * wave + rough;
        let hertz = tuning * math::exp2(sounding / 1200.0);
        let step = (hertz / rate * 4_294_967_296.0).clamp(0.0, 2e9);
        if self.step == 0.0 {
            self.step = step;
        }
        let turning = Turning {
            phase: self.phase,
            step: self.step,
            growth: (step - self.step) / block.len().max(1) as f64,
        };
        let trembling = sway + held.vibrato.2 * wave;
        let mut amplitude = moment.amplitude * self.gain;
        if trembling != 0.0 {
            amplitude *= math::exp(trembling * 0.115_129_254_649_702);
        }
        if moment.flutter > 0.0 {
            let turn = math::sin(TAU * self.flutter_hertz * moment.since);
            amplitude *= 1.0 + moment.flutter * (0.55 * turn - 0.15);
        }
        let effort = moment.effort + trembling - held.lag.0 * math::exp(-moment.since.max(0.0) / held.lag.1);
        let layers = Quad::weights(effort);
        let (node, x) = Periods::place(sounding + 100.0 * self.body);
        self.mix = if self.before.is_some() { (self.mix + dt / self.pass).min(1.0) } else { 1.0 };
        let weights = |share: f64| -> Weights {
            let a = amplitude * share;
            [layers.map(|l| a * (1.0 - x) * l), layers.map(|l| a * x * l)]
        };
        let mix = self.mix;
        if let Some(now) = &mut self.now {
            now.sound(node, weights(mix), turning, periods, block);
        }
        if let Some(before) = &mut self.before {
            before.sound(node, weights(1.0 - mix), turning, periods, block);
        }
        for mut fading in self.fading.drain(..) {
            fading.sound(node, Weights::default(), turning, periods, block);
        }
        if mix >= 1.0 {
            self.before = None;
        }
        self.phase = turning.after(block.len());
        self.step = step;
        amplitude
    }
}

impl Reading {
    fn sound(
        &mut self,
        node: usize,
        to: Weights,
        turning: Turning,
        periods: &mut Periods,
        block: &mut [f32],
    ) {
        let frames = block.len();
        let silent = |w: &Weights| w.iter().flatten().all(|x| *x == 0.0);
        let zero = Weights::default();
        if node == self.node {
            if !(silent(&self.weights) && silent(&to)) {
                read(block, &periods.pair(self.set, node), turning, &Ramp::new(&self.weights, &to, frames));
            }
        } else {
            if !silent(&self.weights) {
                read(
                    block,
                    &periods.pair(self.set, self.node),
                    turning,
                    &Ramp::new(&self.weights, &zero, frames),
                );
            }
            if !silent(&to) {
                read(block, &periods.pair(self.set, node), turning, &Ramp::new(&zero, &to, frames));
            }
        }
        (self.node, self.weights) = (node, to);
    }
}

/// The set of a note.
pub fn set(vowel: u8, note: &Note<'_>) -> Set {
    // Without vibrato and with a fluttering tongue, the period is the plain one.
    let colour =
        note.colour.filter(|c| !matches!(c, ripieno_music::Colour::NonVib | ripieno_music::Colour::Flutter));
    Set { vowel, colour }
}
