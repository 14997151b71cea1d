//! Periods of held notes as tables, and how they are read.
//!
//! A node is the period at one pitch (every semitone, halfway between the keys) with its four layers of effort side by side.
//! A player reads two nodes at once, weighted by pitch and effort: partials pass through the body as the pitch moves, and the
//! spectrum follows the level without steps. All nodes of a chair have the same phases, so that one passes into the other
//! without a dip.

use crate::timbre::{Spectrum, Tint, tint};
use ripieno_music::Colour;
use ripieno_signal::periodic;
use ripieno_units::{Chance, math, quick};
use std::f64::consts::TAU;
use std::rc::Rc;

/// Efforts at which a spectrum is worked out, dB re mf.
pub const LAYERS: [f64; 4] = [-24.0, -11.0, 1.0, 13.0];

/// Four layers.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[repr(align(16))]
pub struct Quad(pub [f32; 4]);

impl Quad {
    /// Weights of the layers at an effort.
    pub fn weights(effort: f64) -> [f64; 4] {
        let i = LAYERS.partition_point(|l| *l <= effort).clamp(1, LAYERS.len() - 1);
        let x = ((effort - LAYERS[i - 1]) / (LAYERS[i] - LAYERS[i - 1])).clamp(0.0, 1.0);
        let mut weights = [0.0; 4];
        (weights[i - 1], weights[i]) = (1.0 - x, x);
        weights
    }
}

/// What a period is made for, apart from its pitch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Set {
    /// Number of the vowel.
    pub vowel: u8,
    /// Colour.
    pub colour: Option<Colour>,
}

/// Nothing above this is heard, hertz.
const HEARD: f64 = 18_000.0;

/// Pitches of nodes: MIDI keys 0 to 127 and half a key around.
const NODES: usize = 129;

/// Lengths of a period: short ones serve high keys. Interpolation in straight lines leaves an image of partial n at (n / length)²
/// of its amplitude, so lengths are fifty times the highest partial where they may: -68 dB of a partial that is itself weak.
const LENGTHS: [usize; 3] = [1024, 2048, 4096];

/// Hertz of a node.
pub fn hertz(tuning: f64, node: usize) -> f64 {
    tuning * math::exp2((node as f64 - 69.5) / 12.0)
}

/// Highest partial at a sample rate: a semitone of room for vibrato and bends.
pub fn top(rate: f64) -> f64 {
    (0.45 * rate / 1.06).min(HEARD)
}

/// Amplitudes of the partials of one period, layer by layer, each layer of RMS 1 or nearly. The last half-octave fades.
pub fn layers(spectrum: &Spectrum, tint: &Tint, pitch: f64, top: f64, vowel: u8) -> Vec<[f64; 4]> {
    let mut partials: Vec<[f64; 4]> = Vec::new();
    let mut powers = [[0.0_f64; 2]; 4];
    for n in 1..=LENGTHS[2] as i32 / 2 {
        let hertz = pitch * f64::from(n);
        if n > 1 && hertz > top {
            break;
        }
        let fade = if n > 1 { (2.0 * math::log2(top / hertz)).min(1.0) } else { 1.0 };
        let (db, rough) = spectrum.at(n, hertz, pitch, vowel);
        let tinted = tint.at(n, hertz);
        let mut all = [0.0; 4];
        for ((layer, power), effort) in all.iter_mut().zip(&mut powers).zip(LAYERS) {
            let db = db + tinted + spectrum.effort(n, hertz, effort);
            let even = fade * quick::ratio(db.clamp(-200.0, 100.0) / 2.0);
            *layer = even * quick::ratio(rough.clamp(-60.0, 60.0) / 2.0);
            power[0] += even * even / 2.0;
            power[1] += *layer * *layer / 2.0;
        }
        partials.push(all);
    }
    for (i, power) in powers.iter().enumerate() {
        // A note on a strong place of the body is a little louder than its neighbours: half of what the body does stays.
        let gain = math::pow((power[0] * power[1]).max(1e-300), -0.25);
        partials.iter_mut().for_each(|p| p[i] *= gain);
    }
    partials
}

struct Nodes {
    set: Set,
    tint: Tint,
    made: Vec<[Option<Rc<[Quad]>>; 3]>,
}

/// Periods of one chair, made when they are first wanted.
pub struct Periods {
    spectrum: Spectrum,
    family: &'static str,
    rate: f64,
    tuning: f64,
    phases: Vec<f64>,
    sets: Vec<Nodes>,
}

impl Periods {
    /// For a chair.
    pub fn new(spectrum: Spectrum, family: &'static str, rate: f64, tuning: f64, mut chance: Chance) -> Self {
        let phases = (0..LENGTHS[2] / 2).map(|_| TAU * chance.unit()).collect();
        Self { spectrum, family, rate, tuning, phases, sets: Vec::new() }
    }

    /// The number of a set.
    pub fn set(&mut self, set: Set) -> usize {
        if let Some(i) = self.sets.iter().position(|s| s.set == set) {
            return i;
        }
        let made = (0..NODES).map(|_| [None, None, None]).collect();
        self.sets.push(Nodes { set, tint: tint(set.colour, self.family), made });
        self.sets.len() - 1
    }

    /// The two nodes between which a pitch lies, as the number of the lower one, and how far it is from that to the other.
    pub fn place(cents: f64) -> (usize, f64) {
        let x = (cents / 100.0 + 69.5).clamp(0.0, (NODES - 2) as f64 + 0.999);
        let j = math::floor(x);
        (j as usize, x - j)
    }

    /// Two neighbouring nodes of one length.
    pub fn pair(&mut self, set: usize, lower: usize) -> [Rc<[Quad]>; 2] {
        let partials = self.top() / self.hertz(lower);
        let length = LENGTHS.iter().position(|l| *l as f64 >= 50.0 * partials).unwrap_or(2);
        [self.node(set, lower, length), self.node(set, lower + 1, length)]
    }

    fn hertz(&self, node: usize) -> f64 {
        hertz(self.tuning, node)
    }

    fn top(&self) -> f64 {
        top(self.rate)
    }

    fn node(&mut self, set: usize, node: usize, length: usize) -> Rc<[Quad]> {
        if let Some(made) = &self.sets[set].made[node][length] {
            return Rc::clone(made);
        }
        let made = self.make(&self.sets[set], node, LENGTHS[length]);
        self.sets[set].made[node][length] = Some(Rc::clone(&made));
        made
    }

    /// One period of all layers, with the first sample again at the end.
    fn make(&self, nodes: &Nodes, node: usize, length: usize) -> Rc<[Quad]> {
        let even = layers(&self.spectrum, &nodes.tint, self.hertz(node), self.top(), nodes.set.vowel);
        let partials = |i: usize| even.iter().zip(&self.phases).map(move |(a, phase)| (a[i], *phase));
        let mut made = vec![Quad::default(); length + 1];
        for i in 0..LAYERS.len() {
            let layer: Vec<(f64, f64)> = partials(i).collect();
            let period = periodic(length, &layer);
            for (quad, x) in made.iter_mut().zip(period.iter().chain(&period[..1])) {
                quad.0[i] = *x;
            }
        }
        made.into()
    }
}

/// Weights that change in straight lines.
#[derive(Clone, Copy, Debug, Default)]
pub struct Ramp {
    from: [Quad; 2],
    step: [Quad; 2],
}

/// Weights of two nodes.
pub type Weights = [[f64; 4]; 2];

impl Ramp {
    /// Over so many frames.
    pub fn new(from: &Weights, to: &Weights, frames: usize) -> Self {
        let mut ramp = Self::default();
        for k in 0..2 {
            for l in 0..4 {
                ramp.from[k].0[l] = from[k][l] as f32;
                ramp.step[k].0[l] = ((to[k][l] - from[k][l]) / frames.max(1) as f64) as f32;
            }
        }
        ramp
    }
}

/// A phase of 32 bits and its steps.
#[derive(Clone, Copy, Debug)]
pub struct Turning {
    /// Where it is.
    pub phase: u32,
    /// Step at the start.
    pub step: f64,
    /// How much the step grows from sample to sample.
    pub growth: f64,
}

impl Turning {
    /// Where it is after so many frames.
    pub fn after(&self, frames: usize) -> u32 {
        let n = frames as u32;
        let (step, growth) = self.whole();
        self.phase
            .wrapping_add(step.wrapping_mul(n))
            .wrapping_add(growth.wrapping_mul(n.wrapping_mul(n.wrapping_sub(1)) / 2))
    }

    fn whole(&self) -> (u32, u32) {
        (self.step.clamp(0.0, 2e9) as u32, self.growth.clamp(-1e7, 1e7) as i32 as u32)
    }
}

/// Adds what two nodes give.
pub fn read(block: &mut [f32], pair: &[Rc<[Quad]>; 2], turning: Turning, ramp: &Ramp) {
    match pair[0].len() {
        1025 => read_at::<1025>(block, pair, turning, ramp),
        2049 => read_at::<2049>(block, pair, turning, ramp),
        _ => read_at::<4097>(block, pair, turning, ramp),
    }
}

fn read_at<const N: usize>(block: &mut [f32], pair: &[Rc<[Quad]>; 2], turning: Turning, ramp: &Ramp) {
    let shift = 32 - (N - 1).trailing_zeros();
    let fraction = 1.0 / (1u32 << shift) as f32;
    let (Ok(low), Ok(high)) = (<&[Quad; N]>::try_from(&*pair[0]), <&[Quad; N]>::try_from(&*pair[1])) else {
        return;
    };
    let [mut g, mut h] = ramp.from;
    let [dg, dh] = ramp.step;
    let mut phase = turning.phase;
    let (mut step, growth) = turning.whole();
    for x in block {
        let i = (phase >> shift) as usize;
        let f = (phase & ((1 << shift) - 1)) as f32 * fraction;
        let (a, b, c, d) = (&low[i].0, &low[i + 1].0, &high[i].0, &high[i + 1].0);
        let mut sum = [0.0_f32; 4];
        for l in 0..4 {
            let p = a[l] + f * (b[l] - a[l]);
            let q = c[l] + f * (d[l] - c[l]);
            sum[l] = g.0[l] * p + h.0[l] * q;
            g.0[l] += dg.0[l];
            h.0[l] += dh.0[l];
        }
        *x += (sum[0] + sum[2]) + (sum[1] + sum[3]);
        phase = phase.wrapping_add(step);
        step = step.wrapping_add(growth);
    }
}
