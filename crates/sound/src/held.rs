//! Voices that hold their notes: a period of their spectrum, read at the pitch, between efforts, and from note to note.

use crate::Frame;
use crate::breath::Breath;
use crate::envelope::{Envelope, smooth};
use crate::model::{Held, Kind};
use crate::notes::{Note, chains};
use crate::periods::Periods;
use crate::player::{Moment, draw, set};
use crate::speech::{self, Spoken};
use crate::stage::Stage;
use crate::timbre::tint;
use ripieno_music::{Colour, named};
use ripieno_units::{Chance, Decibels, Seconds, math};

/// How often pitch and level are worked out, times a second; straight lines between.
const CONTROL: f64 = 500.0;

/// A change of the chair's level is followed in two stages of so many seconds each, and looked for so much ahead: without a corner
/// that would click, and in time.
const FOLLOW: f64 = 0.0065;
const AHEAD: f64 = 0.010;

/// A change of colour inside a slur takes this long, seconds (common practice, no source).
const RECOLOUR: f64 = 0.060;

/// The held notes of a chair, chain by chain.
pub struct Runner<'a> {
    frame: Frame<'a>,
    held: Held,
    chains: Vec<Vec<Note<'a>>>,
    next: usize,
    periods: Periods,
    breath: Option<Breath>,
}

/// Plays these notes.
pub fn runner<'a>(frame: Frame<'a>, mut held: Held, notes: Vec<Note<'a>>) -> Runner<'a> {
    let name = frame.chair.chair.as_str();
    let seed = frame.options.seed;
    held.spectrum.ripple = crate::timbre::ripple(held.ripple, &mut Chance::named(seed, &[name, "body"]));
    let phases = Chance::named(seed, &[name, "partials"]);
    let periods = Periods::new(held.spectrum.clone(), held.family, frame.rate, frame.options.tuning, phases);
    Runner { frame, held, chains: chains(notes), next: 0, periods, breath: None }
}

impl crate::Runner for Runner<'_> {
    fn run(&mut self, until: i64, stage: &mut Stage) {
        while let Some(chain) = self.chains.get(self.next) {
            let first = &chain[0];
            if self.frame.at(first.onset) > until {
                break;
            }
            let seed = self.frame.options.seed;
            let name = self.frame.chair.chair.as_str();
            let place = format!("{:.4}/{}/{}", first.onset, first.key, first.voice);
            let mut chance = Chance::named(seed, &[name, "voice", &place]);
            let (held, frame) = (&self.held, &self.frame);
            let breath = self.breath.get_or_insert_with(|| {
                Breath::new(
                    held.noise,
                    stage.desks(),
                    frame.rate,
                    &mut Chance::named(seed, &[name, "breath"]),
                )
            });
            play(frame, held, chain, &mut self.periods, breath, &mut chance, stage);
            self.next += 1;
        }
    }
}

/// Loudness by mark: the performance's dB re mf as the instrument's own. The spectrum follows the mark, the level this.
pub fn own_level(held: &Held, level: f64) -> f64 {
    // pp, f and ff of the performance, 4.5 dB apart from mark to mark.
    const MARKS: [f64; 3] = [-13.5, 4.5, 9.0];
    let (pp, ff) = (held.range.0 + crate::FORTE, held.range.1 + crate::FORTE);
    if level < MARKS[0] {
        // Softer than pp it goes down to nothing, faster.
        pp + 1.3 * (level - MARKS[0])
    } else {
        math::polyline(&[(MARKS[0], pp), (MARKS[1], crate::FORTE), (MARKS[2], ff)], level)
            + 0.7 * (level - MARKS[2]).max(0.0)
    }
}

/// dB of breath or bow re the tone: relatively more when soft.
pub fn breath_level(held: &Held, colour: f64, level: f64) -> f64 {
    held.noise.level + colour - 0.2 * level.clamp(-25.0, 15.0)
}

/// The dip of a join: dB, and seconds on both sides.
fn dip(held: &Held, note: &Note<'_>) -> (f64, f64) {
    match held.kind {
        // The bow turns.
        _ if note.articulation == named::TREMOLO => (-9.0, 0.022),
        Kind::Strings => (-1.0, 0.02),
        Kind::Sung => (0.0, 0.03),
        Kind::Brass => (-2.0, 0.02),
        Kind::Wind => (-2.0, 0.012),
    }
}

fn play(
    frame: &Frame<'_>,
    held: &Held,
    chain: &[Note<'_>],
    periods: &mut Periods,
    breath: &Breath,
    chance: &mut Chance,
    stage: &mut Stage,
) {
    let (first, last) = (&chain[0], &chain[chain.len() - 1]);
    let (spoken, hisses) = if held.kind == Kind::Sung { speech::along(chain) } else { Default::default() };
    let curve = &frame.chair.level;
    let level_at =
        |time: f64, note: &Note<'_>| Some(curve.at(Seconds(time)) + note.offset).filter(|l| l.is_finite());
    let mut level = level_at(first.onset, first).unwrap_or(-60.0);
    let mut nears = level;
    let extra = if first.offset == 0.0 { (first.attack - level).clamp(-4.0, 12.0) } else { 0.0 };
    let envelope = Envelope::new(held, first, last, extra);
    // A voiced consonant sounds before the note.
    let voiced = spoken.iter().find(|s| s.gain > 0.0).map_or(first.onset, |s| s.at.min(first.onset));
    let mut players = draw(held, first, stage.desks(), frame.plain(), chance);
    let early = players.iter().fold(0.0_f64, |a, p| a.min(p.late));
    let late = players.iter().fold(0.0_f64, |a, p| a.max(p.late));
    let begin = frame.at(voiced + early);
    let finish = frame.at(last.end + late + envelope.release) + 1;
    if finish <= stage.first() {
        return;
    }
    let shape_of = |i: usize| spoken.get(i).map_or(0, |s: &Spoken| s.shape);
    let first_shape = spoken.iter().position(|s| s.at >= voiced - 1e-9).unwrap_or(0);
    for player in &mut players {
        player.spoken = first_shape;
        player.voiced = spoken.get(first_shape).map_or(1.0, |s| s.gain);
        let first_set = periods.set(set(shape_of(first_shape), first));
        player.change(first_set, 0.0);
        player.tinted = tint(first.colour, held.family).level;
    }
    let tints: Vec<_> = chain.iter().map(|n| tint(n.colour, held.family)).collect();
    let step = (frame.rate / CONTROL).round().max(1.0) as usize;
    let dt = step as f64 / frame.rate;
    let follow = 1.0 - math::exp(-dt / FOLLOW);
    let recolour = 1.0 - math::exp(-dt / (0.4 * RECOLOUR));
    let desks = stage.desks();
    let mut places: Vec<usize> = (0..desks).map(|_| chance.below(1 << 15)).collect();
    let mut noises = vec![0.0; desks];
    let mut noise_colour = tints[0].noise;
    let mut blocks = vec![vec![0.0_f32; step]; desks];
    let used: Vec<bool> = (0..desks).map(|d| players.iter().any(|p| p.desk == d)).collect();
    let share = 1.0 / math::sqrt(used.iter().filter(|u| **u).count().max(1) as f64);
    let solo = players.len() == 1;
    let mut at = begin;
    while at < finish {
        let frames = step.min((finish - at) as usize);
        let time = (at + frames as i64) as f64 / frame.rate;
        if let Some(wanted) = level_at(time + AHEAD, &chain[players[0].note]) {
            nears += follow * (wanted - nears);
        }
        level += follow * (nears - level);
        let loud = frame.amplitude(held.forte, own_level(held, level), first.players)
            * if level < -100.0 { 0.0 } else { 1.0 };
        for block in &mut blocks {
            block[..frames].fill(0.0);
        }
        let mut sounding = [0.0_f64; 1];
        let mut leading = 0.0;
        for (number, player) in players.iter_mut().enumerate() {
            let t = time - player.late;
            while let Some(next) = chain.get(player.note + 1) {
                if t < next.onset - 0.5 * next.glide {
                    break;
                }
                player.note += 1;
                player.turn(next.glide.clamp(0.008, 0.4));
                let set = periods.set(set(shape_of(player.spoken), next));
                player.change(set, RECOLOUR);
            }
            let note = &chain[player.note];
            while let Some(next) = spoken.get(player.spoken + 1) {
                if t < next.at {
                    break;
                }
                player.spoken += 1;
                let set = periods.set(set(next.shape, note));
                player.change(set, next.pass);
            }
            if let Some(now) = spoken.get(player.spoken) {
                player.voiced +=
                    (now.gain - player.voiced) * (1.0 - math::exp(-dt / (0.4 * now.pass).max(0.004)));
            }
            player.tinted += recolour * (tints[player.note].level - player.tinted);
            let bend = if note.bend.is_empty() { 0.0 } else { math::polyline(&note.bend, t - note.onset) };
            let since = t - voiced;
            let (rise, fall) = (envelope.rise(since), envelope.fall(t - last.end));
            let mut db = envelope.start(t - first.onset) + player.tinted;
            if player.since < 0.5 {
                let (depth, width) = dip(held, note);
                let away = (player.since - 0.5 * player.glide) / width;
                db += depth * (1.0 - smooth(away.abs()));
            }
            let shape = rise * fall * player.voiced;
            let moment = Moment {
                dt,
                since,
                cents: note.cents + bend,
                amplitude: loud * shape * math::exp(db * 0.115_129_254_649_702),
                effort: level + 0.7 * (db - player.tinted)
                    - if fall < 1.0 { 6.0 * (1.0 - fall) } else { 0.0 },
                vibrato: if note.colour == Some(Colour::NonVib) { 0.0 } else { 1.0 },
                flutter: if note.colour == Some(Colour::Flutter) { 1.0 } else { 0.0 },
            };
            let tuned = (frame.options.tuning, frame.rate);
            let block = &mut blocks[player.desk][..frames];
            player.sound(held, &moment, tuned, periods, chance, block);
            if number == 0 {
                sounding[0] = shape;
                leading = since;
            }
        }
        if !frame.plain() {
            let note = &chain[players[0].note];
            noise_colour += recolour * (tints[players[0].note].noise - noise_colour);
            // Most at the start, a little where bows turn.
            let mut burst = 1.0 + (envelope.burst - 1.0) * math::exp(-leading.max(0.0) / 0.022);
            if note.articulation == named::TREMOLO {
                burst += 2.0 * math::exp(-players[0].since / 0.02);
            }
            let soft = Decibels(breath_level(held, noise_colour, level)).amplitude();
            let rise = smooth(2.0 * leading / envelope.attack);
            let now = soft * loud * burst * share * sounding[0].max(0.0).min(rise.max(sounding[0]));
            let tone = loud * sounding[0];
            let sync = if solo && tone > 0.0 { (held.noise.sync * 0.7 / tone) as f32 } else { 0.0 };
            for (desk, block) in blocks.iter_mut().enumerate().filter(|(d, _)| used[*d]) {
                let gain = (noises[desk], now);
                places[desk] = breath.add(desk, places[desk], &mut block[..frames], gain, sync);
                noises[desk] = now;
            }
        }
        for (desk, block) in blocks.iter().enumerate().filter(|(d, _)| used[*d]) {
            stage.add(desk, at, &block[..frames]);
        }
        at += frames as i64;
    }
    if !frame.plain() && !hisses.is_empty() {
        speech::hiss(frame, held.forte, chain, &hisses, stage);
    }
}
