//! Two levels against each other, stratum by stratum.

mod breslow_day;
mod conditional;
mod mantel_haenszel;

pub use breslow_day::{Homogeneity, breslow_day};
pub use conditional::{ConditionalTest, conditional_odds_ratio, exact_conditional, fisher_p};
pub use mantel_haenszel::{ChiSquare, MantelHaenszel, mantel_haenszel};

use super::arm::Arm;

/// Levels a and b within one stratum: one two-by-two table.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Stratum {
    /// The first level.
    pub a: Arm,
    /// The second level.
    pub b: Arm,
}

impl Stratum {
    /// Whether it says anything of a against b: both were observed, and among them are
    /// both an event and a non-event.
    #[must_use]
    pub fn informs(&self) -> bool {
        let events = u64::from(self.a.events()) + u64::from(self.b.events());
        let spared = u64::from(self.a.spared()) + u64::from(self.b.spared());
        self.a.of() > 0 && self.b.of() > 0 && events > 0 && spared > 0
    }
}

/// An odds ratio of a to b with its interval.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct OddsRatio {
    /// The estimate; 0 where only b had events, infinite where only a had.
    pub value: f64,
    /// Lower end, 0 or above.
    pub low: f64,
    /// Upper end; may be infinite.
    pub high: f64,
}

impl OddsRatio {
    /// Whether 1, equal odds, lies outside the interval.
    #[must_use]
    pub fn excludes_one(&self) -> bool {
        self.low > 1.0 || self.high < 1.0
    }
}

/// The four cells of a stratum as numbers: events and spared of a, of b, and their sum.
struct Cells {
    a: f64,
    b: f64,
    c: f64,
    d: f64,
    n: f64,
}

impl Cells {
    fn of(stratum: &Stratum) -> Self {
        let (a, b) = (f64::from(stratum.a.events()), f64::from(stratum.a.spared()));
        let (c, d) = (f64::from(stratum.b.events()), f64::from(stratum.b.spared()));
        Self { a, b, c, d, n: a + b + c + d }
    }
}
