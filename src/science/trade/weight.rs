//! From the pattern's weight to the metal's.

use super::measure::{Density, Fraction, Volume, scaled};
use crate::kernel::quantity::Mass;

/// Metal that fills the place of a pattern: `pattern · ρ(metal) / ρ(pattern)`
/// (Ganoksin threads 9936, 2435, 27807), to the milligram, half to even.
///
/// Sprues and cup are in the answer if they are in the weighed pattern. `None` only
/// past what a mass may be.
#[must_use]
pub fn metal_from_wax(pattern: Mass, metal: Density, pattern_density: Density) -> Option<Mass> {
    scaled(pattern, metal.get() / pattern_density.get())
}

/// Metal that fills a volume. `None` only past what a mass may be.
#[must_use]
pub fn metal_from_volume(volume: Volume, metal: Density) -> Option<Mass> {
    metal.mass_of(volume)
}

/// A mass with an allowance on top, as for sprue and button where they were not
/// weighed. `None` only past what a mass may be.
#[must_use]
pub fn with_allowance(mass: Mass, allowance: Fraction) -> Option<Mass> {
    scaled(mass, 1.0 + allowance.get())
}
