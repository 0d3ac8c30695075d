//! The one algorithm behind the words: told apart, leaning, cannot tell yet.
//!
//! The unit is the shell (for defects a casting's defect counts once per shell). Levels of
//! one factor are compared within strata of what is adjusted for; p is exact, or by
//! permutation of heats where the factor is constant within them; Holm's adjustment goes
//! over the whole family of comparisons, also where only one of them is asked for. Crude
//! figures are shown as crude and never decide. Read once, a report errs anywhere, in pairs,
//! levels or ranks, with at most the chance of its threshold.

mod compare;
mod counts;
mod family;
mod ranks;
#[cfg(test)]
mod simulations;
#[cfg(test)]
mod tests;

pub use compare::{Adjusted, Comparison, PoursNeeded, Used};
pub use counts::Cell;
pub use family::{Family, Kind, changed, compare, judge, judge_among};
pub use ranks::Places;

/// The threshold of pages that stand and are read again and again.
pub const STANDING: f64 = 0.01;
/// The threshold of a comparison named beforehand and read once.
pub const NAMED_BEFOREHAND: f64 = 0.05;
/// Below this raw p a comparison that is not told apart leans.
pub const LEANING: f64 = 0.05;
/// Levels with fewer shells are in no family: counts only.
pub const LEAST_SHELLS: u32 = 5;
/// With more levels each is compared with all the rest, not with each other.
pub const MOST_IN_PAIRS: usize = 12;

/// How a report is to be read.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Options {
    /// Holm's p must be below it: [`STANDING`] or [`NAMED_BEFOREHAND`].
    pub threshold: f64,
    /// Whether the factor is constant within heats (furnace, hand, month; for a kiln the
    /// burnout load), so that heats are permuted. A heat in which both levels occur in spite
    /// of that counts as two.
    pub within_heats: bool,
    /// The smallest difference of rates worth knowing, between 0 and 1.
    pub worth_knowing: f64,
    /// The seed of permutations.
    pub seed: u64,
}

/// The word for a comparison.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Verdict {
    /// Holm's p is below the threshold, the adjusted interval excludes 1, and at least half
    /// of the shells of either side could be used.
    ToldApart,
    /// Not that, and the raw p is below 0.05.
    Leaning,
    /// Neither. This does not say that they are alike.
    CannotTellYet,
}

impl Verdict {
    /// As answered.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::ToldApart => "told_apart",
            Self::Leaning => "leaning",
            Self::CannotTellYet => "cannot_tell_yet",
        }
    }
}

/// A side of a comparison.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Side {
    /// The first.
    A,
    /// The second, or all the rest.
    B,
}

/// How the p of a comparison was found.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Test {
    /// Exact, given the margins of every stratum.
    ExactConditional,
    /// By so many permutations of heats within strata.
    HeatPermutation(u32),
}

impl Test {
    /// As answered.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::ExactConditional => "exact_conditional_stratified",
            Self::HeatPermutation(_) => "permutation_of_heats_within_strata",
        }
    }
}

/// How the odds ratio of a comparison was found.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Estimate {
    /// Mantel and Haenszel's, with the limits of Robins, Breslow and Greenland.
    MantelHaenszel,
    /// Conditional, with exact limits: one side had none or all of the events it could have.
    ExactConditional,
}

impl Estimate {
    /// As answered.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::MantelHaenszel => "mantel_haenszel",
            Self::ExactConditional => "exact_conditional",
        }
    }
}
