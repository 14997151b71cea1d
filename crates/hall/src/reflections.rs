//! Early reflections: image sources of the first order.

use crate::Hall;
use ripieno_signal::{OnePole, Position, SPEED_OF_SOUND, Stereo, pan};

/// What a surface gives back of the pressure: plaster and wood on concrete 0.85 to 0.95, a wall behind an audience less
/// (absorption of 0.1 to 0.25 at middle frequencies; common practice).
const WALL: f64 = 0.88;
const FLOOR: f64 = 0.80;
const CEILING: f64 = 0.90;
const REAR: f64 = 0.60;

/// Walls with relief scatter what is high; above this the reflections fall off (common practice, no source).
const SCATTERED: f64 = 5000.0;

/// Frames worked at a time.
const PIECE: usize = 4096;

/// The six images of a source with the reflection factor of the surface that makes each.
fn images(hall: &Hall, source: Position) -> [(Position, f64); 6] {
    let half = hall.width / 2.0;
    [
        (Position { x: -2.0 * half - source.x, ..source }, WALL),
        (Position { x: 2.0 * half - source.x, ..source }, WALL),
        (Position { y: 2.0 * hall.upstage - source.y, ..source }, WALL),
        (Position { y: -2.0 * hall.downstage - source.y, ..source }, REAR),
        (Position { z: -source.z, ..source }, FLOOR),
        (Position { z: 2.0 * hall.height - source.z, ..source }, CEILING),
    ]
}

/// Adds the reflections of `dry` at `position` to `out`.
pub fn add(out: &mut Stereo, hall: &Hall, position: Position, dry: &[f32], sample_rate: f64) {
    let mut pole = OnePole::low_pass(SCATTERED.min(0.4 * sample_rate), sample_rate);
    let soft: Vec<f32> = dry.iter().map(|x| pole.sample(*x)).collect();
    let taps = images(hall, position).map(|(image, factor)| {
        let distance = image.distance();
        let (left, right) = pan(image.side());
        let gain = (factor / distance) as f32;
        ((distance / SPEED_OF_SOUND * sample_rate + 0.5) as usize, gain * left, gain * right)
    });
    // Piece by piece, so that a piece stays at hand while all its reflections are added.
    for (piece, (left, right)) in out.left.chunks_mut(PIECE).zip(out.right.chunks_mut(PIECE)).enumerate() {
        let start = piece * PIECE;
        for (delay, gain_left, gain_right) in taps {
            let skip = delay.saturating_sub(start).min(left.len());
            let source = soft.get((start + skip).saturating_sub(delay)..).unwrap_or_default();
            for ((l, r), x) in left[skip..].iter_mut().zip(&mut right[skip..]).zip(source) {
                *l += gain_left * x;
                *r += gain_right * x;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked example (Allen and Berkley's method, reckoned by hand with c = 343): a room of 30 x 20 x 12 m, source at
    /// (5, 10, 1.5), microphone at (20, 10, 3): first-order images at 15.660, 24.602, 25.045 (three times) and 35.032 m.
    #[test]
    fn images_lie_where_geometry_puts_them() {
        // Its long side is our depth; the microphone is ours, so the room is moved around it.
        use ripieno_signal::MICROPHONES as M;
        let hall =
            Hall { width: 20.0, height: 12.0, upstage: 20.0 + M.y, downstage: 10.0 - M.y, ..Hall::default() };
        let source = Position { x: 0.0, y: M.y + 15.0, z: 1.5 };
        let mut found: Vec<f64> = images(&hall, source)
            .iter()
            .map(|(p, _)| {
                let (x, y, z) = (p.x - M.x, p.y - M.y, p.z - 3.0);
                (x * x + y * y + z * z).sqrt()
            })
            .collect();
        found.sort_by(f64::total_cmp);
        for (found, wanted) in found.iter().zip([15.660, 24.602, 25.045, 25.045, 25.045, 35.032]) {
            assert!((found - wanted).abs() < 0.001, "{found} {wanted}");
        }
    }
}
