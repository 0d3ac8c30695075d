//! The tables hold together, and every worked example comes out.
//!
//! Status of an example: *published* (answer seen at the source), *recalled* (problem
//! seen, published answer recalled and recomputed) or *our arithmetic* (from cited
//! inputs). Half a percent is allowed unless said: it is the printed rounding.

mod charge_and_heat;
mod flow;
mod freezing;
mod tables;
mod weight_and_shrinkage;
mod yields_and_instruments;

use super::measure::{Density, Fraction, Seconds};
use crate::kernel::quantity::{Mass, Millimetres};

/// Printed rounding of the worked examples.
const PRINTED: f64 = 0.005;

#[track_caller]
fn near(got: f64, want: f64) {
    within(got, want, PRINTED);
}

#[track_caller]
fn within(got: f64, want: f64, relative: f64) {
    assert!((got - want).abs() <= relative * want.abs(), "got {got}, want {want}");
}

fn grams(grams: f64) -> Mass {
    super::measure::mass_from_mg(grams * 1e3).unwrap()
}

fn kilograms(kg: f64) -> Mass {
    grams(kg * 1e3)
}

fn in_grams(mass: Option<Mass>) -> f64 {
    mass.unwrap().kg() * 1e3
}

fn mm(mm: f64) -> Millimetres {
    Millimetres::new(mm).unwrap()
}

fn density(g_cm3: f64) -> Density {
    Density::new(g_cm3).unwrap()
}

fn percent(percent: f64) -> Fraction {
    Fraction::from_percent(percent).unwrap()
}

fn minutes(minutes: f64) -> Seconds {
    Seconds::from_minutes(minutes).unwrap()
}
