//! Mass, money, temperature and length: one integer or one finite number each,
//! with named doors in and out.

use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Neg, Sub, SubAssign};

/// A mass in whole milligrams. May be negative where it is a difference.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Debug)]
pub struct Mass(i64);

/// Money in whole minor units (cents) of the shop's one currency.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Debug)]
pub struct Money(i64);

macro_rules! additive {
    ($name:ident) => {
        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0.saturating_add(other.0))
            }
        }
        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0.saturating_sub(other.0))
            }
        }
        impl Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(self.0.saturating_neg())
            }
        }
        impl AddAssign for $name {
            fn add_assign(&mut self, other: Self) {
                *self = *self + other;
            }
        }
        impl SubAssign for $name {
            fn sub_assign(&mut self, other: Self) {
                *self = *self - other;
            }
        }
        impl Sum for $name {
            fn sum<I: Iterator<Item = Self>>(iter: I) -> Self {
                iter.fold(Self(0), Add::add)
            }
        }
        impl $name {
            /// Nothing.
            pub const ZERO: Self = Self(0);
            /// Whether it is nothing.
            #[must_use]
            pub const fn is_zero(self) -> bool {
                self.0 == 0
            }
        }
    };
}
additive!(Mass);
additive!(Money);

impl Mass {
    /// The most a single record may hold: 10⁶ kg.
    pub const MAX: Self = Self(1_000_000_000_000);

    /// From whole milligrams.
    #[must_use]
    pub const fn from_mg(mg: i64) -> Self {
        Self(mg)
    }
    /// In whole milligrams.
    #[must_use]
    pub const fn mg(self) -> i64 {
        self.0
    }
    /// In kilograms, for showing: the nearest binary fraction, which prints back
    /// exactly to the milligram below 2⁵³ mg.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "below 2^53 by Mass::MAX")]
    pub fn kg(self) -> f64 {
        self.0 as f64 / 1e6
    }
}

impl Money {
    /// The most a single record may hold, in minor units.
    pub const MAX: Self = Self(1_000_000_000_000);

    /// From whole minor units.
    #[must_use]
    pub const fn from_minor(minor: i64) -> Self {
        Self(minor)
    }
    /// In whole minor units.
    #[must_use]
    pub const fn minor(self) -> i64 {
        self.0
    }
}

impl fmt::Display for Mass {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} kg", self.kg())
    }
}

/// `a · b / c` rounded half to even, exactly. `c` of 0 gives 0.
///
/// Intermediates are 128-bit: no record within [`Mass::MAX`] and [`Money::MAX`]
/// can overflow them.
#[must_use]
pub fn half_even(a: i64, b: i64, c: i64) -> i64 {
    if c == 0 {
        return 0;
    }
    let product = i128::from(a) * i128::from(b);
    let c = i128::from(c);
    let quotient = product.div_euclid(c);
    let remainder = product.rem_euclid(c);
    let twice = remainder * 2;
    let up = twice > c.abs() || (twice == c.abs() && quotient % 2 != 0);
    let rounded = if up { quotient + c.signum() } else { quotient };
    i64::try_from(rounded).unwrap_or(if rounded < 0 { i64::MIN } else { i64::MAX })
}

/// A temperature in degrees Celsius: finite, not below absolute zero, at most 3,000.
#[derive(Clone, Copy, PartialEq, PartialOrd, Debug)]
pub struct Celsius(f64);

impl Celsius {
    /// Absolute zero and the hottest thing in a foundry that a probe could read.
    pub const RANGE: (f64, f64) = (-273.15, 3000.0);
    /// `None` when not finite or outside [`Celsius::RANGE`].
    #[must_use]
    pub fn new(degrees: f64) -> Option<Self> {
        (degrees.is_finite() && (Self::RANGE.0..=Self::RANGE.1).contains(&degrees)).then_some(Self(degrees))
    }
    /// The number of degrees.
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }
}

/// A length in millimetres: finite and above 0, at most 100 m.
#[derive(Clone, Copy, PartialEq, PartialOrd, Debug)]
pub struct Millimetres(f64);

impl Millimetres {
    /// `None` when not finite, not above 0 or over 100 m.
    #[must_use]
    pub fn new(mm: f64) -> Option<Self> {
        (mm.is_finite() && mm > 0.0 && mm <= 100_000.0).then_some(Self(mm))
    }
    /// The number of millimetres.
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_even_rounds_ties_to_the_even_neighbour() {
        // Definition of round-half-to-even, IEEE 754-2019 section 4.3.1.
        for (a, b, c, want) in [
            (1, 1, 2, 0),
            (3, 1, 2, 2),
            (5, 1, 2, 2),
            (-1, 1, 2, 0),
            (-3, 1, 2, -2),
            (7, 1, 3, 2),
            (-7, 1, 3, -2),
            (8, 1, 3, 3),
            (-8, 1, 3, -3),
            (1_000_000_000_000, 1_000_000_000_000, 999_999_999_999, 1_000_000_000_001),
            (5, 7, 0, 0),
        ] {
            assert_eq!(half_even(a, b, c), want, "{a}*{b}/{c}");
        }
    }

    #[test]
    fn a_mass_prints_back_to_the_milligram() {
        for mg in [1, 999_999, 26_450_001, 999_999_999_999] {
            let text = Mass::from_mg(mg).kg().to_string();
            let (whole, part) = text.split_once('.').unwrap_or((&text, ""));
            let back = whole.parse::<i64>().unwrap() * 1_000_000 + format!("{part:0<6}").parse::<i64>().unwrap();
            assert_eq!(back, mg);
        }
    }
}
