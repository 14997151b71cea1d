//! How a source radiates by angle.

use crate::bands::{OCTAVES, Octaves};
use ripieno_signal::SPEED_OF_SOUND;
use ripieno_units::{Decibels, math};
use std::f64::consts::{PI, TAU};

/// What even the deepest notch of a real instrument gives: nulls of the piston are filled by the room of the bell, the player
/// and the floor (common practice, no source).
const FLOOR: Decibels = Decibels(-15.0);

/// ka from which a source shadows its back wholly (common practice, no source).
const SHADOW: f64 = 2.0;

/// Steps of the angle from the axis to straight behind it.
const STEPS: usize = 60;

/// A source as a circular piston with a shadow behind it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Directivity {
    /// Radius of the piston in metres, 0 to 1; 0 radiates everywhere alike.
    pub radius: f64,
    /// Where its axis points, degrees to the player's right of straight ahead. Players face the conductor, who faces them; those
    /// beside the conductor face the audience.
    pub azimuth: f64,
    /// Degrees above the horizon.
    pub elevation: f64,
    /// Level straight behind re the axis where the wavelength is small against the source, -15 to 0 dB.
    pub back: Decibels,
}

impl Default for Directivity {
    fn default() -> Self {
        Self { radius: 0.0, azimuth: 0.0, elevation: 0.0, back: Decibels::ZERO }
    }
}

/// Amplitudes by band and angle, ready to be looked up.
#[derive(Clone, Debug)]
pub(crate) struct Pattern {
    axis: [f64; 3],
    /// By angle from the axis, 0 to 180 degrees. None if all are one.
    table: Option<Vec<Octaves>>,
}

/// 2 J1(x) / x, 1 at 0: the far field of a circular piston (L. Kinsler et al., Fundamentals of Acoustics; from memory).
fn piston(x: f64) -> f64 {
    if x < 1e-4 { 1.0 } else { 2.0 * math::j1(x) / x }
}

/// Amplitude at an angle in radians from the axis, re the axis.
fn amplitude(directivity: &Directivity, angle: f64, hertz: f64) -> f64 {
    let ka = TAU * hertz / SPEED_OF_SOUND * directivity.radius.clamp(0.0, 1.0);
    let floor = FLOOR.amplitude();
    let front = piston(ka * math::sin(angle.min(PI / 2.0))).abs().max(floor);
    if angle <= PI / 2.0 {
        return front;
    }
    let back = (directivity.back.clamp(FLOOR, Decibels::ZERO) * (ka / SHADOW).min(1.0)).amplitude();
    let turned = math::cos(angle);
    // Even in decibels from the side to the back.
    math::exp(math::lerp(math::ln(front), math::ln(back.min(1.0)), turned * turned)).max(floor)
}

impl Pattern {
    /// Of a source that faces `facing` degrees: 0 to the audience, 90 to the audience's left, where the player's right is.
    pub fn new(directivity: &Directivity, facing: f64) -> Self {
        let finite = |x: f64| if x.is_finite() { x } else { 0.0 };
        let directivity = Directivity {
            radius: finite(directivity.radius),
            azimuth: finite(directivity.azimuth),
            elevation: finite(directivity.elevation),
            back: Decibels(finite(directivity.back.0)),
        };
        let (turn, rise) = ((facing + directivity.azimuth).to_radians(), directivity.elevation.to_radians());
        let level = math::cos(rise);
        let axis = [-level * math::sin(turn), -level * math::cos(turn), math::sin(rise)];
        if directivity.radius <= 0.0 {
            return Self { axis, table: None };
        }
        let mut table = vec![[1.0; 8]; STEPS + 1];
        for (band, hertz) in OCTAVES.iter().enumerate() {
            let mut power = 0.0;
            for (i, row) in table.iter_mut().enumerate() {
                let angle = PI * i as f64 / STEPS as f64;
                row[band] = amplitude(&directivity, angle, *hertz);
                power += row[band] * row[band] * math::sin(angle);
            }
            // The mean over the sphere is one half of the integral over sin(angle): the radiated power stays what it was.
            let scale = 1.0 / math::sqrt(power * PI / STEPS as f64 / 2.0);
            table.iter_mut().for_each(|row| row[band] *= scale);
        }
        Self { axis, table: Some(table) }
    }

    /// Amplitudes towards a direction of length 1.
    pub fn towards(&self, direction: [f64; 3]) -> Octaves {
        let Some(table) = &self.table else { return [1.0; 8] };
        let cosine: f64 = self.axis.iter().zip(direction).map(|(a, b)| a * b).sum();
        let at = acos(cosine) / PI * STEPS as f64;
        let i = (at as usize).min(STEPS - 1);
        let x = at - i as f64;
        std::array::from_fn(|b| math::lerp(table[i][b], table[i + 1][b], x))
    }
}

fn acos(x: f64) -> f64 {
    let x = x.clamp(-1.0, 1.0);
    if x <= -1.0 { PI } else { 2.0 * math::atan(math::sqrt((1.0 - x) / (1.0 + x))) }
}

/// Which way a player at `x`, `y` faces, in degrees as [`Pattern::new`] takes them.
pub(crate) fn facing(x: f64, y: f64) -> f64 {
    // Who stands beside the conductor is a soloist and faces the audience (common practice).
    if math::sqrt(x * x + y * y) < 2.4 {
        return 0.0;
    }
    // Towards the conductor: the direction (-x, -y) as a turn from (0, -1) towards (-1, 0).
    let turn = if y.abs() < 1e-9 { PI / 2.0 * x.signum() } else { math::atan(x / y) };
    if y < 0.0 { turn.to_degrees() + 180.0 } else { turn.to_degrees() }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// -3 dB half-angle asin(1.616 / ka) with the bells' radii (Kinsler et al., from memory); full widths in degrees at 2, 4 and
    /// 8 kHz with c = 343: trumpet 93, 42, 21; horn 33, 16, 8.
    #[test]
    fn beams_are_as_wide_as_the_piston_says() {
        for (radius, widths) in [(0.061, [93.0, 42.0, 21.0]), (0.155, [33.0, 16.0, 8.0])] {
            let bell = Directivity { radius, back: Decibels(-12.0), ..Directivity::default() };
            for (hertz, width) in [2000.0, 4000.0, 8000.0].into_iter().zip(widths) {
                let half = amplitude(&bell, f64::to_radians(width / 2.0), hertz);
                assert!((Decibels::from_amplitude(half).0 + 3.0).abs() < 0.35, "{radius} {hertz} {half}");
            }
        }
    }

    #[test]
    fn radiated_power_stays_what_it_was() {
        let bell = Directivity { radius: 0.155, azimuth: 150.0, elevation: 10.0, back: Decibels(-10.0) };
        let pattern = Pattern::new(&bell, 30.0);
        let mut mean = [0.0; 8];
        // Points spread evenly over the sphere (a Fibonacci spiral).
        let points = 20_000;
        for i in 0..points {
            let z = 1.0 - (2.0 * f64::from(i) + 1.0) / f64::from(points);
            let turn = f64::from(i) * 2.399_963_229_728_653;
            let level = math::sqrt(1.0 - z * z);
            let at = pattern.towards([level * math::cos(turn), level * math::sin(turn), z]);
            mean.iter_mut().zip(at).for_each(|(m, a)| *m += a * a / f64::from(points));
        }
        for (m, hertz) in mean.iter().zip(OCTAVES) {
            assert!((m - 1.0).abs() < 0.03, "{hertz}: {m}");
        }
    }

    #[test]
    fn players_face_the_conductor_and_soloists_the_audience() {
        let pattern = |x: f64, y: f64| {
            let bell = Directivity { radius: 0.06, ..Directivity::default() };
            Pattern::new(&bell, facing(x, y)).axis
        };
        let near = |a: [f64; 3], b: [f64; 3]| a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-6);
        assert!(near(pattern(0.0, 9.0), [0.0, -1.0, 0.0]));
        assert!(near(pattern(-5.0, 5.0), [0.5_f64.sqrt(), -(0.5_f64.sqrt()), 0.0]));
        assert!(near(pattern(5.0, 0.0), [-1.0, 0.0, 0.0]));
        assert!(near(pattern(1.2, 0.6), [0.0, -1.0, 0.0]));
        // A horn at the left points behind and to the player's right, which is away from the middle and the audience.
        let horn = Directivity { radius: 0.155, azimuth: 150.0, ..Directivity::default() };
        let axis = Pattern::new(&horn, facing(0.0, 8.4)).axis;
        assert!(axis[1] > 0.8 && axis[0] < -0.4, "{axis:?}");
    }
}
