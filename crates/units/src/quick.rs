//! Powers and logarithms for sums of many: less work than those of [`crate::math`], with the same bits on every platform too.
//!
//! By tables of 128 places and short series between them (P. T. P. Tang, "Table-driven implementation of the exponential
//! function in IEEE floating-point arithmetic", 1989, and of the logarithm, 1990). Right to 12 digits, which is plenty for
//! what is an estimate; whole powers are not exact, so nothing that is rounded or compared for equality may use these.

use crate::math;
use std::sync::LazyLock;

/// Places in an octave.
const PLACES: usize = 128;

/// By place: the inverse of the middle of its span, that middle's binary logarithm; and two to the place's power.
struct Tables {
    inverse: [f64; PLACES],
    log: [f64; PLACES],
    power: [f64; PLACES],
}

static TABLES: LazyLock<Tables> = LazyLock::new(|| {
    let middle = |i: usize| 1.0 + (i as f64 + 0.5) / PLACES as f64;
    Tables {
        inverse: std::array::from_fn(|i| 1.0 / middle(i)),
        log: std::array::from_fn(|i| math::log2(middle(i))),
        power: std::array::from_fn(|i| math::exp2(i as f64 / PLACES as f64)),
    }
});

/// Binary logarithm of `x`, to 12 digits of what the ratio is; for what is not positive and normal, as [`math::log2`].
pub fn log2(x: f64) -> f64 {
    if !x.is_normal() || x < 0.0 {
        return math::log2(x);
    }
    let bits = x.to_bits();
    let exponent = ((bits >> 52) & 0x7ff) as i64 - 1023;
    let mantissa = f64::from_bits((bits & 0x000f_ffff_ffff_ffff) | 0x3ff0_0000_0000_0000);
    let place = (bits >> 45) as usize & (PLACES - 1);
    let r = mantissa * TABLES.inverse[place] - 1.0;
    let series = r * (1.0 - r * (0.5 - r * (1.0 / 3.0 - r * (0.25 - r * 0.2))));
    exponent as f64 + TABLES.log[place] + series * std::f64::consts::LOG2_E
}

/// Two to the power of `x`, to 12 digits; as [`math::exp2`] where that is very large, very small or no number.
pub fn exp2(x: f64) -> f64 {
    if !(-1000.0..1000.0).contains(&x) {
        return math::exp2(x);
    }
    // Rounded to the nearest place by a number so large that nothing finer is left of the sum.
    const SHIFT: f64 = (1_u64 << 52) as f64 * 1.5;
    let places = (x * PLACES as f64 + SHIFT) - SHIFT;
    let r = (x - places / PLACES as f64) * std::f64::consts::LN_2;
    let places = places as i64;
    let whole = f64::from_bits(((places.div_euclid(PLACES as i64) + 1023) as u64) << 52);
    let part = TABLES.power[places.rem_euclid(PLACES as i64) as usize];
    let series = 1.0 + r * (1.0 + r * (0.5 + r * (1.0 / 6.0 + r * (1.0 / 24.0))));
    whole * part * series
}

/// `x` to the power of `y`; for what is not positive and normal, or comes out very large or small, as [`math::pow`].
pub fn pow(x: f64, y: f64) -> f64 {
    if !x.is_normal() || x < 0.0 {
        return math::pow(x, y);
    }
    let power = y * log2(x);
    // Near the ends of what a number can hold the last digits decide.
    if (-1000.0..1000.0).contains(&power) { exp2(power) } else { math::pow(x, y) }
}

/// `e` to the power of `x`.
pub fn exp(x: f64) -> f64 {
    exp2(x * std::f64::consts::LOG2_E)
}

/// The ratio of powers that so many decibels are.
pub fn ratio(decibels: f64) -> f64 {
    exp2(decibels * (std::f64::consts::LOG2_10 / 10.0))
}

/// Decibels of a ratio of powers.
pub fn decibels(ratio: f64) -> f64 {
    log2(ratio) * (10.0 / std::f64::consts::LOG2_10)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(a: f64, b: f64) -> bool {
        a == b || (a.is_nan() && b.is_nan()) || (a - b).abs() <= 1e-12 * b.abs().max(1e-300)
    }

    #[test]
    fn as_the_exact_ones() {
        let mut chance = crate::Chance::named(7, &["quick"]);
        for _ in 0..20_000 {
            let x = math::exp2(chance.between(-60.0, 60.0));
            let y = chance.between(-3.0, 3.0);
            assert!(close(pow(x, y), math::pow(x, y)), "{x} {y}");
            assert!((log2(x) - math::log2(x)).abs() < 1e-13 * math::log2(x).abs().max(1.0), "{x}");
            assert!(close(exp(y * 20.0), math::exp(y * 20.0)), "{y}");
            assert!(close(ratio(y * 60.0), math::pow(10.0, y * 6.0)), "{y}");
            assert!((decibels(x) - 10.0 * math::log10(x)).abs() < 1e-11, "{x}");
        }
    }

    #[test]
    fn ends_as_the_exact_ones() {
        for x in [0.0, -1.0, f64::INFINITY, f64::NAN, 1e-310, f64::MAX, f64::MIN_POSITIVE, 1.0, 2.0] {
            for y in [0.0, 1.0, -1.0, 0.5, 1e3, -1e3, f64::INFINITY, f64::NAN] {
                assert!(close(pow(x, y), math::pow(x, y)), "{x} {y}: {} {}", pow(x, y), math::pow(x, y));
            }
            // A logarithm near zero is right to as many places, not digits.
            assert!(close(log2(x), math::log2(x)) || (log2(x) - math::log2(x)).abs() < 1e-13, "{x}");
            assert!(close(exp2(x), math::exp2(x)), "{x}");
        }
    }
}
