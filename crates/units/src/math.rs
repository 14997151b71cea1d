//! Float functions with the same bits on every platform (the standard ones are the machine's own).
//!
//! Everything that ends in a MIDI file or a document must use these; `clippy.toml` forbids the others.

pub use libm::{atan, cos, exp, exp2, floor, j1, log as ln, log2, log10, pow, sin, sqrt};

/// Linear interpolation from `a` (at `x` = 0) to `b` (at `x` = 1), not clamped.
pub fn lerp(a: f64, b: f64, x: f64) -> f64 {
    a + (b - a) * x
}

/// Value at `x` of the polyline through `points`, which rise in their first member; held flat outside.
/// Zero for an empty slice.
pub fn polyline(points: &[(f64, f64)], x: f64) -> f64 {
    let (Some(first), Some(last)) = (points.first(), points.last()) else { return 0.0 };
    // What is no number counts as before the first.
    if x.is_nan() || x <= first.0 {
        return first.1;
    }
    if x >= last.0 {
        return last.1;
    }
    let i = points.partition_point(|p| p.0 <= x);
    // Where a place is no number nothing lies between: the last value holds.
    let (Some(a), Some(b)) = (i.checked_sub(1).and_then(|i| points.get(i)), points.get(i)) else {
        return last.1;
    };
    if b.0 <= a.0 { b.1 } else { lerp(a.1, b.1, (x - a.0) / (b.0 - a.0)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn polyline_interpolates_and_holds_its_ends() {
        let p = [(0.0, 1.0), (2.0, 5.0), (2.0, 9.0)];
        assert_eq!(polyline(&p, -1.0), 1.0);
        assert_eq!(polyline(&p, 1.0), 3.0);
        assert_eq!(polyline(&p, 3.0), 9.0);
        assert_eq!(polyline(&[], 3.0), 0.0);
        assert_eq!(polyline(&p, f64::NAN), 1.0);
    }
}
