//! A room from an impulse response that somebody has recorded.

use crate::acoustics::DECAY;
use crate::bands::{self, OCTAVES};
use crate::hall::Hall;
use crate::measure;
use crate::microphones::{Balance, Ears, MIDDLE, time_zero};
use crate::room::Room;
use crate::windows::Windows;
use ripieno_signal::{SPEED_OF_SOUND, Stereo};
use ripieno_units::{Seconds, math};
use std::f64::consts::FRAC_PI_2;
use std::fmt;

/// Shorter is no room.
const SHORTEST: f64 = 0.05;

/// From the onset on, what is taken for the recording's direct sound (common practice, no source).
const DIRECT: f64 = 0.0025;

/// Distance at which the recording's own proportion of direct sound to reverberation is kept, metres.
const DISTANCE: f64 = 8.0;

/// Why an impulse response is not used.
#[derive(Clone, Debug, PartialEq)]
pub enum ImpulseError {
    /// Nothing in it.
    Silent,
    /// Too short to be a room: its length from the onset on.
    Short(Seconds),
    /// A sample is no number.
    NotFinite {
        /// The first of them, counted from 0.
        sample: usize,
    },
}

impl fmt::Display for ImpulseError {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            Self::Silent => {
                write!(f, "the impulse response is silent; export it again from where it was made")
            }
            Self::Short(length) => write!(
                f,
                "the impulse response lasts {:.0} ms from its onset on; give one of a room, of at least {:.0} ms",
                length.millis(),
                1000.0 * SHORTEST
            ),
            Self::NotFinite { sample } => write!(
                f,
                "sample {sample} of the impulse response is not a number; export it again from where it was made"
            ),
        }
    }
}

impl std::error::Error for ImpulseError {}

/// A room from an impulse response at the sample rate it is to be used at.
///
/// Its onset is found; octave by octave it is followed down to its noise floor and made to die away from there as it did before;
/// its direct sound is taken out, because each seat has its own. Its level is such that a source at 8 m has the proportion of
/// direct sound to reverberation that the recording has.
pub fn from_impulse(response: &Stereo, sample_rate: u32) -> Result<Room, ImpulseError> {
    let rate = f64::from(sample_rate.clamp(8000, 384_000));
    let channels = [&response.left, &response.right];
    let bad = channels.iter().filter_map(|c| c.iter().position(|x| !x.is_finite())).min();
    if let Some(sample) = bad {
        return Err(ImpulseError::NotFinite { sample });
    }
    let onset = channels.iter().filter_map(|c| measure::onset(c)).min().ok_or(ImpulseError::Silent)?;
    let frames = channels.iter().map(|c| c.len()).max().unwrap_or(0) - onset;
    if (frames as f64) < SHORTEST * rate {
        return Err(ImpulseError::Short(Seconds(frames as f64 / rate)));
    }
    let from_onset = channels.map(|c| {
        let mut part = c.get(onset..).unwrap_or_default().to_vec();
        part.resize(frames, 0.0);
        part
    });
    let [left, right] = without_floor(from_onset, rate);
    let mut tail = Stereo { left, right };

    // The direct sound's energy, and the rest.
    let direct = ((DIRECT * rate) as usize).max(1);
    let fade = ((0.001 * rate) as usize).max(1);
    let whole = energy(&tail);
    for channel in [&mut tail.left, &mut tail.right] {
        for (i, x) in channel.iter_mut().enumerate().take(direct + fade) {
            let s = math::sin(FRAC_PI_2 * i.saturating_sub(direct) as f64 / fade as f64);
            *x *= (s * s) as f32;
        }
    }
    let rest = energy(&tail);
    if rest <= 0.0 {
        return Err(ImpulseError::Short(Seconds(direct as f64 / rate)));
    }
    // One without direct sound, or with hardly anything else, is held to what a seat can hear.
    let ratio = ((whole - rest) / rest).clamp(0.03, 30.0);
    let wanted = 1.0 / (DISTANCE * DISTANCE) / ratio;
    let scale = math::sqrt(wanted / rest);

    // The onset stands where the direct sound of a source at 8 m does.
    let delay = ((DISTANCE / SPEED_OF_SOUND - time_zero()) * rate + 0.5) as usize;
    for channel in [&mut tail.left, &mut tail.right] {
        channel.splice(0..0, std::iter::repeat_n(0.0, delay));
    }
    let hall = Hall { id: "impulse".to_string(), name: "Impulse response".to_string(), ..Hall::default() };
    let usual = Ears::new(&Balance::default(), |p| p, MIDDLE).diffuse();
    let mut room = Room::measured(hall, rate, tail, scale / math::sqrt(usual));
    // What it lasts stands with the hall, as far as it can be measured.
    for (i, band) in room.measures().iter().enumerate() {
        room.hall.wanted[i] = band.t30.or(band.t20).or(band.edt).map_or(room.hall.wanted[i], |t| t.0);
    }
    Ok(room)
}

fn energy(s: &Stereo) -> f64 {
    s.left.iter().chain(&s.right).map(|x| f64::from(*x) * f64::from(*x)).sum()
}

/// Both channels with their noise floor gone.
fn without_floor(channels: [Vec<f32>; 2], rate: f64) -> [Vec<f32>; 2] {
    let floors = measure::floors(&channels, rate);
    if floors.iter().all(Option::is_none) {
        return channels;
    }
    let windows = Windows::new(rate);
    let hertz = windows.hertz();
    let mut out = windows.change([&channels[0], &channels[1]], |time, spectra| {
        // Nepers that an octave has lost since its knee.
        let lost: [f64; OCTAVES.len()] = std::array::from_fn(|b| {
            floors[b].map_or(0.0, |f| 0.5 * DECAY * (time - f.knee).max(0.0) / f.reverberation.max(0.01))
        });
        if lost.iter().all(|l| *l == 0.0) {
            return;
        }
        for (k, f) in hertz.iter().enumerate() {
            let gain = math::exp(-bands::between(&lost, *f)) as f32;
            spectra.iter_mut().for_each(|s| s[k] *= gain);
        }
    });
    // Its end, where it would still be heard, is faded.
    let fade = ((0.02 * rate) as usize).max(1);
    for channel in &mut out {
        for (i, x) in channel.iter_mut().rev().enumerate().take(fade) {
            *x *= i as f32 / fade as f32;
        }
    }
    out
}
