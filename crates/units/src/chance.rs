//! Seeded chance, drawn by name.

use crate::math;

/// A stream of random numbers that depends on nothing but a seed and a list of names.
///
/// The generator is SplitMix64 (Steele, Lea, Flood 2014); the names are folded in by FNV-1a. Streams of different
/// names are independent, so that a chair added to a cue leaves every other chair as it was.
#[derive(Clone, Debug)]
pub struct Chance {
    state: u64,
}

impl Chance {
    /// The stream of `seed` and `names`, say `["horn-1", "B", "onset"]`.
    pub fn named(seed: u64, names: &[&str]) -> Self {
        let mut hash = 0xcbf2_9ce4_8422_2325_u64 ^ seed.wrapping_mul(0x9e37_79b9_7f4a_7c15);
        for name in names {
            for byte in name.bytes().chain([0xff]) {
                hash = (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
            }
        }
        let mut chance = Self { state: hash };
        chance.bits();
        chance
    }

    /// 64 random bits.
    pub fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Evenly in 0 (included) to 1 (not included).
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Evenly in `low` to `high`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// A whole number in `0..n`; zero if `n` is zero.
    pub fn below(&mut self, n: usize) -> usize {
        if n == 0 { 0 } else { (self.bits() % n as u64) as usize }
    }

    /// Normally distributed with the standard deviation `sd`, mean 0 (Box and Muller 1958).
    pub fn normal(&mut self, sd: f64) -> f64 {
        let (u, v) = (1.0 - self.unit(), self.unit());
        sd * math::sqrt(-2.0 * math::ln(u)) * math::cos(std::f64::consts::TAU * v)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_make_the_stream() {
        let draw = |names: &[&str]| Chance::named(7, names).bits();
        assert_eq!(draw(&["a", "b"]), draw(&["a", "b"]));
        assert_ne!(draw(&["a", "b"]), draw(&["ab"]));
        assert_ne!(Chance::named(8, &["a"]).bits(), draw(&["a"]));
    }

    #[test]
    fn normal_has_its_deviation() {
        let mut chance = Chance::named(1, &["test"]);
        let draws: Vec<f64> = (0..20_000).map(|_| chance.normal(3.0)).collect();
        let mean = draws.iter().sum::<f64>() / draws.len() as f64;
        let variance = draws.iter().map(|d| (d - mean) * (d - mean)).sum::<f64>() / draws.len() as f64;
        assert!(mean.abs() < 0.1, "{mean}");
        assert!((math::sqrt(variance) - 3.0).abs() < 0.1, "{variance}");
    }
}
