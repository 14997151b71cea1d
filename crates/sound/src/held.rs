//! Voices that hold their notes: a period of their spectrum, read at the pitch, between two levels and from note to note.

use crate::model::Held;
use crate::notes::{Note, chains};
use crate::stage::Stage;
use crate::timbre::{LAYERS, LENGTH, LOWEST, Periods, STEP, Wanted, tint};
use crate::{Frame, sung};
use ripieno_music::{Colour, named};
use ripieno_signal::{Biquad, Noise};
use ripieno_units::{Chance, Decibels, Seconds, math};
use std::f64::consts::TAU;
use std::rc::Rc;

/// How often pitch and level are worked out, times a second; straight lines between.
const CONTROL: f64 = 750.0;

/// Players that stand for a section: their sum with the level of all (four sound like eight and more).
const STAND_FOR: u16 = 4;

/// Spread of a section: cents (strings 6 to 12, choirs 10 to 15), seconds of onset; common practice.
const DETUNE: f64 = 6.0;
const APART: f64 = 0.012;

/// Vibrato begins after this and is full after that, seconds (0.15 to 0.4; common practice).
const VIBRATO: (f64, f64) = (0.20, 0.45);

/// The held notes of a chair, chain by chain.
pub struct Runner<'a> {
    frame: Frame<'a>,
    held: Held,
    chains: Vec<Vec<Note<'a>>>,
    next: usize,
    periods: Periods,
}

/// Plays these notes.
pub fn runner<'a>(frame: Frame<'a>, held: Held, notes: Vec<Note<'a>>) -> Runner<'a> {
    let phases = Chance::named(frame.options.seed, &[frame.chair.chair.as_str(), "partials"]);
    let periods = Periods::new(held.spectrum.clone(), held.family, frame.rate, frame.options.tuning, phases);
    Runner { frame, held, chains: chains(notes), next: 0, periods }
}

impl crate::Runner for Runner<'_> {
    fn run(&mut self, until: i64, stage: &mut Stage) {
        while let Some(chain) = self.chains.get(self.next) {
            let first = &chain[0];
            if self.frame.at(first.onset) > until {
                break;
            }
            let place = format!("{:.4}/{}/{}", first.onset, first.key, first.voice);
            let mut chance =
                Chance::named(self.frame.options.seed, &[self.frame.chair.chair.as_str(), "voice", &place]);
            play(&self.frame, &self.held, chain, &mut self.periods, &mut chance, stage);
            self.next += 1;
        }
    }
}

/// One of the players that stand for a chair.
struct Player {
    /// Seconds after the others' mean.
    late: f64,
    cents: f64,
    drift: f64,
    vibrato_hertz: f64,
    vibrato_phase: f64,
    gain: f64,
    phase: u32,
    /// Which note it plays.
    note: usize,
    sounds: Option<Sounding>,
    before: Option<Sounding>,
    /// Seconds since the note began, and how long it takes to pass into it.
    since: f64,
    pass: f64,
    /// Cents at the moment that it passed.
    from_cents: f64,
    now_cents: f64,
    /// Amplitude and layer at the end of the last block.
    amplitude: f64,
    layer: f64,
    mix: f64,
}

/// The two periods between which a level lies.
#[derive(Clone)]
struct Sounding {
    wanted: Wanted,
    base: usize,
    low: Rc<[f32]>,
    high: Rc<[f32]>,
}

fn sounding(periods: &mut Periods, wanted: Wanted, base: usize) -> Sounding {
    Sounding { wanted, base, low: periods.get(wanted, base), high: periods.get(wanted, base + 1) }
}

fn players(held: &Held, first: &Note<'_>, plain: bool, chance: &mut Chance) -> Vec<Player> {
    let count = if plain { 1 } else { first.players.clamp(1, STAND_FOR) };
    let section = count > 1;
    let tremolo = first.articulation == named::TREMOLO;
    // Of a tremolo, no two bows go together.
    let apart = if tremolo { 2.5 * APART } else { APART };
    let share = math::sqrt(1.0 / f64::from(count));
    let mut all: Vec<Player> = (0..count)
        .map(|_| Player {
            late: if section { chance.normal(apart).clamp(-2.0 * apart, 2.0 * apart) } else { 0.0 },
            cents: if section { chance.normal(DETUNE).clamp(-15.0, 15.0) } else { 0.0 },
            drift: 0.0,
            vibrato_hertz: held.vibrato.1 + chance.normal(0.3).clamp(-0.6, 0.6),
            vibrato_phase: if section { TAU * chance.unit() } else { 0.0 },
            gain: share
                * Decibels(if section { chance.normal(1.0).clamp(-2.0, 2.0) } else { 0.0 }).amplitude(),
            phase: (chance.bits() >> 32) as u32,
            note: 0,
            sounds: None,
            before: None,
            since: 1e3,
            pass: 0.010,
            from_cents: 0.0,
            now_cents: 0.0,
            amplitude: 0.0,
            layer: 0.0,
            mix: 1.0,
        })
        .collect();
    // The section as a whole is in tune and in time.
    let n = f64::from(count);
    let (late, cents) =
        (all.iter().map(|p| p.late).sum::<f64>() / n, all.iter().map(|p| p.cents).sum::<f64>() / n);
    for player in &mut all {
        player.late -= late;
        player.cents -= cents;
    }
    all
}

/// Seconds from the onset to the steady level.
fn attack_time(held: &Held, note: &Note<'_>) -> f64 {
    let (sharp, soft) = held.attack;
    let softness: f64 = match note.articulation {
        named::STACCATO | named::STACCATISSIMO | named::SPICCATO | named::MARCATO | named::ACCENT => 0.0,
        named::TREMOLO => -0.3,
        named::DETACHE => 0.15,
        named::PORTATO => 0.5,
        _ => 0.3,
    };
    // Louder is sharper.
    let quiet = ((3.0 - note.attack) / 30.0).clamp(-0.2, 0.4);
    let time = sharp + (soft - sharp) * (softness + quiet).clamp(-0.2, 1.0);
    time.clamp(0.008, (0.5 * (note.end - note.onset)).max(0.010))
}

fn release_time(held: &Held, note: &Note<'_>) -> f64 {
    match note.articulation {
        named::STACCATO | named::STACCATISSIMO | named::SPICCATO | named::MARCATO => 0.6 * held.release,
        named::TREMOLO => 0.04_f64.min(held.release),
        _ => held.release,
    }
}

fn smooth(x: f64) -> f64 {
    let x = x.clamp(0.0, 1.0);
    x * x * (3.0 - 2.0 * x)
}

fn play(
    frame: &Frame<'_>,
    held: &Held,
    chain: &[Note<'_>],
    periods: &mut Periods,
    chance: &mut Chance,
    stage: &mut Stage,
) {
    let (first, last) = (&chain[0], &chain[chain.len() - 1]);
    let (attack, release) = (attack_time(held, first), release_time(held, last));
    let mut players = players(held, first, frame.plain(), chance);
    let mut noise = Noise::seeded(chance.bits());
    let early = players.iter().fold(0.0_f64, |a, p| a.min(p.late));
    let late = players.iter().fold(0.0_f64, |a, p| a.max(p.late));
    let begin = frame.at(first.onset + early);
    let finish = frame.at(last.end + late + release) + 1;
    if finish <= stage.first() {
        return;
    }
    let vowels: Vec<u8> = chain
        .iter()
        .scan(0, |vowel, note| {
            if let Some(sung) = note.sung {
                *vowel = sung::vowel(&sung.syllable.text);
            }
            Some(*vowel)
        })
        .collect();
    let step = (frame.rate / CONTROL).round().max(1.0) as usize;
    let control = frame.rate / step as f64;
    let dt = 1.0 / control;
    let section = players.len() > 1;
    let plain = frame.plain();
    let (drift_sd, drift_tau) = (
        if plain {
            0.0
        } else if section {
            2.0
        } else {
            1.0
        },
        0.5,
    );
    let follow = 1.0 - math::exp(-dt / 0.006);
    let curve = &frame.chair.level;
    let colour = first.colour;
    let depth = if plain || colour == Some(Colour::NonVib) { 0.0 } else { held.vibrato.0 };
    let flutter = colour == Some(Colour::Flutter);
    let tinted = tint(colour, held.family).level;
    let breath = held.spectrum_centre();
    let mut noise_filter = Biquad::band_pass(breath, 0.5, frame.rate);
    let noise_gain = if plain { 0.0 } else { Decibels(held.noise).amplitude() * 3.0 };
    let mut noise_before = 0.0;
    let mut level = curve.at(Seconds(first.onset)) + first.offset;
    if !level.is_finite() {
        level = LOWEST;
    }
    let desks = stage.desks();
    let mut blocks = vec![vec![0.0_f32; step]; desks];
    let mut at = begin;
    while at < finish {
        let frames = step.min((finish - at) as usize);
        let time = (at + frames as i64) as f64 / frame.rate;
        let note_now = &chain[players[0].note];
        let wanted_level = curve.at(Seconds(time)) + note_now.offset;
        if wanted_level.is_finite() {
            level += follow * (wanted_level - level);
        }
        let layer = ((level - LOWEST) / STEP).clamp(0.0, LAYERS as f64 - 1.001);
        let base = layer.floor() as usize;
        let loud = frame.amplitude(held.forte, level + tinted, first.players)
            * if level < -100.0 { 0.0 } else { 1.0 };
        let trembling = if flutter { 1.0 + 0.5 * math::sin(TAU * 25.0 * (time - first.onset)) } else { 1.0 };
        blocks.iter_mut().for_each(|b| b[..frames].fill(0.0));
        let mut envelope_now = 0.0;
        for (number, player) in players.iter_mut().enumerate() {
            let block = &mut blocks[(usize::from(first.voice.max(1)) - 1 + number) % desks];
            let t = time - player.late;
            // Has it come to the next note?
            while player.note + 1 < chain.len()
                && t >= chain[player.note + 1].onset - 0.5 * chain[player.note + 1].glide
            {
                player.note += 1;
                let note = &chain[player.note];
                player.pass = note.glide.clamp(0.008, 0.3);
                let new_vowel = vowels[player.note] != vowels[player.note - 1];
                player.before = player.sounds.take();
                player.from_cents = player.now_cents;
                player.since = 0.0;
                player.mix = 0.0;
                if new_vowel && note.sung.is_some() {
                    player.pass = player.pass.max(0.05);
                }
            }
            let note = &chain[player.note];
            player.since += dt;
            // Pitch.
            let bend = if note.bend.is_empty() { 0.0 } else { math::polyline(&note.bend, t - note.onset) };
            let mut cents = note.cents + bend;
            let passed = player.since / player.pass;
            if passed < 1.0 {
                cents = math::lerp(player.from_cents, cents, smooth(passed));
            }
            player.now_cents = cents;
            player.drift += -player.drift * dt / drift_tau
                + drift_sd * math::sqrt(6.0 * dt / drift_tau) * chance.between(-1.0, 1.0);
            let wave = if depth > 0.0 {
                let grown = ((t - first.onset - VIBRATO.0) / (VIBRATO.1 - VIBRATO.0)).clamp(0.0, 1.0);
                player.vibrato_phase += TAU * player.vibrato_hertz * dt;
                if grown > 0.0 { depth * grown * math::sin(player.vibrato_phase) } else { 0.0 }
            } else {
                0.0
            };
            let hertz = frame.hertz(cents + player.cents + player.drift + wave);
            let increment = (hertz / frame.rate * 4_294_967_296.0).clamp(0.0, 2e9) as u32;
            // Level.
            let rise = smooth((t - first.onset) / attack);
            let fall = (1.0 - (t - last.end) / release).clamp(0.0, 1.0);
            let envelope = rise * if t > last.end { fall * fall } else { 1.0 };
            envelope_now = envelope;
            let amplitude = loud * player.gain * envelope * trembling;
            if player.amplitude == 0.0 {
                player.layer = layer;
            }
            // Periods. A long slide passes from key to key on its way.
            let key_now = key_of(cents);
            if player.before.is_none()
                && player.sounds.as_ref().is_some_and(|s| s.wanted.key.abs_diff(key_now) > 1)
            {
                player.before = player.sounds.take();
                (player.mix, player.pass) = (0.0, 0.02);
            }
            let target = match &player.sounds {
                Some(sounds) => sounds.wanted,
                None => Wanted { key: key_of(note.cents + bend), vowel: vowels[player.note], colour },
            };
            if player.sounds.as_ref().is_none_or(|s| s.base != base) {
                player.sounds = Some(sounding(periods, target, base));
            }
            if let Some(before) = &player.before
                && before.base != base
            {
                player.before = Some(sounding(periods, before.wanted, base));
            }
            let mix_before = player.mix;
            player.mix = if player.before.is_some() {
                (player.mix + dt / player.pass.max(0.008)).min(1.0)
            } else {
                1.0
            };
            let (a, b) = (player.amplitude, amplitude);
            let (la, lb) = (player.layer - base as f64, layer - base as f64);
            let line = |from: f64, to: f64| (from as f32, ((to - from) / frames as f64) as f32);
            if a > 0.0 || b > 0.0 {
                for (sounds, ma, mb) in [
                    (&player.sounds, mix_before, player.mix),
                    (&player.before, 1.0 - mix_before, 1.0 - player.mix),
                ] {
                    let Some(sounds) = sounds else { continue };
                    if ma <= 0.0 && mb <= 0.0 {
                        continue;
                    }
                    let low = line(a * ma * (1.0 - la), b * mb * (1.0 - lb));
                    let high = line(a * ma * la, b * mb * lb);
                    read(&mut block[..frames], sounds, player.phase, increment, low, high);
                }
            }
            player.phase = player.phase.wrapping_add(increment.wrapping_mul(frames as u32));
            (player.amplitude, player.layer) = (amplitude, layer);
            if player.mix >= 1.0 {
                player.before = None;
            }
        }
        // Breath or bow: most at the start.
        let since = time - first.onset;
        let burst = 1.0 + 4.0 * math::exp(-(since.max(0.0)) / 0.025);
        let noise_now = noise_gain * loud * envelope_now * burst;
        let (mut gain, slope) = (noise_before as f32, ((noise_now - noise_before) / frames as f64) as f32);
        let middle = &mut blocks[desks / 2];
        for x in &mut middle[..frames] {
            *x += gain * noise_filter.sample(noise.sample());
            gain += slope;
        }
        noise_before = noise_now;
        for (desk, block) in blocks.iter().enumerate() {
            stage.add(desk, at, &block[..frames]);
        }
        at += frames as i64;
    }
    if held.sings && !plain {
        consonants(frame, held, chain, &mut noise, stage);
    }
}

/// The key whose period a pitch has.
fn key_of(cents: f64) -> u8 {
    (cents / 100.0 + 69.5).floor().clamp(0.0, 127.0) as u8
}

/// Adds a period, read from a phase on, with two gains that change in straight lines.
fn read(
    block: &mut [f32],
    sounds: &Sounding,
    mut phase: u32,
    increment: u32,
    low: (f32, f32),
    high: (f32, f32),
) {
    const SHIFT: u32 = 32 - LENGTH.trailing_zeros();
    const FRACTION: f32 = 1.0 / (1u32 << SHIFT) as f32;
    let (mut g, mut h) = (low.0, high.0);
    let (Ok(lows), Ok(highs)) =
        (<&[f32; LENGTH + 1]>::try_from(&*sounds.low), <&[f32; LENGTH + 1]>::try_from(&*sounds.high))
    else {
        return;
    };
    for x in block {
        let i = (phase >> SHIFT) as usize;
        let f = (phase & ((1 << SHIFT) - 1)) as f32 * FRACTION;
        let a = lows[i] + f * (lows[i + 1] - lows[i]);
        let b = highs[i] + f * (highs[i + 1] - highs[i]);
        *x += g * a + h * b;
        g += low.1;
        h += high.1;
        phase = phase.wrapping_add(increment);
    }
}

/// Hisses of the consonants: before the onset, and from the coda on.
fn consonants(frame: &Frame<'_>, held: &Held, chain: &[Note<'_>], noise: &mut Noise, stage: &mut Stage) {
    for note in chain {
        let Some(sung) = note.sung else { continue };
        let (before, after) = sung::hiss(&sung.syllable.text);
        let spans = [(before, sung.consonant.0, note.onset), (after, sung.coda.0, note.end)];
        for (hertz, from, to) in spans {
            let Some(hertz) = hertz.filter(|_| to > from && to - from < 1.0) else { continue };
            let level = frame.chair.level.at(Seconds(to)).min(note.attack.max(-30.0));
            let gain = 0.35 * frame.amplitude(held.forte, level, note.players);
            let mut filter = Biquad::band_pass(hertz, 1.2, frame.rate);
            let start = frame.at(from);
            let frames = ((to - from) * frame.rate) as usize;
            let block: Vec<f32> = (0..frames)
                .map(|i| {
                    let x = i as f64 / frames as f64;
                    let shape = smooth(4.0 * x) * smooth(6.0 * (1.0 - x));
                    filter.sample(noise.sample()) * (gain * shape) as f32
                })
                .collect();
            stage.add(stage.desks() / 2, start, &block);
        }
    }
}

impl Held {
    /// Where its noise lies, hertz.
    fn spectrum_centre(&self) -> f64 {
        match &self.spectrum.source {
            crate::timbre::Source::Bumps(bumps) => bumps.last().map_or(2000.0, |b| 1.3 * b.hertz),
            crate::timbre::Source::Sung { .. } => 3000.0,
        }
        .clamp(300.0, 6000.0)
    }
}
