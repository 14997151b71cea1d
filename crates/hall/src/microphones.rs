//! The microphones, and how they are balanced.

use crate::load;
use ripieno_signal::{Position, SPEED_OF_SOUND, pan};
use ripieno_units::{Decibels, math};
use std::sync::OnceLock;

/// One microphone: takes pressure alone, from everywhere alike.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Microphone {
    /// Where it hangs.
    pub position: Position,
    /// Within its array.
    pub gain: Decibels,
    /// In the stereo: -1 left, 0 both equally, 1 right.
    pub side: f64,
}

/// Microphones that share a fader.
#[derive(Clone, Debug, PartialEq)]
pub struct Array {
    /// `tree`, `near`, `wide` or `far`.
    pub name: String,
    /// Its usual fader.
    pub level: Decibels,
    /// Its microphones.
    pub microphones: Vec<Microphone>,
}

/// Tree, near pair, wide pair and far pair, in this order.
pub fn arrays() -> &'static [Array] {
    static ARRAYS: OnceLock<Vec<Array>> = OnceLock::new();
    ARRAYS.get_or_init(|| load::arrays().unwrap_or_default())
}

/// Faders of the arrays. Only their proportions matter: the direct sound of a source in the middle of the stage stays as loud
/// as at the tree alone. Negative infinity is off; where all are off, the tree is on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Balance {
    /// The three-microphone tree.
    pub tree: Decibels,
    /// The pair near the orchestra.
    pub near: Decibels,
    /// The wide pair (outriggers).
    pub wide: Decibels,
    /// The pair far in the hall.
    pub far: Decibels,
    /// A microphone of the chair's own, 1 m from it; at 0 dB as loud as the tree's direct sound from the middle of the stage.
    pub spot: Decibels,
}

/// Off.
pub const OFF: Decibels = Decibels(f64::NEG_INFINITY);

impl Default for Balance {
    fn default() -> Self {
        let level = |i: usize| arrays().get(i).map_or(OFF, |a| a.level);
        Self { tree: level(0), near: level(1), wide: level(2), far: level(3), spot: OFF }
    }
}

/// A place in the middle of the stage, where level is measured.
pub const MIDDLE: Position = Position { x: 0.0, y: 6.2, z: 1.5 };

/// A microphone with its weight as amplitude and its gains to left and right.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Ear {
    pub position: Position,
    /// Its gain to left and right.
    pub gains: [f64; 2],
}

/// All that is heard with a balance.
#[derive(Clone, Debug)]
pub(crate) struct Ears {
    pub ears: Vec<Ear>,
    /// Amplitude of the spot microphone at 1 m.
    pub spot: f64,
}

/// Distance in metres.
pub(crate) fn distance(a: Position, b: Position) -> f64 {
    let (x, y, z) = (a.x - b.x, a.y - b.y, a.z - b.z);
    math::sqrt(x * x + y * y + z * z)
}

/// The middle of the tree.
pub(crate) fn tree() -> Position {
    ripieno_signal::MICROPHONES
}

/// How long sound needs from the conductor's head to the tree: the moment that is time zero for a source that sounds at 0.
pub(crate) fn time_zero() -> f64 {
    distance(Position { x: 0.0, y: 0.0, z: 1.2 }, tree()) / SPEED_OF_SOUND
}

fn amplitude(fader: Decibels) -> f64 {
    if fader.0.is_nan() {
        0.0
    } else {
        Decibels(fader.0.clamp(-120.0, 40.0)).amplitude() * f64::from(fader.0 > -119.0)
    }
}

impl Ears {
    /// With every microphone put where `place` says (a small room holds them closer).
    pub fn new(balance: &Balance, place: impl Fn(Position) -> Position, middle: Position) -> Self {
        let mut faders = [balance.tree, balance.near, balance.wide, balance.far].map(amplitude);
        let mut spot = amplitude(balance.spot);
        if faders.iter().all(|f| *f == 0.0) && spot == 0.0 {
            faders[0] = 1.0;
        }
        let mut ears = Vec::new();
        for (array, fader) in arrays().iter().zip(faders).filter(|(_, f)| *f > 0.0) {
            for microphone in &array.microphones {
                let (left, right) = pan(microphone.side);
                let gain = fader * microphone.gain.amplitude();
                ears.push(Ear {
                    position: place(microphone.position),
                    gains: [gain * f64::from(left), gain * f64::from(right)],
                });
            }
        }
        // Energies add up: the arrivals lie apart in time.
        let reference = distance(middle, place(tree()));
        spot /= reference;
        let heard: f64 = ears
            .iter()
            .map(|e| {
                (e.gains[0] * e.gains[0] + e.gains[1] * e.gains[1]) / distance(middle, e.position).powi(2)
            })
            .sum();
        let scale = 1.0 / (reference * math::sqrt(heard + spot * spot));
        ears.iter_mut().for_each(|e| e.gains = e.gains.map(|g| g * scale));
        Self { ears, spot: spot * scale }
    }

    /// Energy of a field that is alike everywhere, re its energy at one microphone.
    pub fn diffuse(&self) -> f64 {
        self.ears.iter().map(|e| e.gains[0] * e.gains[0] + e.gains[1] * e.gains[1]).sum::<f64>()
            + self.spot * self.spot
    }

    /// Coherence of left and right in a diffuse field at a frequency: sin(kd)/(kd) between microphones d apart (R. K. Cook et
    /// al., Measurement of correlation coefficients in reverberant sound fields, 1955; from memory).
    pub fn coherence(&self, hertz: f64) -> f64 {
        let k = std::f64::consts::TAU * hertz / SPEED_OF_SOUND;
        let (mut cross, mut left, mut right) = (0.0, 0.0, 0.0);
        for a in &self.ears {
            for b in &self.ears {
                let x = k * distance(a.position, b.position);
                let alike = if x < 1e-6 { 1.0 } else { math::sin(x) / x };
                cross += a.gains[0] * b.gains[1] * alike;
                left += a.gains[0] * b.gains[0] * alike;
                right += a.gains[1] * b.gains[1] * alike;
            }
        }
        if left * right > 0.0 { (cross / math::sqrt(left * right)).clamp(-0.98, 0.98) } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_data_file_parses() {
        let arrays = load::arrays().unwrap();
        assert_eq!(arrays.iter().map(|a| a.microphones.len()).collect::<Vec<_>>(), [3, 2, 2, 2]);
        assert_eq!(arrays, super::arrays());
    }

    #[test]
    fn faders_change_the_picture_and_not_the_loudness() {
        let plain = Balance { near: OFF, wide: OFF, far: OFF, ..Balance::default() };
        for balance in [
            Balance::default(),
            plain,
            Balance { tree: Decibels(12.0), near: Decibels(12.0), ..Balance::default() },
            Balance { far: Decibels(6.0), ..Balance::default() },
            Balance { spot: Decibels(0.0), ..Balance::default() },
            Balance { tree: OFF, near: OFF, wide: OFF, far: OFF, spot: OFF },
            Balance { tree: Decibels(f64::NAN), ..Balance::default() },
        ] {
            let ears = Ears::new(&balance, |p| p, MIDDLE);
            let heard: f64 = ears
                .ears
                .iter()
                .map(|e| (e.gains[0].powi(2) + e.gains[1].powi(2)) / distance(MIDDLE, e.position).powi(2))
                .sum();
            let wanted = 1.0 / distance(MIDDLE, tree()).powi(2);
            assert!(((heard + ears.spot * ears.spot) / wanted - 1.0).abs() < 1e-9, "{balance:?}");
        }
        let far = Ears::new(&Balance { far: Decibels(6.0), ..Balance::default() }, |p| p, MIDDLE);
        assert!(far.diffuse() > 1.5 * Ears::new(&plain, |p| p, MIDDLE).diffuse());
    }

    #[test]
    fn the_diffuse_field_is_alike_where_waves_are_long() {
        let ears = Ears::new(&Balance::default(), |p| p, MIDDLE);
        assert!(ears.coherence(20.0) > 0.9);
        assert!(ears.coherence(4000.0).abs() < 0.35);
    }
}
