//! Rates of many levels (recipes, sections, alloys) drawn towards what the levels have in common:
//! the beta-binomial model, x ~ Bin(n, θ), θ ~ Beta(α, β), with mean m = α ∕ (α + β) and
//! precision k = α + β.
//!
//! Pages and answers use [`shrink`], which averages over m and k. [`maximum_likelihood`],
//! [`moments`] and [`anova`] give one (α, β) each and are for comparison: a posterior that
//! takes one of them for the truth ([`plug_in`]) has too little width with few levels, and
//! none where the fit finds no difference between levels.
//!
//! Levels must be exchangeable: nothing known beforehand says that one leaks more than
//! another. Bronze is not drawn towards aluminium.

mod fit;
mod hyperprior;
mod mixture;
mod moments;
mod overdispersion;
mod plug_in;
mod tally;

pub use fit::{BetaFit, maximum_likelihood};
pub use hyperprior::shrink;
pub use moments::{Anova, Moments, anova, moments};
pub use overdispersion::{Overdispersion, overdispersion};
pub use plug_in::{PlugIn, plug_in};

/// What was counted at one level.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Level {
    /// How many had it.
    pub count: u32,
    /// Out of how many observed; 0 for a level that has not been seen yet.
    pub of: u32,
}

impl Level {
    /// How many did not have it.
    const fn rest(self) -> u32 {
        self.of.saturating_sub(self.count)
    }
}

/// A level's rate, drawn towards the others.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Shrunken {
    /// The posterior mean, between 0 and 1.
    pub mean: f64,
    /// The lower end of the equal-tailed interval; not below [`RATE_FLOOR`].
    pub low: f64,
    /// The upper end; not above 1 − [`RATE_FLOOR`].
    pub high: f64,
    /// The share of the level's own rate in its mean, n ∕ (n + k) averaged over k; the rest is
    /// the levels in common.
    pub own_weight: f64,
}

/// Ends of intervals are sought between this and its complement: a level that never leaked
/// among levels that mostly do not may have a rate of 10⁻⁴⁰, which is said as 10⁻⁸.
pub const RATE_FLOOR: f64 = 1e-8;

/// Whether every count is possible.
fn possible(levels: &[Level]) -> bool {
    levels.iter().all(|level| level.count <= level.of)
}

#[cfg(test)]
mod tests;
