//! What a hall is: a box with surfaces and the reverberation that is wanted of it.

use crate::acoustics;
use crate::bands::Octaves;
use crate::load;
use ripieno_units::{Seconds, math};
use std::sync::OnceLock;

/// The six sides of the box.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Side {
    /// Under everybody.
    Floor,
    /// Above.
    Ceiling,
    /// To the conductor's left.
    Left,
    /// To the conductor's right.
    Right,
    /// Behind the orchestra.
    Upstage,
    /// Behind the audience.
    Downstage,
}

impl Side {
    /// All six.
    pub const ALL: [Self; 6] =
        [Self::Floor, Self::Ceiling, Self::Left, Self::Right, Self::Upstage, Self::Downstage];
}

/// Part of a side: a material, or people.
#[derive(Clone, Debug, PartialEq)]
pub struct Surface {
    /// Where it is.
    pub side: Side,
    /// What it is, as in `data/materials.toml`.
    pub material: String,
    /// Square metres.
    pub area: f64,
    /// Share of the energy that is not given back, 0 to 1, by octave.
    pub absorption: Octaves,
}

/// A hall. The stage is at one end of a box; the conductor stands on its middle line.
#[derive(Clone, Debug, PartialEq)]
pub struct Hall {
    /// a-z, 0-9, `-`.
    pub id: String,
    /// For people.
    pub name: String,
    /// Metres from side wall to side wall, 4 to 100.
    pub width: f64,
    /// Metres from floor to ceiling, 3 to 50.
    pub height: f64,
    /// Metres from the conductor to the wall behind the orchestra, 2 to 50.
    pub upstage: f64,
    /// Metres from the conductor to the wall behind the audience, 2 to 100.
    pub downstage: f64,
    /// What the sides are covered with.
    pub surfaces: Vec<Surface>,
    /// Share of the energy that a reflection scatters instead of mirroring, 0 to 0.9: a plain box 0.1, a hall with balconies,
    /// coffers and statues 0.4 (common practice, no source).
    pub scattering: f64,
    /// Reverberation time wanted, seconds by octave, 0.1 to 15.
    pub wanted: Octaves,
}

impl Default for Hall {
    /// A concert hall of 2.0 s.
    fn default() -> Self {
        by_id("concert-hall").cloned().unwrap_or(Self {
            id: String::new(),
            name: String::new(),
            width: 24.0,
            height: 18.0,
            upstage: 16.0,
            downstage: 28.0,
            surfaces: Vec::new(),
            scattering: 0.3,
            wanted: [2.0; 8],
        })
    }
}

/// The halls that are built in, from the driest to the longest.
pub fn halls() -> &'static [Hall] {
    static HALLS: OnceLock<Vec<Hall>> = OnceLock::new();
    // The files are part of the program; the tests read them with their errors.
    HALLS.get_or_init(|| load::halls().unwrap_or_default())
}

/// The built-in hall of an id.
pub fn by_id(id: &str) -> Option<&'static Hall> {
    halls().iter().find(|hall| hall.id == id)
}

impl Hall {
    /// Cubic metres.
    pub fn volume(&self) -> f64 {
        self.width * self.height * self.depth()
    }

    /// Square metres of all sides.
    pub fn area(&self) -> f64 {
        Side::ALL.iter().map(|s| self.side_area(*s)).sum()
    }

    /// Metres from the wall behind the orchestra to the wall behind the audience.
    pub fn depth(&self) -> f64 {
        self.upstage + self.downstage
    }

    /// Square metres of one side.
    pub fn side_area(&self, side: Side) -> f64 {
        match side {
            Side::Floor | Side::Ceiling => self.width * self.depth(),
            Side::Left | Side::Right => self.height * self.depth(),
            Side::Upstage | Side::Downstage => self.width * self.height,
        }
    }

    /// Reverberation time at middle frequencies: the mean of the octaves at 500 and 1000 Hz (ISO 3382-1).
    pub fn reverberation(&self) -> Seconds {
        Seconds((self.wanted[3] + self.wanted[4]) / 2.0)
    }

    /// The same hall with another reverberation time at middle frequencies; the other octaves keep their proportions. Held to
    /// what every octave can have, 0.1 to 15 s.
    pub fn lasting(&self, reverberation: Seconds) -> Self {
        let mut hall = self.clone();
        if reverberation.0.is_finite() && reverberation.0 > 0.0 && self.reverberation().0 > 0.0 {
            let factor = reverberation.0 / self.reverberation().0;
            hall.wanted = self.wanted.map(|t| (t * factor).clamp(0.1, 15.0));
        }
        hall
    }

    /// Mean absorption of one side by octave, weighted by area. What no surface covers is hard: 0.02.
    pub fn side_absorption(&self, side: Side) -> Octaves {
        let whole = self.side_area(side).max(1e-9);
        let mut sum = [0.0; 8];
        let mut covered = 0.0;
        for surface in self.surfaces.iter().filter(|s| s.side == side) {
            covered += surface.area;
            sum.iter_mut().zip(surface.absorption).for_each(|(s, a)| *s += surface.area * a);
        }
        let bare = (whole - covered).max(0.0);
        sum.map(|s| ((s + 0.02 * bare) / (covered + bare)).clamp(0.001, 0.99))
    }

    /// Mean absorption of all sides by octave.
    pub fn absorption(&self) -> Octaves {
        let mut mean = [0.0; 8];
        for side in Side::ALL {
            let share = self.side_area(side) / self.area();
            mean.iter_mut().zip(self.side_absorption(side)).for_each(|(m, a)| *m += share * a);
        }
        mean
    }

    /// Reverberation time by octave after Eyring, from volume, surfaces and air (20 °C, 50 %).
    pub fn eyring(&self) -> Octaves {
        let (mean, air) = (self.absorption(), acoustics::air());
        std::array::from_fn(|b| {
            acoustics::eyring(self.volume(), self.area(), mean[b], acoustics::air_energy(air[b])).0
        })
    }

    /// Held within what can be built, and free of what is no number.
    pub(crate) fn sane(&self) -> Self {
        let held =
            |x: f64, low: f64, high: f64, usual: f64| if x.is_finite() { x.clamp(low, high) } else { usual };
        let mut hall = Self {
            width: held(self.width, 4.0, 100.0, 24.0),
            height: held(self.height, 3.0, 50.0, 18.0),
            upstage: held(self.upstage, 2.0, 50.0, 16.0),
            downstage: held(self.downstage, 2.0, 100.0, 28.0),
            scattering: held(self.scattering, 0.0, 0.9, 0.3),
            wanted: self.wanted.map(|t| held(t, 0.1, 15.0, 2.0)),
            ..self.clone()
        };
        for surface in &mut hall.surfaces {
            surface.area = held(surface.area, 0.0, 1e5, 0.0);
            surface.absorption = surface.absorption.map(|a| held(a, 0.0, 0.99, 0.02));
        }
        hall
    }

    /// Octave by octave, by how much the logarithm of what the surfaces give back is to be multiplied so that Eyring's formula
    /// gives the time that is wanted.
    pub(crate) fn correction(&self) -> Octaves {
        let (mean, air) = (self.absorption(), acoustics::air());
        std::array::from_fn(|b| {
            let lost = -self.area() * math::ln(1.0 - mean[b].clamp(0.001, 0.99));
            let needed =
                acoustics::eyring_area(self.volume(), Seconds(self.wanted[b]), acoustics::air_energy(air[b]));
            (needed / lost).clamp(0.1, 10.0)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bands::OCTAVES;

    #[test]
    fn the_data_files_parse_and_there_are_enough() {
        let halls = load::halls().unwrap();
        assert!(halls.len() >= 7);
        let mut ids: Vec<&str> = halls.iter().map(|h| h.id.as_str()).collect();
        ids.sort_unstable();
        ids.dedup();
        assert_eq!(ids.len(), halls.len());
        for hall in &halls {
            assert_eq!(*hall, hall.sane(), "{}", hall.id);
            for side in Side::ALL {
                let covered: f64 = hall.surfaces.iter().filter(|s| s.side == side).map(|s| s.area).sum();
                assert!((covered - hall.side_area(side)).abs() < 1e-6, "{} {side:?}: {covered}", hall.id);
            }
        }
    }

    /// What is wanted of a room must be what its volume, surfaces and air would give it, within a quarter.
    #[test]
    fn wanted_times_are_those_of_the_surfaces() {
        for hall in halls() {
            for (b, (found, wanted)) in hall.eyring().into_iter().zip(hall.wanted).enumerate().skip(1).take(6)
            {
                assert!(
                    (found / wanted - 1.0).abs() < 0.25,
                    "{} {}: {found:.2} {wanted}",
                    hall.id,
                    OCTAVES[b]
                );
            }
        }
    }

    #[test]
    fn lasting_sets_the_middle_and_keeps_the_rest() {
        let hall = Hall::default();
        let longer = hall.lasting(Seconds(3.0));
        assert!((longer.reverberation().0 - 3.0).abs() < 1e-9);
        assert!((longer.wanted[6] / longer.wanted[1] - hall.wanted[6] / hall.wanted[1]).abs() < 1e-9);
        assert_eq!(hall.lasting(Seconds(f64::NAN)), hall);
    }
}
