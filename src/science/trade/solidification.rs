//! Chvorinov's rule: freezing time t = C · (V/A)².
//!
//! C comes from a like casting in a like mould that was timed; V is the volume and A
//! the area that gives off heat.

use std::f64::consts::PI;

use super::measure::{Area, MouldConstant, Seconds, Volume};
use crate::kernel::quantity::Millimetres;

/// A plain body, with all its faces cooling.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Body {
    /// A block or plate.
    Block {
        /// Its three edges.
        edges: [Millimetres; 3],
    },
    /// A cylinder with both ends.
    Cylinder {
        /// Diameter.
        diameter: Millimetres,
        /// Height.
        height: Millimetres,
    },
    /// A sphere.
    Sphere {
        /// Diameter.
        diameter: Millimetres,
    },
}

impl Body {
    /// A cube of an edge.
    #[must_use]
    pub const fn cube(edge: Millimetres) -> Self {
        Self::Block { edges: [edge, edge, edge] }
    }
    /// The sphere of a volume.
    #[must_use]
    pub fn sphere_of(volume: Volume) -> Option<Self> {
        let diameter = Millimetres::new((6.0 * volume.get() / PI).cbrt())?;
        Some(Self::Sphere { diameter })
    }
    /// Its volume.
    #[must_use]
    pub fn volume(self) -> Option<Volume> {
        Volume::new(match self {
            Self::Block { edges: [a, b, c] } => a.get() * b.get() * c.get(),
            Self::Cylinder { diameter, height } => PI / 4.0 * diameter.get() * diameter.get() * height.get(),
            Self::Sphere { diameter } => PI / 6.0 * diameter.get().powi(3),
        })
    }
    /// Its whole surface.
    #[must_use]
    pub fn area(self) -> Option<Area> {
        Area::new(match self {
            Self::Block { edges: [a, b, c] } => 2.0 * (a.get() * b.get() + b.get() * c.get() + c.get() * a.get()),
            Self::Cylinder { diameter, height } => PI * diameter.get() * (diameter.get() / 2.0 + height.get()),
            Self::Sphere { diameter } => PI * diameter.get() * diameter.get(),
        })
    }
    /// Its modulus, all faces cooling.
    #[must_use]
    pub fn modulus(self) -> Option<Millimetres> {
        modulus(self.volume()?, self.area()?)
    }
}

/// Modulus V/A; only the cooling area counts.
#[must_use]
pub fn modulus(volume: Volume, cooling: Area) -> Option<Millimetres> {
    Millimetres::new(volume.get() / cooling.get())
}

/// The constant of a casting that was timed: `C = t / (V/A)²` (Chvorinov; Groover,
/// riser example).
#[must_use]
pub fn mould_constant(freezing: Seconds, modulus: Millimetres) -> Option<MouldConstant> {
    MouldConstant::new(freezing.get() / (modulus.get() * modulus.get()))
}

/// Freezing time: `t = C · (V/A)²`.
#[must_use]
pub fn freezing_time(constant: MouldConstant, modulus: Millimetres) -> Option<Seconds> {
    Seconds::new(constant.get() * modulus.get() * modulus.get())
}

/// Diameter of a cylindrical riser as high as wide, all faces cooling, that freezes
/// in a time: its modulus is D/6, so `D = 6 √(t/C)`.
#[must_use]
pub fn riser_diameter(constant: MouldConstant, freezing: Seconds) -> Option<Millimetres> {
    Millimetres::new(6.0 * (freezing.get() / constant.get()).sqrt())
}
