//! Score time as an exact fraction.

use std::cmp::Ordering;
use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Mul, Neg, Sub, SubAssign};

/// A place or a span in score time, in quarter notes, as a fraction in lowest terms.
///
/// Sums and differences are exact. Only where a denominator would pass 2^31 (no music does; a damaged file can)
/// the value is rounded to the nearest multiple of 1/2^20 of a quarter note; where the number of quarters passes
/// 2^31 it stays at that bound. Nothing here overflows or panics.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Beats {
    // Invariant: den > 0, gcd(num, den) = 1.
    num: i64,
    den: i64,
}

const MOST_QUARTERS: i128 = 1 << 31;
const MOST_DENOMINATOR: i128 = 1 << 31;
const COARSE: i128 = 1 << 20;

impl Beats {
    /// The start of bar 1, or no time at all.
    pub const ZERO: Self = Self { num: 0, den: 1 };

    /// `num`/`den` quarter notes. A `den` of zero gives zero.
    pub fn new(num: i64, den: i64) -> Self {
        Self::reduce(num.into(), den.into())
    }

    /// Whole quarter notes.
    pub fn whole(quarters: i64) -> Self {
        Self::new(quarters, 1)
    }

    /// Nearest multiple of 1/2^20 of a quarter to a float; zero for what is no number.
    pub fn approximate(quarters: f64) -> Self {
        if !quarters.is_finite() {
            return Self::ZERO;
        }
        let bounded = quarters.clamp(-(MOST_QUARTERS as f64), MOST_QUARTERS as f64);
        Self::reduce((bounded * COARSE as f64).round() as i128, COARSE)
    }

    /// The numerator of the fraction in lowest terms.
    pub fn numerator(self) -> i64 {
        self.num
    }

    /// The denominator of the fraction in lowest terms; above zero.
    pub fn denominator(self) -> i64 {
        self.den
    }

    /// As a float, in quarter notes.
    pub fn quarters(self) -> f64 {
        self.num as f64 / self.den as f64
    }

    /// In ticks of `per_quarter` to the quarter, rounded to the nearest, halves away from zero.
    pub fn ticks(self, per_quarter: u32) -> i64 {
        let (num, den) = (i128::from(self.num) * i128::from(per_quarter), i128::from(self.den));
        let half = if num >= 0 { den } else { -den };
        i64::try_from((2 * num + half) / (2 * den)).unwrap_or(i64::MAX)
    }

    /// Is it longer than nothing?
    pub fn is_positive(self) -> bool {
        self.num > 0
    }

    /// Is it nothing?
    pub fn is_zero(self) -> bool {
        self.num == 0
    }

    /// This many times `num`/`den`. A `den` of zero gives zero.
    pub fn scaled(self, num: i64, den: i64) -> Self {
        let (a, b) = (i128::from(self.num), i128::from(self.den));
        match (a.checked_mul(num.into()), b.checked_mul(den.into())) {
            (Some(n), Some(d)) => Self::reduce(n, d),
            _ => Self::approximate(self.quarters() * num as f64 / den as f64),
        }
    }

    /// How many times `other` goes into this, as a float; zero if `other` is nothing.
    pub fn ratio(self, other: Self) -> f64 {
        if other.num == 0 { 0.0 } else { self.quarters() / other.quarters() }
    }

    fn reduce(num: i128, den: i128) -> Self {
        if den == 0 || num == 0 {
            return Self::ZERO;
        }
        // Nearly always both are small: then 64 bits do, and do it several times faster.
        const SMALL: i128 = 1 << 31;
        if num.abs() < SMALL && den.abs() < SMALL {
            let sign = if den < 0 { -1 } else { 1 };
            let (num, den) = (num as i64 * sign, den as i64 * sign);
            let divisor = small_gcd(num.unsigned_abs(), den.unsigned_abs()) as i64;
            return Self { num: num / divisor, den: den / divisor };
        }
        let (num, den) = if den < 0 { (-num, -den) } else { (num, den) };
        let divisor = gcd(num.unsigned_abs(), den.unsigned_abs()) as i128;
        let (mut num, mut den) = (num / divisor, den / divisor);
        if den > MOST_DENOMINATOR {
            let coarse = ((num as f64 / den as f64) * COARSE as f64).round() as i128;
            let divisor = gcd(coarse.unsigned_abs().max(1), COARSE.unsigned_abs()) as i128;
            (num, den) = if coarse == 0 { (0, 1) } else { (coarse / divisor, COARSE / divisor) };
        }
        if num / den >= MOST_QUARTERS {
            (num, den) = (MOST_QUARTERS, 1);
        } else if num / den <= -MOST_QUARTERS {
            (num, den) = (-MOST_QUARTERS, 1);
        }
        // Both fit: den <= 2^31 and |num| <= 2^31 * den.
        Self { num: num as i64, den: den as i64 }
    }
}

fn small_gcd(mut a: u64, mut b: u64) -> u64 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a.max(1)
}

fn gcd(mut a: u128, mut b: u128) -> u128 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a.max(1)
}

impl Default for Beats {
    fn default() -> Self {
        Self::ZERO
    }
}

impl Add for Beats {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        if self.den == other.den && self.den == 1 {
            return Self::reduce(i128::from(self.num) + i128::from(other.num), 1);
        }
        let [a, b, c, d] = [self.num, self.den, other.num, other.den].map(i128::from);
        if b == d { Self::reduce(a + c, b) } else { Self::reduce(a * d + c * b, b * d) }
    }
}

impl AddAssign for Beats {
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl Neg for Beats {
    type Output = Self;
    fn neg(self) -> Self {
        Self { num: -self.num, den: self.den }
    }
}

impl Sub for Beats {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        self + -other
    }
}

impl SubAssign for Beats {
    fn sub_assign(&mut self, other: Self) {
        *self = *self - other;
    }
}

impl Mul<i64> for Beats {
    type Output = Self;
    fn mul(self, times: i64) -> Self {
        self.scaled(times, 1)
    }
}

impl Sum for Beats {
    fn sum<I: Iterator<Item = Self>>(items: I) -> Self {
        items.fold(Self::ZERO, |a, b| a + b)
    }
}

impl PartialOrd for Beats {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Beats {
    fn cmp(&self, other: &Self) -> Ordering {
        if self.den == other.den {
            return self.num.cmp(&other.num);
        }
        (i128::from(self.num) * i128::from(other.den)).cmp(&(i128::from(other.num) * i128::from(self.den)))
    }
}

impl fmt::Display for Beats {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.den == 1 { write!(f, "{}", self.num) } else { write!(f, "{}/{}", self.num, self.den) }
    }
}

impl fmt::Debug for Beats {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seven_septuplets_make_the_whole_exactly() {
        let total: Beats = (0..7).map(|_| Beats::new(4, 7)).sum();
        assert_eq!(total, Beats::whole(4));
    }

    #[test]
    fn order_is_by_value() {
        assert!(Beats::new(1, 3) < Beats::new(1, 2));
        assert!(Beats::new(-1, 2) < Beats::ZERO);
    }

    #[test]
    fn ticks_round_to_the_nearest() {
        assert_eq!(Beats::new(1, 3).ticks(3840), 1280);
        assert_eq!(Beats::new(1, 7).ticks(480), 69);
        assert_eq!(Beats::new(-1, 2).ticks(1), -1);
    }

    #[test]
    fn extremes_stay_within_bounds() {
        let far = Beats::new(i64::MAX, 1);
        assert_eq!(far + far, far);
        let thin = Beats::new(1, i64::MAX);
        assert_eq!(thin + thin, Beats::ZERO);
        let primes = [2_147_483_647, 2_147_483_629, 2_147_483_587];
        let sum: Beats = primes.iter().map(|p| Beats::new(1, *p)).sum();
        assert!(sum.quarters().abs() < 1e-5);
    }
}
