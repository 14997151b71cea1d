//! Performed time and level as types, so that one is never added to the other.

use std::iter::Sum;
use std::ops::{Add, AddAssign, Div, Mul, Neg, Sub, SubAssign};

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
        pub struct $name(pub f64);

        impl $name {
            /// Nothing of it.
            pub const ZERO: Self = Self(0.0);

            /// The smaller of two.
            pub fn min(self, other: Self) -> Self {
                Self(self.0.min(other.0))
            }

            /// The larger of two.
            pub fn max(self, other: Self) -> Self {
                Self(self.0.max(other.0))
            }

            /// Held within `low..=high`. `low` must not be above `high`.
            pub fn clamp(self, low: Self, high: Self) -> Self {
                Self(self.0.max(low.0).min(high.0))
            }

            /// Without its sign.
            pub fn abs(self) -> Self {
                Self(self.0.abs())
            }

            /// Order for sorting; total also over values that are not numbers.
            pub fn total_cmp(&self, other: &Self) -> std::cmp::Ordering {
                self.0.total_cmp(&other.0)
            }
        }

        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }
        impl AddAssign for $name {
            fn add_assign(&mut self, other: Self) {
                self.0 += other.0;
            }
        }
        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }
        impl SubAssign for $name {
            fn sub_assign(&mut self, other: Self) {
                self.0 -= other.0;
            }
        }
        impl Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }
        impl Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }
        impl Div<f64> for $name {
            type Output = Self;
            fn div(self, divisor: f64) -> Self {
                Self(self.0 / divisor)
            }
        }
        impl Div for $name {
            type Output = f64;
            fn div(self, other: Self) -> f64 {
                self.0 / other.0
            }
        }
        impl Sum for $name {
            fn sum<I: Iterator<Item = Self>>(items: I) -> Self {
                items.fold(Self::ZERO, |a, b| a + b)
            }
        }
    };
}

quantity! {
    /// Performed time or a span of it, in seconds. Instants count from the start of bar 1.
    Seconds
}
quantity! {
    /// A level or a difference of levels, in decibels.
    Decibels
}

impl Seconds {
    /// From milliseconds.
    pub fn from_millis(ms: f64) -> Self {
        Self(ms / 1000.0)
    }

    /// In milliseconds.
    pub fn millis(self) -> f64 {
        self.0 * 1000.0
    }
}

impl Decibels {
    /// As a factor on amplitude: 10^(dB/20).
    pub fn amplitude(self) -> f64 {
        crate::math::pow(10.0, self.0 / 20.0)
    }

    /// Of an amplitude above zero; anything else gives -200 dB.
    pub fn from_amplitude(amplitude: f64) -> Self {
        if amplitude > 1e-10 { Self(20.0 * crate::math::log10(amplitude)) } else { Self(-200.0) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn six_decibels_is_about_double() {
        assert!((Decibels(6.0206).amplitude() - 2.0).abs() < 1e-5);
        assert!((Decibels::from_amplitude(0.5).0 + 6.0206).abs() < 1e-4);
        assert_eq!(Decibels::from_amplitude(0.0).0, -200.0);
    }
}
