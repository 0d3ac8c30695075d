//! Patternmaker's shrinkage, by length and by volume.

use super::measure::{Fraction, Ratio};
use crate::kernel::quantity::Millimetres;

/// Linear shrinkage from inches per foot: `(in/ft) / 12`.
#[must_use]
pub fn from_inches_per_foot(inches: f64) -> Option<Fraction> {
    Fraction::new(inches / 12.0)
}

/// Length of the pattern for a casting of a length: `casting · (1 + s)`. Wax and
/// mould shrink apart from this.
#[must_use]
pub fn pattern_length(casting: Millimetres, shrinkage: Fraction) -> Option<Millimetres> {
    Millimetres::new(casting.get() * (1.0 + shrinkage.get()))
}

/// Volume of the pattern over that of the casting at a linear shrinkage: `(1 + s)³`.
#[must_use]
pub fn pattern_volume_ratio(shrinkage: Fraction) -> Option<Ratio> {
    Ratio::new((1.0 + shrinkage.get()).powi(3))
}

/// Length after shrinking by volume in steps one after the other, alike in all
/// directions: `length · ∛∏(1 − sᵢ)`.
#[must_use]
pub fn length_after(length: Millimetres, volumetric: &[Fraction]) -> Option<Millimetres> {
    Millimetres::new(length.get() * kept(volumetric).cbrt())
}

/// Length before shrinking by volume in steps: the inverse of [`length_after`].
#[must_use]
pub fn length_before(length: Millimetres, volumetric: &[Fraction]) -> Option<Millimetres> {
    Millimetres::new(length.get() / kept(volumetric).cbrt())
}

fn kept(volumetric: &[Fraction]) -> f64 {
    volumetric.iter().map(|step| 1.0 - step.get()).product()
}
