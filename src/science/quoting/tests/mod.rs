//! Quotes against closed forms, sums worked by hand, and shops whose truth is known.

mod basis_and_fit;
mod coverage;
mod price;
mod random;
mod shops;
mod simulation;
mod worked;

use super::*;
use crate::science::statistics::quoting::Driver;

/// A line of bronze without prices: nothing said, nothing asked for.
pub fn line(mass_kg: f64, copies: u32) -> AskedLine {
    AskedLine {
        mass_kg,
        family: 0,
        section_mm: 5.0,
        recipe: None,
        finish: None,
        copies,
        most_attempts: 3,
        client_bears_recast: false,
        metal_per_kg: 0.0,
        prices: Vec::new(),
        fixed: 0.0,
        per_piece: 0.0,
    }
}

/// A casting of bronze of which nothing but its mass is known.
pub fn past(mass_kg: f64) -> Comparable {
    Comparable {
        mass_kg,
        family: 0,
        section_mm: 5.0,
        recipe: Some(1),
        finish: Some(1),
        pieces: 1,
        castings: 1,
        failed: 0,
        net_over_estimate: None,
        poured_over_net: None,
        lost_share: None,
        failed_share: None,
        values: Vec::new(),
        known_from: 0,
    }
}

/// A mover of a handbook.
pub fn spec(name: &str, per: Per, unit: Unit, slope: f64, at_one_kg: f64, scale: f64) -> MoverSpec {
    MoverSpec { name: name.into(), per, unit, slope, handbook: Some(Handbook { at_one_kg, scale }) }
}

/// Known with a spread of ln, as if on record without end.
pub fn known(median: f64, scale: f64) -> Rung {
    Rung { driver: Driver { own: None, median, scale, freedom: 1e6 }, slope: 0.0, effective: 9.0, on_record: 9 }
}

/// A fit whose metal is as estimated, poured twice over, with a loss of value of a tenth on good
/// castings and a quarter on failed ones, all without spread; never failing.
pub fn certain(movers: Vec<MoverFit>) -> Fit {
    Fit {
        net_over_estimate: known(1.0, 0.0),
        poured_over_net: known(2.0, 0.0),
        lost_share: known(0.1, 0.0),
        failed_share: known(0.25, 0.0),
        loss: (1e-9, 1e9),
        effective: 9.0,
        movers: movers.into_iter().map(Some).collect(),
        absent: Vec::new(),
    }
}

/// A mover always done.
pub fn mover(name: &str, per: Per, unit: Unit, rung: Rung) -> MoverFit {
    MoverFit { name: name.into(), per, unit, done: 1.0, rung: Some(rung) }
}

/// Equal to a billionth.
pub fn near(got: f64, want: f64) -> bool {
    (got - want).abs() <= 1e-9 * want.abs().max(1.0)
}
