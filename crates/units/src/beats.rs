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
/// Below it, 64 bits do: the product of two is below 2^62.
const SMALL: i64 = 1 << 31;

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
    #[inline]
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
    #[inline]
    pub fn is_positive(self) -> bool {
        self.num > 0
    }

    /// Is it nothing?
    #[inline]
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

    /// Lowest terms of what nearly all music has: |num| < 2^31, 0 < den < 2^31. Several times faster than with 128 bits; and most
    /// denominators are powers of two, whose common divisor needs no division.
    #[inline]
    fn reduce_small(num: i64, den: i64) -> Self {
        let shift = num.trailing_zeros().min(den.trailing_zeros());
        if num == 0 {
            return Self::ZERO;
        }
        let (num, den) = (num >> shift, den >> shift);
        if den.count_ones() == 1 {
            return Self { num, den };
        }
        let divisor = i64::from(small_gcd(num.unsigned_abs() as u32, den as u32));
        Self { num: num / divisor, den: den / divisor }
    }

    /// A sum of what does not fit 64 bits: no music, hence out of the way.
    #[cold]
    fn add_wide(self, other: Self) -> Self {
        let [a, b, c, d] = [self.num, self.den, other.num, other.den].map(i128::from);
        if b == d { Self::reduce(a + c, b) } else { Self::reduce(a * d + c * b, b * d) }
    }

    fn reduce(num: i128, den: i128) -> Self {
        if den == 0 || num == 0 {
            return Self::ZERO;
        }
        if num.abs() < SMALL.into() && den.abs() < SMALL.into() {
            let sign = if den < 0 { -1 } else { 1 };
            return Self::reduce_small(num as i64 * sign, den as i64 * sign);
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

fn small_gcd(mut a: u32, mut b: u32) -> u32 {
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
    #[inline]
    fn add(self, other: Self) -> Self {
        // Denominators below 2^15 with numbers below 2^31 add up to less than 2^47.
        if (self.den | other.den) < 1 << 15 && self.num.abs() < SMALL && other.num.abs() < SMALL {
            let (num, den) = if self.den == other.den {
                (self.num + other.num, self.den)
            } else {
                (self.num * other.den + other.num * self.den, self.den * other.den)
            };
            if num.abs() < SMALL {
                return Self::reduce_small(num, den);
            }
        }
        self.add_wide(other)
    }
}

impl AddAssign for Beats {
    #[inline]
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl Neg for Beats {
    type Output = Self;
    #[inline]
    fn neg(self) -> Self {
        Self { num: -self.num, den: self.den }
    }
}

impl Sub for Beats {
    type Output = Self;
    #[inline]
    fn sub(self, other: Self) -> Self {
        self + -other
    }
}

impl SubAssign for Beats {
    #[inline]
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
    #[inline]
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Beats {
    #[inline]
    fn cmp(&self, other: &Self) -> Ordering {
        if self.den == other.den {
            return self.num.cmp(&other.num);
        }
        if self.num.abs() < SMALL && other.num.abs() < SMALL {
            return (self.num * other.den).cmp(&(other.num * self.den));
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
    fn sums_and_order_are_those_of_whole_numbers_over_a_common_denominator() {
        let dens = [1, 2, 3, 4, 6, 7, 480, 960, 3840, 10_080, 32_767, 32_768, 65_536, (1 << 30) + 1];
        let nums = [0, 1, -1, 2, 3, -12, 479, 1 << 15, -(1 << 20), (1 << 31) - 1, -(1 << 31)];
        let all: Vec<Beats> = dens.iter().flat_map(|d| nums.iter().map(|n| Beats::new(*n, *d))).collect();
        for a in &all {
            for b in &all {
                let [p, q, r, s] = [a.num, a.den, b.num, b.den].map(i128::from);
                let (num, den) = (p * s + r * q, q * s);
                assert_eq!(a.cmp(b), (p * s).cmp(&(r * q)), "{a} and {b}");
                let sum = *a + *b;
                let divisor = gcd(num.unsigned_abs(), den.unsigned_abs()) as i128;
                if den / divisor <= MOST_DENOMINATOR && num.abs() / den < MOST_QUARTERS {
                    assert_eq!(
                        (i128::from(sum.num), i128::from(sum.den)),
                        (num / divisor, den / divisor),
                        "{a} + {b}"
                    );
                }
            }
        }
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
