//! One thing that rings (a bar, a drum, a string): its modes, its noise, and what is done to it in the course of time.

use crate::Frame;
use crate::bank::{Bank, Mode};
use crate::stage::Stage;
use ripieno_signal::{Biquad, Noise};
use ripieno_units::{Chance, Decibels, math};

/// The level of a stroke is its RMS over this time from its onset on, at the loudest place: the time constant F of sound level
/// meters (IEC 61672-1, from memory: 125 ms). So a wood block and a gong of one level read the same on a meter.
pub const METER: f64 = 0.125;

/// Where the loudest place of a stroke may lie, seconds after it.
const PLACES: [f64; 6] = [0.0, 0.06, 0.25, 0.6, 1.2, 2.0];

/// How much of what the strokes of a roll add up to is taken off each, as a power.
const ROLLED: f64 = 0.9;

/// Noise that is left so far below that of a new stroke is lost in it: -60 dB.
const UNHEARD: f64 = 1e-3;

/// Frames in a block.
const BLOCK: usize = 256;
/// Frames in a block while the pitch moves.
const MOVING: usize = 64;

/// A band of noise that a stroke makes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hiss {
    /// Centre in hertz.
    pub hertz: f64,
    /// Width.
    pub octaves: f64,
    /// RMS beside a mode of amplitude 1.
    pub level: f64,
    /// Seconds in which it falls by 60 dB.
    pub fall: f64,
    /// Seconds of the rise (time constant).
    pub rise: f64,
}

/// What strikes, and how its brightness grows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mallet {
    /// Hertz up to which a stroke at mf is bright.
    pub bright: f64,
    /// Octaves that this moves with 12 dB of level.
    pub grows: f64,
    /// dB an octave that is lost beyond.
    pub steep: f64,
    /// Seconds of the contact at mf.
    pub contact: f64,
}

impl Mallet {
    fn bright_at(&self, level: f64, harder: f64) -> f64 {
        self.bright * math::exp2(self.grows * level.clamp(-36.0, 18.0) / 12.0 + harder)
    }

    /// What is left at these hertz of a stroke that is bright up to `bright`.
    fn left(&self, hertz: f64, bright: f64) -> f64 {
        let x = hertz / bright;
        math::pow(1.0 + x * x, -self.steep / 12.04)
    }

    /// What is left at these hertz of a stroke at mf.
    pub fn usual(&self, hertz: f64) -> f64 {
        self.left(hertz, self.bright)
    }

    /// What is left at these hertz of the hardest stroke.
    pub fn most(&self, hertz: f64) -> f64 {
        self.left(hertz, self.bright_at(18.0, 1.0))
    }

    fn contact_at(&self, level: f64, harder: f64) -> f64 {
        (self.contact * math::exp2(-level.clamp(-36.0, 18.0) / 24.0 - 0.5 * harder)).clamp(0.0008, 0.010)
    }
}

/// A body as it is made.
#[derive(Clone, Debug, PartialEq)]
pub struct Make {
    /// Its modes; those above 0.45 of the sample rate are left out.
    pub modes: Vec<Mode>,
    /// Its noise.
    pub hisses: Vec<Hiss>,
    /// Whether noise is its tone, not something beside it: what has no pitch is heard with it in every manner.
    pub noisy: bool,
    /// What strikes it.
    pub mallet: Mallet,
    /// Cents that it begins too high at fff, and seconds (time constant) in which it comes down.
    pub sharp: (f64, f64),
}

/// How a stroke is shared among the modes and bands of a body.
pub struct Shares {
    /// Amplitude of each mode and RMS of each band at its start, before they are made even.
    modes: Vec<f64>,
    bands: Vec<f64>,
    /// Factor that gives the stroke its level.
    even: f64,
}

impl Make {
    /// Mean square over [`METER`] of each mode and band at 1, at each of the places.
    fn weights(&self) -> Vec<[f64; PLACES.len()]> {
        let modes = self.modes.iter().map(|m| PLACES.map(|p| weight(m.fall, m.rise, p)));
        modes.chain(self.hisses.iter().map(|h| PLACES.map(|p| 2.0 * weight(h.fall, h.rise, p)))).collect()
    }

    /// Seconds of the fall and mean square of a wave of amplitude (RMS) 1, of each mode and band.
    fn falls(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        self.modes.iter().map(|m| (m.fall, 0.5)).chain(self.hisses.iter().map(|h| (h.fall, 1.0)))
    }

    /// Shares of a stroke of so much RMS that is so many octaves harder than usual.
    fn shares(&self, weights: &[[f64; PLACES.len()]], blow: &Blow, rms: f64, harder: f64) -> Shares {
        let mallet = self.mallet;
        let bright = mallet.bright_at(blow.level, harder);
        let hiss = Decibels(blow.hiss).amplitude();
        let modes: Vec<f64> = self.modes.iter().map(|m| m.amplitude * mallet.left(m.hertz, bright)).collect();
        let bands: Vec<f64> =
            self.hisses.iter().map(|h| hiss * h.level * mallet.left(h.hertz, bright)).collect();
        let mut power = [0.0_f64; PLACES.len()];
        let mut rolled = 0.0;
        for ((gain, weights), (fall, square)) in modes.iter().chain(&bands).zip(weights).zip(self.falls()) {
            for (power, weight) in power.iter_mut().zip(weights) {
                *power += gain * gain * weight;
            }
            if let Some(every) = blow.every {
                rolled += gain * gain * square * steady(fall, every, blow.keeps);
            }
        }
        let alone = power.iter().copied().fold(1e-30, f64::max);
        // A player begins a roll somewhat louder than it needs, and then lets the body do the work.
        let share = if rolled > alone { ROLLED } else { 0.0 };
        let even = rms / math::sqrt(alone * math::pow(rolled.max(1e-30) / alone, share));
        Shares { modes, bands, even }
    }

    /// Mean square of each mode, and then of each band, while a stroke is loudest over [`METER`]; in a roll, while it goes on.
    /// A stroke may fall apart into several, given by their seconds and powers.
    pub fn powers(&self, blow: &Blow, strokes: &[(f64, f64)]) -> Vec<f64> {
        let shares = self.shares(&self.weights(), blow, blow.rms, blow.harder);
        let even = shares.even * shares.even;
        let start: Vec<f64> = shares.modes.iter().chain(&shares.bands).map(|g| g * g * even).collect();
        if let Some(every) = blow.every {
            let falls = start.iter().zip(self.falls());
            return falls.map(|(p, (fall, square))| p * square * steady(fall, every, blow.keeps)).collect();
        }
        let rings = self.modes.iter().map(|m| (m.fall, m.rise, 1.0));
        let rings: Vec<_> = rings.chain(self.hisses.iter().map(|h| (h.fall, h.rise, 2.0))).collect();
        let at = |place: f64| -> Vec<f64> {
            let over = |(fall, rise, square): (f64, f64, f64)| {
                let each = strokes.iter().map(|(t, power)| power * weight(fall, rise, place - t));
                square * each.sum::<f64>()
            };
            start.iter().zip(&rings).map(|(p, ring)| p * over(*ring)).collect()
        };
        let last = strokes.iter().fold(0.0_f64, |a, s| a.max(s.0));
        let between = (1..).map(|i| 0.06 * f64::from(i)).take_while(|t| *t < last.min(10.0));
        let places = PLACES.into_iter().chain(between).chain([last]);
        let whole = |powers: &Vec<f64>| powers.iter().sum::<f64>();
        places.map(at).max_by(|a, b| whole(a).total_cmp(&whole(b))).unwrap_or_default()
    }
}

/// What is done to a body.
#[derive(Clone, Debug, PartialEq)]
pub enum Act {
    /// A stroke.
    Strike(Blow),
    /// A hand or a felt is laid on: it falls by 60 dB in so many seconds.
    Damp(f64),
}

/// A stroke.
#[derive(Clone, Debug, PartialEq)]
pub struct Blow {
    /// RMS that it is to have over [`METER`].
    pub rms: f64,
    /// Level in dB re mf: how bright it is.
    pub level: f64,
    /// Octaves that it is harder than usual.
    pub harder: f64,
    /// Share of what still rings that it leaves.
    pub keeps: f64,
    /// Seconds to the next stroke of a roll: its strokes add up to the level that is asked.
    pub every: Option<f64>,
    /// Noise beside what is usual, dB.
    pub hiss: f64,
    /// Second at which its bend begins; seconds after it and cents.
    pub bend: Option<(f64, Vec<(f64, f64)>)>,
    /// Of all that is left to chance in it: its own, so that it sounds the same whatever was struck before.
    pub seed: u64,
}

/// A band of noise as it sounds.
struct Band {
    noise: Noise,
    filter: Biquad,
    /// The filter at rest.
    still: Biquad,
    /// Turns what the filter gives to RMS 1.
    even: f32,
    /// Falls, and how much it is behind while it rises.
    level: f32,
    behind: f32,
    keep: f32,
    catch: f32,
}

impl Band {
    fn new(make: Hiss, rate: f64) -> Self {
        let q = 1.0 / (math::exp2(0.5 * make.octaves) - math::exp2(-0.5 * make.octaves)).max(0.05);
        let filter = Biquad::band_pass(make.hertz, q, rate);
        // White noise of RMS 1/sqrt 3 through a band pass: its power is the share of the spectrum that the filter leaves.
        let steps = 2000;
        let power: f64 = (0..steps)
            .map(|i| filter.gain(0.5 * rate * (f64::from(i) + 0.5) / f64::from(steps), rate))
            .map(|g| g * g / 3.0 / f64::from(steps))
            .sum();
        Self {
            noise: Noise::seeded(0),
            still: filter,
            filter,
            even: (1.0 / math::sqrt(power.max(1e-12))) as f32,
            level: 0.0,
            behind: 0.0,
            keep: math::pow(10.0, -3.0 / (make.fall.max(0.002) * rate)) as f32,
            catch: math::exp(-1.0 / (make.rise.max(0.0003) * rate)) as f32,
        }
    }

    fn add(&mut self, rms: f64, seed: u64) {
        self.noise = Noise::seeded(seed);
        // What is left of an earlier stroke is not to be heard through this one: a stroke sounds as it does alone.
        if f64::from(self.level) < UNHEARD * rms {
            self.filter = self.still;
        }
        let both = math::sqrt(rms * rms + f64::from(self.level) * f64::from(self.level)) as f32;
        self.behind += both - self.level;
        self.level = both;
    }

    fn run(&mut self, block: &mut [f32]) {
        for x in block {
            *x += (self.level - self.behind) * self.even * self.filter.sample(self.noise.sample());
            self.level *= self.keep;
            self.behind *= self.keep * self.catch;
        }
        if self.level < 1e-5 {
            (self.level, self.behind) = (0.0, 0.0);
        }
    }
}

/// A body and what is still to be done to it.
pub struct Body {
    rate: f64,
    desk: usize,
    plain: bool,
    make: Make,
    bank: Bank,
    /// Modes that swell: the bank holds a twin of each behind all modes, which cancels it at first and falls faster.
    twins: Vec<usize>,
    bands: Vec<Band>,
    /// Mean square over [`METER`] of each mode and band at 1, at each of the places.
    weights: Vec<[f64; PLACES.len()]>,
    acts: Vec<(i64, Act)>,
    next: usize,
    at: i64,
    /// A hand that is laid on: what is left, and what is left of that a sample later.
    hand: Option<(f32, f32)>,
    /// Bend of the note that sounds.
    bend: Option<(f64, Vec<(f64, f64)>)>,
    /// Cents that a hard stroke is too high, now.
    sharp: f64,
}

/// Mean square over [`METER`] from `from` on of a sine of amplitude 1 that rises with the time constant `rise` and falls. Before
/// its start (`from` below zero) it is silent.
fn weight(fall: f64, rise: f64, from: f64) -> f64 {
    // The envelope is e^-at - e^-bt.
    let a = 6.907_755 / fall.max(0.002);
    let mean = |k: f64| {
        let whole = math::exp(-k * from.max(0.0)) - math::exp(-k * (from + METER).max(0.0));
        whole / (k * METER)
    };
    if rise <= 0.0 {
        return 0.5 * mean(2.0 * a);
    }
    let b = a + 1.0 / rise;
    0.5 * (mean(2.0 * a) - 2.0 * mean(a + b) + mean(2.0 * b)).max(0.0)
}

/// Mean square of an endless roll of strokes of amplitude 1, one every so many seconds, each of which leaves the share `keeps` of
/// what rings: the sum of a geometric series.
fn steady(fall: f64, every: f64, keeps: f64) -> f64 {
    let k = 2.0 * 6.907_755 / fall.max(0.002);
    let left = math::exp(-k * every);
    (1.0 - left) / (k * every) / (1.0 - keeps * keeps * left).max(1e-3)
}

impl Body {
    /// A body at rest. `acts` are in order of their frames.
    pub fn new(frame: &Frame<'_>, desk: usize, mut make: Make, acts: Vec<(i64, Act)>) -> Option<Self> {
        let at = acts.first()?.0;
        let rate = frame.rate;
        make.modes.retain(|m| m.hertz > 1.0 && m.hertz < 0.45 * rate);
        make.hisses.retain(|h| h.hertz < 0.45 * rate);
        let twins: Vec<usize> = (0..make.modes.len()).filter(|i| make.modes[*i].rise > 0.0).collect();
        let mut modes = make.modes.clone();
        for i in &twins {
            let mode = make.modes[*i];
            let fall = 6.907_755 / (6.907_755 / mode.fall.max(0.002) + 1.0 / mode.rise);
            modes.push(Mode { fall, ..mode });
        }
        let bands: Vec<Band> = make.hisses.iter().map(|h| Band::new(*h, rate)).collect();
        let weights = make.weights();
        Some(Self {
            rate,
            desk,
            plain: frame.plain(),
            make,
            bank: Bank::new(modes, rate),
            twins,
            bands,
            weights,
            acts,
            next: 0,
            at,
            hand: None,
            bend: None,
            sharp: 0.0,
        })
    }

    /// Adds all that sounds before a frame.
    pub fn run(&mut self, until: i64, stage: &mut Stage) {
        let mut block = [0.0_f32; BLOCK];
        // All bodies stop at the same frame, so that what they add is summed in the same order whatever is asked at once.
        let grid = BLOCK as i64;
        let until = until.div_euclid(grid) * grid + grid;
        while self.at < until {
            while let Some((_, act)) = self.acts.get(self.next).filter(|a| a.0 <= self.at) {
                match act.clone() {
                    Act::Strike(blow) => self.strike(blow),
                    Act::Damp(seconds) => {
                        let left = self.hand.map_or(1.0, |h| h.0);
                        self.hand =
                            Some((left, math::pow(10.0, -3.0 / (seconds.max(0.01) * self.rate)) as f32));
                    }
                }
                self.next += 1;
            }
            let ahead = self.acts.get(self.next).map(|a| a.0);
            let quiet = self.bank.is_silent() && self.bands.iter().all(|b| b.level == 0.0);
            if quiet || self.hand.is_some_and(|h| h.0 < 3e-5) {
                self.bank.clear();
                self.bands.iter_mut().for_each(|b| (b.level, b.behind) = (0.0, 0.0));
                let Some(ahead) = ahead else { break };
                self.at = ahead;
                continue;
            }
            let moves = self.bend.is_some() || self.sharp != 0.0;
            let most = if moves { MOVING as i64 } else { grid };
            let edge = self.at.div_euclid(most) * most + most;
            let frames = (ahead.map_or(edge, |a| a.min(edge)) - self.at).max(1) as usize;
            let block = &mut block[..frames];
            block.fill(0.0);
            if moves {
                self.tune(frames);
            }
            self.bank.run(block);
            for band in self.bands.iter_mut().filter(|b| b.level > 0.0) {
                band.run(block);
            }
            if let Some((left, keep)) = &mut self.hand {
                for x in block.iter_mut() {
                    *x *= *left;
                    *left *= *keep;
                }
            }
            stage.add(self.desk, self.at, block);
            self.at += frames as i64;
        }
    }

    /// Bends the pitch for the next frames.
    fn tune(&mut self, frames: usize) {
        let mut cents = self.sharp;
        if let Some((from, points)) = &self.bend {
            let now = self.at as f64 / self.rate - from;
            cents += math::polyline(points, now);
            if points.last().is_none_or(|p| now > p.0) && cents == 0.0 {
                self.bend = None;
            }
        }
        self.bank.bend(math::exp2(cents / 1200.0));
        self.sharp *= math::exp(-(frames as f64) / (self.make.sharp.1.max(0.005) * self.rate));
        if self.sharp.abs() < 0.3 {
            self.sharp = 0.0;
        }
    }

    fn strike(&mut self, blow: Blow) {
        // A hand that lay on it is taken off; what it left goes on.
        if let Some((left, _)) = self.hand.take() {
            self.bank.scale(left);
            self.bands.iter_mut().for_each(|b| (b.level, b.behind) = (b.level * left, b.behind * left));
        }
        let mut harder = blow.harder;
        let mut rms = blow.rms;
        let mut chance = Chance::named(blow.seed, &["stroke"]);
        if !self.plain {
            harder += chance.normal(0.08).clamp(-0.2, 0.2);
            rms *= Decibels(chance.normal(0.5).clamp(-1.2, 1.2)).amplitude();
        }
        let Shares { modes: mut gains, bands: noises, even } =
            self.make.shares(&self.weights, &blow, rms, harder);
        for gain in &mut gains {
            // No two strokes fall on the same spot.
            let spot = if self.plain { 1.0 } else { 1.0 + 0.15 * chance.between(-1.0, 1.0) };
            *gain *= even * spot;
        }
        let twins: Vec<f64> = self.twins.iter().map(|i| -gains[*i]).collect();
        gains.extend(twins);
        self.sharp = self.make.sharp.0 * math::exp2((blow.level - 18.0).clamp(-60.0, 0.0) / 6.0);
        self.bend = blow.bend;
        if self.bend.is_none() && self.sharp == 0.0 {
            self.bank.bend(1.0);
        }
        let contact = self.make.mallet.contact_at(blow.level, harder);
        self.bank.strike(contact, blow.keeps, &gains);
        if !self.plain || self.make.noisy {
            for (band, gain) in self.bands.iter_mut().zip(&noises) {
                band.add(gain * even, chance.bits());
            }
        }
    }
}
