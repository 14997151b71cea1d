//! One hall: early reflections that depend on where a source is, and a tail that all sources share.
//!
//! Takes a dry signal and a place, gives what the hall adds to the direct sound, in stereo, at the main microphones. It must
//! not know music or plans. Everything is linear: halls of single sources sum to the hall of all of them.
//!
//! * [`prepare`]: a [`Hall`] in metres and seconds to a [`Room`] for one sample rate.
//! * [`respond`]: the reflections and the tail of one source.

mod network;
mod reflections;

use network::Network;
use ripieno_signal::{Biquad, Position, Stereo};
use ripieno_units::{Seconds, math};

/// A hall. The stage is at one end of a box; the conductor stands on its middle line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hall {
    /// Reverberation time at middle frequencies, 0.2 to 12 s.
    pub reverberation: Seconds,
    /// Reverberation time at 4 kHz as a share of that, 0.1 to 1.
    pub treble: f64,
    /// Metres from side wall to side wall.
    pub width: f64,
    /// Metres from floor to ceiling.
    pub height: f64,
    /// Metres from the conductor to the wall behind the orchestra.
    pub upstage: f64,
    /// Metres from the conductor to the wall behind the audience.
    pub downstage: f64,
}

impl Default for Hall {
    /// A symphony hall of 19,000 m3, 2.0 s (preferred: 1.8 to 2.2 s; common practice).
    fn default() -> Self {
        Self {
            reverberation: Seconds(2.0),
            treble: 0.75,
            width: 24.0,
            height: 18.0,
            upstage: 16.0,
            downstage: 28.0,
        }
    }
}

impl Hall {
    /// Held within what can be built, and free of what is no number.
    fn sane(self) -> Self {
        let usual = Self::default();
        let held = |x: f64, low: f64, high: f64, usual: f64| {
            if x.is_finite() { x.clamp(low, high) } else { usual }
        };
        Self {
            reverberation: Seconds(held(self.reverberation.0, 0.2, 12.0, usual.reverberation.0)),
            treble: held(self.treble, 0.1, 1.0, usual.treble),
            width: held(self.width, 4.0, 100.0, usual.width),
            height: held(self.height, 3.0, 50.0, usual.height),
            upstage: held(self.upstage, 2.0, 50.0, usual.upstage),
            downstage: held(self.downstage, 2.0, 100.0, usual.downstage),
        }
    }

    fn volume(&self) -> f64 {
        self.width * self.height * (self.upstage + self.downstage)
    }
}

/// A hall made ready for one sample rate.
#[derive(Clone, Debug)]
pub struct Room {
    hall: Hall,
    sample_rate: f64,
    network: Network,
    /// Turns the energy of the network's response into 1.
    evenness: f64,
}

/// Makes a hall ready. Figures outside the ranges of [`Hall`] are held within them; sample rates below 8 kHz are read as 8 kHz.
pub fn prepare(hall: &Hall, sample_rate: u32) -> Room {
    let hall = hall.sane();
    let rate = f64::from(sample_rate.max(8000));
    let network = Network::new(hall.reverberation.0, hall.treble, rate);
    // The energy of the tail is set at middle frequencies: what the same low pass leaves of an impulse is the measure.
    let mut impulse = vec![0.0; (rate * (hall.reverberation.0 + 0.2)) as usize];
    impulse[0] = 1.0;
    let response = network.run(&impulse, 1.0);
    let energy = |signal: &[f32]| {
        let mut filter = Biquad::low_pass(2000.0_f64.min(0.2 * rate), 0.7, rate);
        signal.iter().map(|x| f64::from(filter.sample(*x))).map(|y| y * y).sum::<f64>()
    };
    let found = energy(&response.left) + energy(&response.right);
    let evenness = if found > 0.0 { math::sqrt(energy(&impulse) / found) } else { 0.0 };
    Room { hall, sample_rate: rate, network, evenness }
}

/// What the hall adds to the sound of a source at `position`: as long as `dry`, so leave silence after its end for the tail.
/// Levels are those of a source whose direct sound has amplitude 1 at one metre.
///
/// The tail has the energy 31200 T/V e^(-0.04 r/T) e^(-13.8 t/T) re the direct sound at 10 m, from the time t at which it
/// begins (M. Barron and L.-J. Lee, Energy relations in concert auditoriums, 1988, from memory); the early reflections are
/// first-order image sources (J. Allen and D. Berkley, Image method, 1979).
pub fn respond(room: &Room, position: Position, dry: &[f32]) -> Stereo {
    if dry.iter().all(|x| *x == 0.0) {
        return Stereo::silence(dry.len());
    }
    let t = room.hall.reverberation.0;
    let energy = 312.0 * t / room.hall.volume()
        * math::exp(-0.04 * position.distance() / t)
        * math::exp(-13.8 * network::FIRST / t);
    let gain = (math::sqrt(energy) * room.evenness) as f32;
    let mut out = room.network.run(dry, gain);
    reflections::add(&mut out, &room.hall, position, dry, room.sample_rate);
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use ripieno_signal::measure;

    fn impulse(seconds: f64, rate: u32) -> Vec<f32> {
        let mut samples = vec![0.0; (seconds * f64::from(rate)) as usize];
        samples[0] = 1.0;
        samples
    }

    /// ISO 3382-1: T30 by backward integration, in the octaves at 500 and 1000 Hz.
    #[test]
    fn it_reverberates_as_long_as_asked() {
        for (asked, rate) in [(1.2, 48_000), (2.0, 48_000), (2.0, 44_100), (3.5, 48_000), (2.0, 96_000)] {
            let hall = Hall { reverberation: Seconds(asked), ..Hall::default() };
            let response =
                respond(&prepare(&hall, rate), Position::seated(-1.0, 6.2), &impulse(asked * 1.5, rate));
            for centre in [500.0, 1000.0] {
                let mut band = Biquad::band_pass(centre, 1.414, rate.into());
                let octave: Vec<f32> = response.left.iter().map(|x| band.sample(*x)).collect();
                let found = measure::t30(&octave, rate.into()).map_or(0.0, |t| t.0);
                assert!((found / asked - 1.0).abs() < 0.1, "{asked} s, {rate} Hz, {centre} Hz: {found}");
            }
            let mut band = Biquad::band_pass(4000.0, 1.414, rate.into());
            let treble: Vec<f32> = response.left.iter().map(|x| band.sample(*x)).collect();
            let found = measure::t30(&treble, rate.into()).map_or(0.0, |t| t.0);
            assert!((found / asked / 0.75 - 1.0).abs() < 0.15, "{asked} s at 4 kHz: {found}");
        }
    }

    /// Barron and Lee: with V = 19,008 m3 and T = 2 s, reverberant against direct energy at 10 m is about +4 dB.
    #[test]
    fn it_is_as_loud_as_theory_says() {
        let seat = Position { x: 0.0, y: 9.9, z: 3.2 };
        assert!((seat.distance() - 9.5).abs() < 0.01);
        let response = respond(&prepare(&Hall::default(), 48_000), seat, &impulse(3.0, 48_000));
        let energy = |s: &[f32]| {
            let mut filter = Biquad::low_pass(2000.0, 0.7, 48_000.0);
            s.iter().map(|x| f64::from(filter.sample(*x))).map(|x| x * x).sum::<f64>()
        };
        let direct = energy(&impulse(0.1, 48_000)) / (9.5 * 9.5);
        let ratio = 10.0 * math::log10((energy(&response.left) + energy(&response.right)) / direct);
        let wanted = 10.0 * math::log10(31_200.0 * 2.0 / 19_008.0 * math::exp(-0.04 * 9.5 / 2.0) * 0.9025);
        assert!((ratio - wanted).abs() < 2.0, "{ratio} dB, theory {wanted} dB");
    }

    #[test]
    fn it_is_linear_deterministic_and_silent_in_silence() {
        let room = prepare(&Hall::default(), 48_000);
        let seat = Position::seated(2.0, 5.0);
        assert_eq!(respond(&room, seat, &[0.0; 1000]), Stereo::silence(1000));
        let mut noise = ripieno_signal::Noise::seeded(3);
        let dry: Vec<f32> = (0..20_000).map(|_| noise.sample()).collect();
        let once = respond(&room, seat, &dry);
        assert_eq!(once, respond(&room, seat, &dry));
        let double: Vec<f32> = dry.iter().map(|x| 2.0 * x).collect();
        assert_eq!(respond(&room, seat, &double), once.clone().scaled(2.0));
        assert!(once.left.iter().chain(&once.right).all(|x| x.is_finite()));
        // Left and right are of one level, and differ.
        let balance = measure::rms(&once.left) / measure::rms(&once.right);
        assert!((0.7..1.4).contains(&balance), "{balance}");
        assert!(measure::difference(&once.left, &once.right).0 > -6.0);
    }

    #[test]
    fn the_tail_is_in_time_after_a_long_silence() {
        // The network rests in silence; that must not change what comes after.
        let room = prepare(&Hall { reverberation: Seconds(0.3), ..Hall::default() }, 48_000);
        let seat = Position::seated(0.0, 5.0);
        let mut dry = vec![0.0; 240_000];
        dry[192_000] = 1.0;
        let late = respond(&room, seat, &dry);
        let early = respond(&room, seat, &dry[192_000..]);
        assert!(measure::difference(&early.left, &late.left[192_000..]).0 < -120.0);
    }

    #[test]
    fn nonsense_is_held_within_bounds() {
        let mad = Hall {
            reverberation: Seconds(f64::NAN),
            treble: -3.0,
            width: 0.0,
            height: f64::INFINITY,
            upstage: -1.0,
            downstage: 1e9,
        };
        let out = respond(&prepare(&mad, 0), Position { x: 1e9, y: -1e9, z: 0.0 }, &impulse(0.5, 8000));
        assert!(out.left.iter().all(|x| x.is_finite()));
    }
}
