//! Breath and bow: a loop of noise for each desk, coloured once.

use ripieno_signal::periodic;
use ripieno_units::{Chance, math};
use std::f64::consts::TAU;
use std::rc::Rc;

/// Samples of a loop. It is entered anywhere, by chance.
const LENGTH: usize = 32_768;

/// Where the noise of an instrument lies.
#[derive(Clone, Copy, Debug)]
pub struct Band {
    /// dB re the tone at mf.
    pub level: f64,
    /// Hertz; it falls by 6 dB an octave below and by 9 above.
    pub low: f64,
    /// Hertz.
    pub high: f64,
    /// How much of it comes and goes with the tone's own waves, 0 to 1.
    pub sync: f64,
}

impl Band {
    /// Amplitude beside others at a frequency.
    pub fn at(&self, hertz: f64) -> f64 {
        let (low, high) = (hertz / self.low.max(1.0), hertz / self.high.max(1.0));
        // One pole below, one and a half above.
        let below = low / math::sqrt(1.0 + low * low);
        let above = 1.0 + high * high;
        below / math::sqrt(above * math::sqrt(above))
    }
}

/// The loops of a chair, one for each desk, of RMS 1.
pub struct Breath {
    loops: Vec<Rc<[f32]>>,
}

impl Breath {
    /// Of a chair with so many desks.
    pub fn new(band: Band, desks: usize, rate: f64, chance: &mut Chance) -> Self {
        let shape: Vec<f64> =
            (1..LENGTH / 2).map(|n| band.at(f64::from(n as u32) * rate / LENGTH as f64)).collect();
        let power: f64 = shape.iter().map(|a| a * a / 2.0).sum();
        let gain = 1.0 / math::sqrt(power.max(1e-300));
        let loops = (0..desks)
            .map(|_| {
                let partials: Vec<(f64, f64)> =
                    shape.iter().map(|a| (gain * a, TAU * chance.unit())).collect();
                periodic(LENGTH, &partials).into()
            })
            .collect();
        Self { loops }
    }

    /// Adds the noise of a desk from a place in its loop on, with a gain from one value to another; gives the next place.
    /// `sync` is 1 / amplitude of the tone that is in the block, times how much the noise follows it; 0 for not at all.
    pub fn add(
        &self,
        desk: usize,
        mut place: usize,
        block: &mut [f32],
        gain: (f64, f64),
        sync: f32,
    ) -> usize {
        let step = ((gain.1 - gain.0) / block.len().max(1) as f64) as f32;
        let mut gain = gain.0 as f32;
        let noise = &self.loops[desk % self.loops.len()];
        let mut rest = block;
        while !rest.is_empty() {
            place %= LENGTH;
            let count = rest.len().min(LENGTH - place);
            let (now, later) = rest.split_at_mut(count);
            for (i, (x, n)) in now.iter_mut().zip(&noise[place..place + count]).enumerate() {
                let follow = 1.0 + sync * *x;
                *x += (gain + step * i as f32) * n * follow;
            }
            gain += step * count as f32;
            place += count;
            rest = later;
        }
        place
    }
}
