//! White noise.

/// White noise, evenly spread in -1 to 1 (its RMS is 1/sqrt 3). The generator is Marsaglia's xorshift of 32 bits
/// (G. Marsaglia, Xorshift RNGs, 2003): the same bits on every machine.
#[derive(Clone, Debug)]
pub struct Noise {
    state: u32,
}

impl Noise {
    /// The stream of a seed.
    pub fn seeded(seed: u64) -> Self {
        let folded = (seed ^ (seed >> 32)) as u32;
        Self { state: if folded == 0 { 0x9e37_79b9 } else { folded } }
    }

    /// The next sample.
    #[inline]
    pub fn sample(&mut self) -> f32 {
        self.state ^= self.state << 13;
        self.state ^= self.state >> 17;
        self.state ^= self.state << 5;
        // Exact: 24 bits fit a float's fraction.
        (self.state >> 8) as f32 * (2.0 / 16_777_216.0) - 1.0
    }
}
