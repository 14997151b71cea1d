//! Early reflections: the images of a source in the sides of a box (J. B. Allen and D. A. Berkley, Image method for efficiently
//! simulating small-room acoustics, 1979).

use crate::bands::Octaves;
use crate::hall::{Hall, Side};
use ripieno_signal::Position;
use ripieno_units::{Chance, math};

/// Most reflections on the way.
const ORDER: u32 = 3;

/// Images of a perfect box sweep together as a source moves; real walls are not so even. Metres (methods of image sources,
/// common practice).
const JITTER: f64 = 0.3;

/// One image of any source.
#[derive(Clone, Debug)]
pub(crate) struct Image {
    /// Mirrored along x, y, z.
    mirrored: [bool; 3],
    /// Moved by twice the box, so often.
    cells: [i32; 3],
    /// Moved aside, metres.
    jitter: [f64; 3],
    /// Reflections on the way; 0 is the source itself.
    pub order: u32,
    /// Amplitude that the reflections leave, by octave.
    pub factors: Octaves,
}

/// All images up to the third order, the source itself first.
pub(crate) fn images(hall: &Hall) -> Vec<Image> {
    let correction = hall.correction();
    // Natural logarithm of the amplitude that one reflection leaves.
    let left = Side::ALL.map(|side| {
        let absorption = hall.side_absorption(side);
        let specular = 0.5 * math::ln(1.0 - hall.scattering);
        std::array::from_fn::<f64, 8, _>(|b| 0.5 * correction[b] * math::ln(1.0 - absorption[b]) + specular)
    });
    // Low and high end of each axis.
    let ends = [[Side::Left, Side::Right], [Side::Downstage, Side::Upstage], [Side::Floor, Side::Ceiling]];
    let reach = ORDER.div_ceil(2) as i32;
    let mut found = Vec::new();
    for code in 0..8_u32 {
        let mirrored = [code & 1 != 0, code & 2 != 0, code & 4 != 0];
        for x in -reach..=reach {
            for y in -reach..=reach {
                for z in -reach..=reach {
                    let cells = [x, y, z];
                    let hits: [[u32; 2]; 3] = std::array::from_fn(|a| {
                        [(cells[a] - i32::from(mirrored[a])).unsigned_abs(), cells[a].unsigned_abs()]
                    });
                    let order = hits.iter().flatten().sum();
                    if order > ORDER {
                        continue;
                    }
                    let mut logarithm = [0.0; 8];
                    for (ends, hits) in ends.iter().zip(hits) {
                        for (side, times) in ends.iter().zip(hits) {
                            let index = Side::ALL.iter().position(|s| s == side).unwrap_or(0);
                            logarithm
                                .iter_mut()
                                .zip(left[index])
                                .for_each(|(l, x)| *l += f64::from(times) * x);
                        }
                    }
                    let name = format!("{code} {x} {y} {z}");
                    let mut chance = Chance::named(0, &["hall", &hall.id, "image", &name]);
                    let jitter =
                        if order == 0 { [0.0; 3] } else { [0; 3].map(|_| chance.between(-JITTER, JITTER)) };
                    found.push(Image { mirrored, cells, jitter, order, factors: logarithm.map(math::exp) });
                }
            }
        }
    }
    found.sort_by_key(|image| image.order);
    found
}

impl Image {
    /// Where it is for a source in the hall.
    pub fn of(&self, source: Position, hall: &Hall) -> Position {
        // The corner of the box, and its size.
        let corner = [-hall.width / 2.0, -hall.downstage, 0.0];
        let size = [hall.width, hall.depth(), hall.height];
        let from = [source.x, source.y, source.z];
        let [x, y, z] = std::array::from_fn(|a| {
            let inside = from[a] - corner[a];
            let turned = if self.mirrored[a] { -inside } else { inside };
            corner[a] + turned + 2.0 * f64::from(self.cells[a]) * size[a] + self.jitter[a]
        });
        Position { x, y, z }
    }

    /// The direction of length 1 in which the sound left the source on its way from the image to a microphone.
    pub fn departure(&self, image: Position, microphone: Position, distance: f64) -> [f64; 3] {
        let way = [microphone.x - image.x, microphone.y - image.y, microphone.z - image.z];
        std::array::from_fn(|a| if self.mirrored[a] { -way[a] } else { way[a] } / distance)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::microphones::distance;

    /// Worked example (Allen and Berkley's method, reckoned by hand with c = 343): a room of 30 x 20 x 12 m, source at
    /// (5, 10, 1.5), microphone at (20, 10, 3): direct 15.075 m; first-order images at 15.660, 24.602, 25.045 (three times) and
    /// 35.032 m.
    #[test]
    fn images_lie_where_geometry_puts_them() {
        // Its long side is our depth: x there is depth from the wall behind the audience.
        let hall = Hall { width: 20.0, height: 12.0, upstage: 20.0, downstage: 10.0, ..Hall::default() };
        let source = Position { x: 0.0, y: 5.0 - 10.0, z: 1.5 };
        let microphone = Position { x: 0.0, y: 20.0 - 10.0, z: 3.0 };
        let all = images(&hall);
        assert_eq!([0, 1, 2, 3].map(|o| all.iter().filter(|i| i.order == o).count()), [1, 6, 18, 38]);
        let mut found: Vec<f64> = all
            .into_iter()
            .filter(|i| i.order <= 1)
            .map(|i| Image { jitter: [0.0; 3], ..i })
            .map(|i| distance(i.of(source, &hall), microphone))
            .collect();
        found.sort_by(f64::total_cmp);
        for (found, wanted) in found.iter().zip([15.075, 15.660, 24.602, 25.045, 25.045, 25.045, 35.032]) {
            assert!((found - wanted).abs() < 0.001, "{found} {wanted}");
        }
    }

    #[test]
    fn sound_leaves_towards_the_wall_that_reflects_it() {
        let hall = Hall::default();
        let source = Position { x: 1.0, y: 4.0, z: 1.2 };
        let microphone = Position { x: 0.0, y: 0.0, z: 3.0 };
        for image in images(&hall).iter().filter(|i| i.order == 1) {
            let at = image.of(source, &hall);
            let way = image.departure(at, microphone, distance(at, microphone));
            // The image lies far on the side of its wall; the sound sets out to that side.
            let beyond = [at.x - source.x, at.y - source.y, at.z - source.z];
            let axis = image.mirrored.iter().position(|m| *m).unwrap();
            assert!(way[axis] * beyond[axis] > 0.0, "{image:?}");
        }
    }
}
