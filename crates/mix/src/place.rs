//! A chair in its seat, and the sum of all.

use ripieno_signal::{Position, Stereo, pan};
use ripieno_units::Decibels;

/// How a chair is placed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlaceOptions {
    /// Samples a second.
    pub sample_rate: u32,
    /// Gain of the chair.
    pub gain: Decibels,
    /// Gain of its share of the hall, besides.
    pub hall: Decibels,
}

impl Default for PlaceOptions {
    fn default() -> Self {
        Self { sample_rate: 48_000, gain: Decibels(0.0), hall: Decibels(0.0) }
    }
}

/// A stem: the direct sound, which falls with the distance to the main microphones (1/r), comes late by it, and lies at the
/// angle of the seat with constant power; and the chair's share of the hall, as it is. As long as the longer of the two.
///
/// `dry` is as from one metre. There is no other gain in here: stems of one cue sum to its mix before the master.
pub fn place(dry: &[f32], hall: &Stereo, seat: Position, options: &PlaceOptions) -> Stereo {
    let gain = options.gain.amplitude() as f32;
    let wet = gain * options.hall.amplitude() as f32;
    let mut stem = hall.clone().scaled(wet);
    let frames = dry.len().max(stem.frames());
    stem.left.resize(frames, 0.0);
    stem.right.resize(frames, 0.0);
    let late = (seat.delay().0 * f64::from(options.sample_rate) + 0.5) as usize;
    let direct = gain / seat.distance() as f32;
    let (left, right) = pan(seat.side());
    for (channel, side) in [(&mut stem.left, left), (&mut stem.right, right)] {
        let gain = direct * side;
        for (y, x) in channel.iter_mut().skip(late).zip(dry) {
            *y += gain * x;
        }
    }
    stem
}

/// The sum of stems, in their order.
pub fn sum<'a>(stems: impl IntoIterator<Item = &'a Stereo>) -> Stereo {
    let mut all = Stereo::default();
    for stem in stems {
        all.add(stem);
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_signal::measure;

    #[test]
    fn twice_as_far_is_six_decibels_less_and_later() {
        let mut dry = vec![0.0; 4800];
        dry[0] = 1.0;
        let silent = Stereo::silence(4800);
        let at = |y: f64| {
            let seat = Position { x: 0.0, y: 0.4 + y, z: 3.2 };
            place(&dry, &silent, seat, &PlaceOptions::default())
        };
        let (near, far) = (at(5.0), at(10.0));
        let ratio = measure::peak(&near.left) / measure::peak(&far.left);
        assert!((ratio - 2.0).abs() < 1e-3, "{ratio}");
        let first = |s: &Stereo| s.left.iter().position(|x| *x != 0.0).unwrap();
        // 5 m at 343.2 m/s.
        assert!((first(&far) as f64 - first(&near) as f64 - 699.3).abs() <= 1.0);
        assert!((measure::peak(&near.left) - measure::peak(&near.right)).abs() < 1e-6);
    }

    #[test]
    fn stems_sum_to_the_mix() {
        // The mix worked out in one go with double precision, against the sum of stems.
        let seats = [(-3.6, 2.2), (1.0, 6.2), (6.2, 4.6), (0.0, 12.8)];
        let mut whole = [vec![0.0_f64; 10_000], vec![0.0_f64; 10_000]];
        let stems: Vec<Stereo> = seats
            .iter()
            .zip(1..)
            .map(|((x, y), seed)| {
                let mut noise = ripieno_signal::Noise::seeded(seed);
                let dry: Vec<f32> = (0..9000).map(|_| 0.1 * noise.sample()).collect();
                let mut hall = Stereo::silence(10_000);
                hall.left.iter_mut().chain(&mut hall.right).for_each(|x| *x = 0.01 * noise.sample());
                let stem = place(&dry, &hall, Position::seated(*x, *y), &PlaceOptions::default());
                for (whole, part) in whole.iter_mut().zip([&stem.left, &stem.right]) {
                    for (w, p) in whole.iter_mut().zip(part) {
                        *w += f64::from(*p);
                    }
                }
                stem
            })
            .collect();
        let mix = sum(&stems);
        let exact: Vec<f32> = whole[0].iter().map(|x| *x as f32).collect();
        assert!(measure::difference(&exact, &mix.left).0 < -120.0);
        assert_eq!(sum(&stems), mix);
    }
}
