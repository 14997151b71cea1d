//! Formulas of room acoustics.

use crate::bands::{OCTAVES, Octaves};
use ripieno_signal::SPEED_OF_SOUND;
use ripieno_units::{Decibels, Seconds, math};

/// 24 ln 10 / c, seconds a metre: 0.161.
const PER_METRE: f64 = 24.0 * std::f64::consts::LN_10 / SPEED_OF_SOUND;

/// Decay of the energy over one reverberation time, in nepers: 6 ln 10 = 13.8.
pub(crate) const DECAY: f64 = 6.0 * std::f64::consts::LN_10;

/// The air of a hall: 20 °C, 50 % relative humidity (common practice).
pub(crate) const CELSIUS: f64 = 20.0;
/// Relative humidity in percent.
pub(crate) const HUMIDITY: f64 = 50.0;

/// Reverberation time after Sabine: 0.161 V / (A + 4 m V), with the equivalent absorption area `absorbing` in square metres
/// and the energy that the air takes, `air`, in 1/m ([`air_energy`]).
pub fn sabine(volume: f64, absorbing: f64, air: f64) -> Seconds {
    Seconds(PER_METRE * volume / (absorbing + 4.0 * air * volume))
}

/// Reverberation time after Eyring: 0.161 V / (-S ln(1 - a) + 4 m V), with the mean absorption `mean` (0 to below 1) of the
/// `surface` in square metres and the energy that the air takes in 1/m.
pub fn eyring(volume: f64, surface: f64, mean: f64, air: f64) -> Seconds {
    let lost = -surface * math::ln(1.0 - mean.clamp(0.0, 0.999_999));
    Seconds(PER_METRE * volume / (lost + 4.0 * air * volume))
}

/// What the surfaces must take, -S ln(1 - a) in square metres, for a reverberation time; at least 1 m².
pub(crate) fn eyring_area(volume: f64, reverberation: Seconds, air: f64) -> f64 {
    (PER_METRE * volume / reverberation.0 - 4.0 * air * volume).max(1.0)
}

/// Absorption of a pure tone by air at 101.325 kPa, in dB a metre (ISO 9613-1:1993, equations 3 to 5 and B.2).
pub fn air_absorption(hertz: f64, celsius: f64, humidity_percent: f64) -> f64 {
    let (t0, triple) = (293.15, 273.16);
    let t = celsius + 273.15;
    let saturation = math::pow(10.0, -6.8346 * math::pow(triple / t, 1.261) + 4.6151);
    let h = humidity_percent * saturation;
    let oxygen = 24.0 + 4.04e4 * h * (0.02 + h) / (0.391 + h);
    let nitrogen = math::pow(t / t0, -0.5)
        * (9.0 + 280.0 * h * math::exp(-4.170 * (math::pow(t / t0, -1.0 / 3.0) - 1.0)));
    let f2 = hertz * hertz;
    8.686
        * f2
        * (1.84e-11 * math::sqrt(t / t0)
            + math::pow(t / t0, -2.5)
                * (0.01275 * math::exp(-2239.1 / t) / (oxygen + f2 / oxygen)
                    + 0.1068 * math::exp(-3352.0 / t) / (nitrogen + f2 / nitrogen)))
}

/// What the air takes of the energy a metre (`m` in Sabine's and Eyring's formulas), from dB a metre.
pub fn air_energy(decibels_a_metre: f64) -> f64 {
    decibels_a_metre * std::f64::consts::LN_10 / 10.0
}

/// Of the air of a hall, in dB a metre by octave band.
pub(crate) fn air() -> Octaves {
    OCTAVES.map(|hertz| air_absorption(hertz, CELSIUS, HUMIDITY))
}

/// What a hall does to a source at a distance: energies re the direct sound at 10 m (M. Barron and L.-J. Lee, Energy relations
/// in concert auditoriums I, 1988; from memory).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Barron {
    /// Direct sound.
    pub direct: f64,
    /// Reflections of the first 80 ms after the direct sound.
    pub early: f64,
    /// All later.
    pub late: f64,
}

/// Barron's revised theory for a distance in metres, a volume in cubic metres and a reverberation time.
pub fn barron(distance: f64, volume: f64, reverberation: Seconds) -> Barron {
    let t = reverberation.0;
    let field = 31_200.0 * t / volume * math::exp(-0.04 * distance / t);
    let late = math::exp(-1.11 / t);
    Barron { direct: 100.0 / (distance * distance), early: field * (1.0 - late), late: field * late }
}

impl Barron {
    /// Strength G: level re the direct sound at 10 m.
    pub fn strength(&self) -> Decibels {
        ratio(self.direct + self.early + self.late, 1.0)
    }

    /// C80: the first 80 ms against the rest.
    pub fn clarity(&self) -> Decibels {
        ratio(self.direct + self.early, self.late)
    }

    /// Direct against all that the room adds.
    pub fn direct_to_reverberant(&self) -> Decibels {
        ratio(self.direct, self.early + self.late)
    }
}

/// Ratio of two energies.
pub(crate) fn ratio(a: f64, b: f64) -> Decibels {
    Decibels(10.0 * math::log10((a / b.max(1e-300)).max(1e-30)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// F. A. Everest, Master Handbook of Acoustics, reverberation, examples 1 and 2: a room of 23.3 x 16 x 10 ft with a floor of
    /// 373 ft² concrete and 1159 ft² gypsum board; example 2 adds 340 ft² of tile. Eyring's column is reckoned from the same
    /// figures, not printed.
    #[test]
    fn worked_example_of_sabine_and_eyring() {
        let concrete: [f64; 6] = [0.01, 0.01, 0.015, 0.02, 0.02, 0.02];
        let gypsum = [0.29, 0.10, 0.05, 0.04, 0.07, 0.09];
        let tile = [0.09, 0.28, 0.78, 0.84, 0.73, 0.64];
        let first =
            [(0.54, 0.475), (1.53, 1.467), (2.87, 2.815), (3.39, 3.334), (2.06, 2.002), (1.63, 1.574)];
        let second =
            [(0.49, 0.443), (0.85, 0.801), (0.56, 0.505), (0.54, 0.488), (0.54, 0.492), (0.55, 0.504)];
        let sabins: [f64; 6] = [370.4, 214.8, 328.8, 339.5, 336.8, 329.4];
        // Square and cubic feet in metres; the book's 0.049 is 0.161 in feet.
        let (m2, m3) = (0.3048 * 0.3048, 0.3048 * 0.3048 * 0.3048);
        for i in 0..6 {
            let plain = 373.0 * concrete[i] + 1159.0 * gypsum[i];
            let tiled = plain + 340.0 * tile[i];
            assert!((tiled - sabins[i]).abs() < 0.15, "{i}: {tiled}");
            for (absorbing, surface, wanted) in [(plain, 1532.0, first[i]), (tiled, 1872.0, second[i])] {
                let by_sabine = sabine(3728.0 * m3, absorbing * m2, 0.0).0;
                let by_eyring = eyring(3728.0 * m3, surface * m2, absorbing / surface, 0.0).0;
                assert!((by_sabine - wanted.0).abs() < 0.0151, "{i}: {by_sabine} {wanted:?}");
                assert!((by_eyring / wanted.1 - 1.0).abs() < 0.01, "{i}: {by_eyring} {wanted:?}");
            }
        }
    }

    /// A hall of 30 x 20 x 12 m with absorption 0.2: 2.415 s and 2.165 s (reckoned by hand).
    #[test]
    fn a_plain_hall() {
        let (volume, surface) = (7200.0, 2.0 * (600.0 + 360.0 + 240.0));
        assert!((sabine(volume, 0.2 * surface, 0.0).0 - 2.415).abs() < 0.003);
        assert!((eyring(volume, surface, 0.2, 0.0).0 - 2.165).abs() < 0.003);
    }

    /// ISO 9613-1:1993, table 1, as given in the published dB/km at exact mid-bands; 10 °C 70 % as in ISO 9613-2, table 2.
    #[test]
    fn air_absorbs_as_the_standard_says() {
        let at_20_70 = [0.1, 0.3, 1.1, 2.8, 5.0, 9.0, 22.9, 76.6];
        let at_10_70 = [0.1, 0.4, 1.0, 1.9, 3.7, 9.7, 32.8, 117.0];
        for (i, (warm, cold)) in at_20_70.into_iter().zip(at_10_70).enumerate() {
            let hertz = 1000.0 * math::pow(10.0, 0.3 * (i as f64 - 4.0));
            let found =
                (1000.0 * air_absorption(hertz, 20.0, 70.0), 1000.0 * air_absorption(hertz, 10.0, 70.0));
            assert!((found.0 - warm).abs() < 0.051, "{hertz}: {found:?}");
            assert!((found.1 - cold).abs() < 0.06_f64.max(0.01 * cold), "{hertz}: {found:?}");
        }
        assert!((1000.0 * air_absorption(1000.0, 20.0, 50.0) - 4.66).abs() < 0.02);
        assert!((1000.0 * air_absorption(2000.0, 20.0, 50.0) - 9.86).abs() < 0.05);
    }

    /// Reckoned from the formulas: V = 20,000 m³, T = 2.0 s.
    #[test]
    fn barron_at_four_distances() {
        for (r, drr, c80, g) in [
            (5.0, 1.51, 5.07, 8.34),
            (10.0, -4.07, 1.53, 5.51),
            (20.0, -9.22, -0.22, 3.69),
            (30.0, -11.88, -0.68, 2.61),
        ] {
            let found = barron(r, 20_000.0, Seconds(2.0));
            assert!((found.direct_to_reverberant().0 - drr).abs() < 0.011, "{r} {found:?}");
            assert!((found.clarity().0 - c80).abs() < 0.011, "{r} {found:?}");
            assert!((found.strength().0 - g).abs() < 0.011, "{r} {found:?}");
        }
    }
}
