//! A broad pen: a curve through knots, each with its own width, becomes an outline of Bézier curves.

use crate::svg::Path;

/// A knot of a stroke: place and width, in staff spaces, y downwards.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Knot(pub f64, pub f64, pub f64);

/// Points between two knots.
const STEPS: usize = 4;

/// Catmull and Rom's curve through four values, between the second and the third.
fn through(a: f64, b: f64, c: f64, d: f64, t: f64) -> f64 {
    0.5 * (2.0 * b + t * (c - a + t * (2.0 * a - 5.0 * b + 4.0 * c - d + t * (3.0 * (b - c) + d - a))))
}

/// Draws a stroke with its origin at (x, y), at `gap` pixels a staff space.
pub fn stroke(path: &mut Path, knots: &[Knot], x: f64, y: f64, gap: f64) {
    let Some(last) = knots.len().checked_sub(1).filter(|n| *n > 0) else { return };
    let knot = |i: isize| knots[i.clamp(0, last as isize) as usize];
    let mut spine = Vec::with_capacity(last * STEPS + 1);
    for i in 0..last as isize {
        let [a, b, c, d] = [knot(i - 1), knot(i), knot(i + 1), knot(i + 2)];
        for step in 0..STEPS {
            let t = step as f64 / STEPS as f64;
            spine.push(Knot(
                through(a.0, b.0, c.0, d.0, t),
                through(a.1, b.1, c.1, d.1, t),
                through(a.2, b.2, c.2, d.2, t).max(0.02),
            ));
        }
    }
    spine.push(knot(last as isize));
    let side = |i: usize, sign: f64| {
        let (before, after) = (spine[i.saturating_sub(1)], spine[(i + 1).min(spine.len() - 1)]);
        let (dx, dy) = (after.0 - before.0, after.1 - before.1);
        let length = (dx * dx + dy * dy).sqrt().max(1e-9);
        let half = sign * spine[i].2 / 2.0;
        (x + gap * (spine[i].0 - half * dy / length), y + gap * (spine[i].1 + half * dx / length))
    };
    let mut outline: Vec<(f64, f64)> = (0..spine.len()).map(|i| side(i, 1.0)).collect();
    outline.extend((0..spine.len()).rev().map(|i| side(i, -1.0)));
    closed(path, &outline);
}

/// A smooth closed outline through points.
fn closed(path: &mut Path, points: &[(f64, f64)]) {
    let n = points.len();
    if n < 3 {
        return;
    }
    path.to(points[0].0, points[0].1);
    for i in 0..n {
        let [a, b, c, d] = [i + n - 1, i, i + 1, i + 2].map(|k| points[k % n]);
        path.curve(
            (b.0 + (c.0 - a.0) / 6.0, b.1 + (c.1 - a.1) / 6.0),
            (c.0 - (d.0 - b.0) / 6.0, c.1 - (d.1 - b.1) / 6.0),
            c,
        );
    }
    path.close();
}

/// Handle of a quarter circle of radius 1.
const ROUND: f64 = 0.5523;

/// An ellipse, turned: `slant` is the sine of its angle, rising to the right.
pub fn oval(path: &mut Path, x: f64, y: f64, rx: f64, ry: f64, slant: f64) {
    let cosine = (1.0 - slant * slant).max(0.0).sqrt();
    let at = |u: f64, v: f64| {
        let (px, py) = (u * rx, v * ry);
        (x + px * cosine + py * slant, y - px * slant + py * cosine)
    };
    let start = at(1.0, 0.0);
    path.to(start.0, start.1);
    // Wound as strokes are, so that where they overlap no hole appears.
    path.curve(at(1.0, -ROUND), at(ROUND, -1.0), at(0.0, -1.0));
    path.curve(at(-ROUND, -1.0), at(-1.0, -ROUND), at(-1.0, 0.0));
    path.curve(at(-1.0, ROUND), at(-ROUND, 1.0), at(0.0, 1.0));
    path.curve(at(ROUND, 1.0), at(1.0, ROUND), start);
    path.close();
}

/// A closed figure of straight sides.
pub fn polygon(path: &mut Path, points: &[(f64, f64)]) {
    for (i, (x, y)) in points.iter().enumerate() {
        if i == 0 {
            path.to(*x, *y);
        } else {
            path.line(*x, *y);
        }
    }
    if !points.is_empty() {
        path.close();
    }
}
