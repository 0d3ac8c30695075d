//! Quantities of the trade that the kernel does not have: one finite number each,
//! with the unit in its documentation and a gate that refuses nonsense.

use crate::kernel::quantity::{Mass, Millimetres};

macro_rules! positive {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, PartialOrd, Debug)]
        pub struct $name(f64);

        impl $name {
            /// `None` when not finite or not above 0.
            #[must_use]
            pub fn new(value: f64) -> Option<Self> {
                (value.is_finite() && value > 0.0).then_some(Self(value))
            }
            /// The bare number, in the unit of this type.
            #[must_use]
            pub const fn get(self) -> f64 {
                self.0
            }
        }
    };
}

positive!(
    /// A density in g/cm³.
    Density
);
positive!(
    /// A volume in mm³.
    Volume
);
positive!(
    /// An area in mm².
    Area
);
positive!(
    /// A length of time in seconds.
    Seconds
);
positive!(
    /// The constant C of Chvorinov's rule, in s/mm².
    MouldConstant
);
positive!(
    /// A speed in mm/s.
    Speed
);
positive!(
    /// A flow of volume in mm³/s.
    Flow
);
positive!(
    /// An acceleration in mm/s²: that of gravity.
    Acceleration
);
positive!(
    /// An energy in joules.
    Energy
);
positive!(
    /// A specific heat in J/(kg·K).
    SpecificHeat
);
positive!(
    /// A latent heat in J/kg.
    LatentHeat
);
positive!(
    /// A kinematic viscosity in cSt (mm²/s).
    Viscosity
);
positive!(
    /// A dynamic viscosity in kg/(m·s).
    DynamicViscosity
);
positive!(
    /// A plain ratio above 0.
    Ratio
);

/// A part of a whole, between 0 and 1.
#[derive(Clone, Copy, PartialEq, PartialOrd, Debug)]
pub struct Fraction(f64);

impl Fraction {
    /// The whole.
    pub const ONE: Self = Self(1.0);
    /// Nothing of it.
    pub const NONE: Self = Self(0.0);

    /// `None` when not within 0 and 1.
    #[must_use]
    pub fn new(value: f64) -> Option<Self> {
        (0.0..=1.0).contains(&value).then_some(Self(value))
    }
    /// From percent.
    #[must_use]
    pub fn from_percent(percent: f64) -> Option<Self> {
        Self::new(percent / 100.0)
    }
    /// Between 0 and 1.
    #[must_use]
    pub const fn get(self) -> f64 {
        self.0
    }
    /// In percent.
    #[must_use]
    pub fn percent(self) -> f64 {
        self.0 * 100.0
    }
}

impl Volume {
    /// From cubic centimetres.
    #[must_use]
    pub fn from_cm3(cm3: f64) -> Option<Self> {
        Self::new(cm3 * 1e3)
    }
    /// In cubic centimetres.
    #[must_use]
    pub fn cm3(self) -> f64 {
        self.0 / 1e3
    }
}

impl Area {
    /// The area of a circle.
    #[must_use]
    pub fn circle(diameter: Millimetres) -> Option<Self> {
        Self::new(std::f64::consts::FRAC_PI_4 * diameter.get() * diameter.get())
    }
}

impl Seconds {
    /// From minutes.
    #[must_use]
    pub fn from_minutes(minutes: f64) -> Option<Self> {
        Self::new(minutes * 60.0)
    }
    /// In minutes.
    #[must_use]
    pub fn minutes(self) -> f64 {
        self.0 / 60.0
    }
}

impl Density {
    /// The mass of a volume, to the milligram, half to even; `None` past what a mass
    /// may be.
    #[must_use]
    pub fn mass_of(self, volume: Volume) -> Option<Mass> {
        mass_from_mg(self.0 * volume.get())
    }
}

impl Acceleration {
    /// Standard gravity, 9,806.65 mm/s², exact (NIST SP 811, Appendix B).
    pub const GRAVITY: Self = Self(crate::kernel::units::GRAVITY_M_S2 * 1e3);
}

/// A mass times a plain number, to the milligram, half to even.
pub(super) fn scaled(mass: Mass, factor: f64) -> Option<Mass> {
    mass_from_mg(mg(mass) * factor)
}

/// Milligrams as a floating number; exact below 2⁵³ mg.
#[expect(clippy::cast_precision_loss, reason = "Mass::MAX is below 2^53 mg")]
pub(super) const fn mg(mass: Mass) -> f64 {
    mass.mg() as f64
}

/// The nearest mass to a floating number of milligrams; `None` past 10⁹ kg or when
/// not a number.
#[expect(clippy::cast_possible_truncation, reason = "bounded to 10^15 just before")]
pub(super) fn mass_from_mg(mg: f64) -> Option<Mass> {
    (mg.abs() <= 1e15).then(|| Mass::from_mg(mg.round_ties_even() as i64))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nonsense_is_no_quantity() {
        for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(Density::new(bad), None);
        }
        assert_eq!(Fraction::new(1.000_001), None);
        assert_eq!(Fraction::new(f64::NAN), None);
        assert_eq!(mass_from_mg(f64::NAN), None);
        assert_eq!(mass_from_mg(1e16), None);
    }
}
