//! Yield of metal, and what a loss says about its price.

use super::measure::{Fraction, Volume, mg, scaled};
use crate::kernel::quantity::{Mass, Money, half_even};

/// Good metal over the metal it is held against: poured, or charged. The two are
/// different figures and are never shown without which it is.
///
/// `None` when there is nothing to hold it against, or it is more than that.
#[must_use]
pub fn yield_of(good: Mass, against: Mass) -> Option<Fraction> {
    Fraction::new(mg(good) / mg(against))
}

/// Share of the casting in a casting with its feeders, by volume.
#[must_use]
pub fn volume_yield(casting: Volume, feeders: Volume) -> Option<Fraction> {
    Fraction::new(casting.get() / (casting.get() + feeders.get()))
}

/// A loss of metal and the price of metal that its cost implies.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct ImpliedPrice {
    /// Metal lost.
    pub lost: Mass,
    /// Minor units for one kilogram, half to even.
    pub minor_per_kg: i64,
}

/// The price that makes the loss of a part of the metal cost what it does. `None`
/// when nothing is lost.
#[must_use]
pub fn implied_price(melted: Mass, part: Fraction, cost: Money) -> Option<ImpliedPrice> {
    let lost = scaled(melted, part.get())?;
    (lost > Mass::ZERO).then(|| ImpliedPrice { lost, minor_per_kg: half_even(cost.minor(), 1_000_000, lost.mg()) })
}
