//! Where a source is, and how the main microphones hear it.

use ripieno_units::{Seconds, math};

/// Metres a second at 20 °C (ISO 9613-1: 343.2).
pub const SPEED_OF_SOUND: f64 = 343.2;

/// The main microphones: above and a little in front of the conductor (common practice; quoted working height 3.2 m).
pub const MICROPHONES: Position = Position { x: 0.0, y: 0.4, z: 3.2 };

/// A place in metres. The conductor stands at 0, 0 on the floor.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Position {
    /// To the conductor's right, which is the audience's right.
    pub x: f64,
    /// Upstage: away from the audience.
    pub y: f64,
    /// Above the floor of the front of the stage.
    pub z: f64,
}

impl Position {
    /// Of a seated player: the source is 1.2 m above a floor that rises by 0.1 m a metre from 5 m upstage (common practice).
    pub fn seated(x: f64, y: f64) -> Self {
        Self { x, y, z: 1.2 + 0.1 * (y - 5.0).clamp(0.0, 10.0) }
    }

    /// Distance to the main microphones in metres, at least 1.
    pub fn distance(self) -> f64 {
        let [x, y, z] = [self.x - MICROPHONES.x, self.y - MICROPHONES.y, self.z - MICROPHONES.z];
        math::sqrt(x * x + y * y + z * z).max(1.0)
    }

    /// How long its sound takes to the main microphones.
    pub fn delay(self) -> Seconds {
        Seconds(self.distance() / SPEED_OF_SOUND)
    }

    /// -1 (far left) to 1 (far right): the sine of the angle at which the main microphones see it.
    pub fn side(self) -> f64 {
        ((self.x - MICROPHONES.x) / self.distance()).clamp(-1.0, 1.0)
    }
}

/// Gains of left and right for a `side` of -1 (left) to 1 (right); their squares add up to 1.
pub fn pan(side: f64) -> (f32, f32) {
    let angle = (side.clamp(-1.0, 1.0) + 1.0) * std::f64::consts::FRAC_PI_4;
    (math::cos(angle) as f32, math::sin(angle) as f32)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn first_violins_are_on_the_left_and_near() {
        let violins = Position::seated(-3.6, 2.2);
        assert!((violins.distance() - 4.5).abs() < 0.05, "{}", violins.distance());
        assert!(violins.side() < -0.7);
        let (left, right) = pan(violins.side());
        assert!(left > 2.0 * right);
        assert!((left * left + right * right - 1.0).abs() < 1e-6);
    }
}
