//! Viscosity cups: seconds of one cup to kinematic viscosity, inside its range only.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::measure::{Seconds, Viscosity};

/// A cup and its equation, viscosity in cSt = `a · (t − b)` with t in s.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Cup {
    /// Code, as in a coat's or a check's `cup`.
    pub code: String,
    /// Plain name.
    pub name: String,
    /// Slope, cSt/s.
    pub a: f64,
    /// Offset, s.
    pub b: f64,
    /// Shortest valid time, s.
    pub min_s: f64,
    /// Longest valid time, s.
    pub max_s: f64,
    /// Lower end of the cup's range, cSt.
    pub cst_low: f64,
    /// Upper end of the cup's range, cSt.
    pub cst_high: f64,
    /// The standard it belongs to.
    pub standard: String,
    /// Where the equation is from.
    pub source: String,
}

/// What a time in a cup says.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, ToSchema)]
#[serde(rename_all = "snake_case", tag = "kind")]
pub enum CupReading {
    /// A viscosity.
    Inside {
        /// Kinematic viscosity in cSt at 25 °C.
        cst: f64,
    },
    /// The time is outside those for which the cup's equation holds: no number.
    Outside {
        /// Shortest valid time, s.
        min_s: f64,
        /// Longest valid time, s.
        max_s: f64,
    },
}

impl CupReading {
    /// The viscosity, where the reading is inside the cup's range.
    #[must_use]
    pub fn viscosity(self) -> Option<Viscosity> {
        match self {
            Self::Inside { cst } => Viscosity::new(cst),
            Self::Outside { .. } => None,
        }
    }
}

/// Kinematic viscosity of a time in a cup: `a · (t − b)` (Cannon Instrument,
/// viscosity cups table, after ASTM D4212 and D1200). Outside the cup's valid times
/// the answer says so and carries no number.
#[must_use]
pub fn cup_seconds_to_cst(cup: &Cup, time: Seconds) -> CupReading {
    let seconds = time.get();
    if (cup.min_s..=cup.max_s).contains(&seconds) {
        CupReading::Inside { cst: cup.a * (seconds - cup.b) }
    } else {
        CupReading::Outside { min_s: cup.min_s, max_s: cup.max_s }
    }
}
