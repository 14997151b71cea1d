//! Modes that ring side by side: exponentially falling sines, thirty-two samples at a time.
//!
//! A mode is a number in the complex plane that turns. Its next thirty-two samples are that number times a table of turns, so that
//! the lanes of the machine lie along time and each mode costs four sums and products a sample, with no rounding that grows.

use ripieno_units::math;
use std::f64::consts::TAU;

/// Samples in a step.
pub const STEP: usize = 32;

/// A mode below this amplitude is silent: 110 dB below full scale.
const SILENT: f32 = 3e-6;

/// So is one that has fallen 66 dB below the loudest of its bank, where its neighbours cover it.
const COVERED: f32 = 5e-4;

/// One mode as it is made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mode {
    /// Hertz.
    pub hertz: f64,
    /// Amplitude of a stroke that is bright without end, with its sign.
    pub amplitude: f64,
    /// Seconds in which it falls by 60 dB.
    pub fall: f64,
    /// Seconds (time constant) in which it swells after the stroke; 0: with the contact.
    pub rise: f64,
}

/// Turns of a mode: what it gives in each sample of a step.
#[derive(Clone)]
struct Turns {
    re: [f32; STEP],
    im: [f32; STEP],
    /// Over one whole step.
    step: (f32, f32),
}

impl Turns {
    fn new(hertz: f64, fall: f64, rate: f64) -> Self {
        let r = math::pow(10.0, -3.0 / (fall.max(0.002) * rate));
        let w = TAU * hertz / rate;
        let turn = (r * math::cos(w), r * math::sin(w));
        let mut turns = Self { re: [0.0; STEP], im: [0.0; STEP], step: (0.0, 0.0) };
        let mut z = (1.0, 0.0);
        for i in 0..STEP {
            (turns.re[i], turns.im[i]) = (z.0 as f32, z.1 as f32);
            z = (z.0 * turn.0 - z.1 * turn.1, z.0 * turn.1 + z.1 * turn.0);
        }
        turns.step = (z.0 as f32, z.1 as f32);
        turns
    }

    /// Over so many samples, fewer than a step.
    fn over(&self, samples: usize) -> (f32, f32) {
        if samples >= STEP { self.step } else { (self.re[samples], self.im[samples]) }
    }
}

/// A stroke whose contact is not over: its modes swell until they are at their height.
struct Fresh {
    /// Of every mode of the bank.
    state: Vec<(f32, f32)>,
    /// Samples that have been played and that it lasts.
    at: usize,
    length: usize,
}

impl Fresh {
    /// How much of it sounds at a sample: half a cosine.
    fn share(&self, sample: usize) -> f32 {
        let x = (self.at + sample) as f32 / self.length as f32;
        if x >= 1.0 {
            return 1.0;
        }
        // 3 x^2 - 2 x^3: no kink at either end.
        x * x * (3.0 - 2.0 * x)
    }
}

/// Modes that ring side by side.
pub struct Bank {
    modes: Vec<Mode>,
    rate: f64,
    turns: Vec<Turns>,
    state: Vec<(f32, f32)>,
    /// Where each mode stands in `turns` and `state`: those that sound come first.
    place: Vec<usize>,
    /// Which mode stands there.
    holds: Vec<usize>,
    sounding: usize,
    fresh: Vec<Fresh>,
    /// How far its modes stand from where they were made, as a factor.
    bent: f64,
}

fn turned(z: (f32, f32), w: (f32, f32)) -> (f32, f32) {
    (z.0 * w.0 - z.1 * w.1, z.0 * w.1 + z.1 * w.0)
}

impl Bank {
    /// A bank at rest.
    pub fn new(modes: Vec<Mode>, rate: f64) -> Self {
        let turns = modes.iter().map(|m| Turns::new(m.hertz, m.fall, rate)).collect();
        let count = modes.len();
        Self {
            modes,
            rate,
            turns,
            state: vec![(0.0, 0.0); count],
            place: (0..count).collect(),
            holds: (0..count).collect(),
            sounding: 0,
            fresh: Vec::new(),
            bent: 1.0,
        }
    }

    /// A stroke: the amplitude that it adds to each mode, over a contact of so many seconds. It leaves the share `keeps` of what
    /// still rings.
    pub fn strike(&mut self, contact: f64, keeps: f64, amplitudes: &[f64]) {
        let length = (contact * self.rate) as usize;
        // What is taken away swells like what is added: nothing steps.
        let taken = keeps as f32 - 1.0;
        let mut state = vec![(0.0, 0.0); self.modes.len()];
        for (new, z) in state.iter_mut().zip(&self.state[..self.sounding]) {
            *new = (taken * z.0, taken * z.1);
        }
        self.fresh.push(Fresh { state, at: 0, length: length.max(4) });
        let last = self.fresh.len() - 1;
        for (i, amplitude) in amplitudes.iter().enumerate().take(self.modes.len()) {
            let new = *amplitude as f32;
            let place = self.place[i];
            if new.abs() > SILENT {
                self.fresh[last].state[place].0 += new;
                if place >= self.sounding {
                    self.swap(place, self.sounding);
                    self.sounding += 1;
                }
            }
        }
    }

    fn swap(&mut self, a: usize, b: usize) {
        if a == b {
            return;
        }
        self.turns.swap(a, b);
        self.state.swap(a, b);
        for fresh in &mut self.fresh {
            fresh.state.swap(a, b);
        }
        self.holds.swap(a, b);
        self.place[self.holds[a]] = a;
        self.place[self.holds[b]] = b;
    }

    /// Makes everything that sounds this much quieter at once.
    pub fn scale(&mut self, gain: f32) {
        let all = self.fresh.iter_mut().flat_map(|f| &mut f.state).chain(&mut self.state);
        for z in all {
            *z = (z.0 * gain, z.1 * gain);
        }
    }

    /// Whether nothing sounds.
    pub fn is_silent(&self) -> bool {
        self.sounding == 0 && self.fresh.is_empty()
    }

    /// Falls silent at once.
    pub fn clear(&mut self) {
        self.state.fill((0.0, 0.0));
        self.fresh.clear();
        self.sounding = 0;
    }

    /// Moves all modes by a factor of their pitch from where they were made.
    pub fn bend(&mut self, factor: f64) {
        if (factor / self.bent - 1.0).abs() < 5e-6 {
            return;
        }
        self.bent = factor;
        for place in 0..self.turns.len() {
            let mode = &self.modes[self.holds[place]];
            // What a bend carries too high falls away within a few samples.
            let hertz = mode.hertz * factor;
            let fall = if hertz < 0.45 * self.rate { mode.fall } else { 0.002 };
            self.turns[place] = Turns::new(hertz.min(0.49 * self.rate), fall, self.rate);
        }
    }

    /// Adds the next samples.
    pub fn run(&mut self, block: &mut [f32]) {
        let sounding = self.sounding;
        let turns = &self.turns[..sounding];
        for step in block.chunks_mut(STEP) {
            ring(turns, &mut self.state[..sounding], step);
            for fresh in &mut self.fresh {
                let mut own = [0.0_f32; STEP];
                ring(turns, &mut fresh.state[..sounding], &mut own[..step.len()]);
                for (i, (y, x)) in step.iter_mut().zip(&own).enumerate() {
                    *y += x * fresh.share(i);
                }
                fresh.at += step.len();
            }
            // A contact that is over joins what rings.
            self.fresh.retain(|fresh| {
                let over = fresh.at >= fresh.length;
                if over {
                    for (z, new) in self.state[..sounding].iter_mut().zip(&fresh.state) {
                        *z = (z.0 + new.0, z.1 + new.1);
                    }
                }
                !over
            });
        }
        if self.fresh.is_empty() {
            self.rest();
        }
    }

    /// Leaves out what has died away.
    fn rest(&mut self) {
        let power = |z: &(f32, f32)| z.0 * z.0 + z.1 * z.1;
        let loudest = self.state[..self.sounding].iter().map(power).fold(0.0, f32::max);
        let least = (SILENT * SILENT).max(COVERED * COVERED * loudest);
        let mut place = 0;
        while place < self.sounding {
            if power(&self.state[place]) < least {
                self.state[place] = (0.0, 0.0);
                self.sounding -= 1;
                self.swap(place, self.sounding);
            } else {
                place += 1;
            }
        }
    }
}

/// Adds at most one step of these modes.
#[inline]
fn ring(turns: &[Turns], state: &mut [(f32, f32)], step: &mut [f32]) {
    let mut sum = [0.0_f32; STEP];
    let whole = step.len() >= STEP;
    for (turns, z) in turns.iter().zip(state) {
        let (re, im) = *z;
        for ((y, a), b) in sum.iter_mut().zip(&turns.re).zip(&turns.im) {
            *y += re * b + im * a;
        }
        *z = turned(*z, if whole { turns.step } else { turns.over(step.len()) });
    }
    for (y, x) in step.iter_mut().zip(&sum) {
        *y += x;
    }
}
