//! A trial of two ways of working, A and B, by pairs of shells and a coin, that may be looked at
//! after every pair.
//!
//! Two named, ready shells of one stratum are paired, and only then does the coin ([`coin`])
//! assign A and B. A pair tells something when one of the two failed. Under "the coin changed
//! nothing" each such pair is a fair coin, whatever the shells, heats and drift, so betting on
//! their share gives an e-value ([`evidence`]) that is 1 on average and reaches 20 in at most 1
//! of 20 trials, however often it is read (Ville 1939). The confidence sequence of the mean
//! difference ([`difference`]) inverts the same bet (Waudby-Smith & Ramdas 2024, JRSS B 86), so
//! that the two never disagree. [`verdict`] puts it in a word, [`power`] says beforehand how long
//! it will take, [`blocks`] is the e-value of blocks larger than a pair (Grünwald, de Heide &
//! Koolen 2024, JRSS B 86).

use serde::Serialize;
use utoipa::ToSchema;

pub mod blocks;
pub mod coin;
pub mod difference;
pub mod evidence;
pub mod power;
pub mod prospects;
mod quadrature;
pub mod verdict;

pub use blocks::{Block, block_e_value};
pub use coin::arm_of_first;
pub use difference::{Difference, difference, ln_k};
pub use evidence::{Evidence, ln_e_value, pair_e_value, path};
pub use power::{PairsToStop, pairs_for, pairs_to_stop, power, years};
pub use prospects::alike_at;
pub use verdict::{Course, Plan, Stop, Verdict, assess, follow};

#[cfg(test)]
mod tests;

/// The chance of ever telling apart what is alike, over a whole trial.
pub const ALPHA: f64 = 0.05;
/// From this e-value on the arms are told apart: `1 / ALPHA`.
pub const TOLD_APART: f64 = 20.0;
/// From this e-value on a trial leans; one in seven does at some time where nothing differs.
pub const LEANING: f64 = 5.0;

/// One of the two ways of working.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Arm {
    /// The first named.
    A,
    /// The second named.
    B,
}

/// What one completed pair says.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Pair {
    /// Only the shell of A failed.
    AOnly,
    /// Only the shell of B failed.
    BOnly,
    /// Both failed, or neither.
    Same,
}

impl Pair {
    /// From what both shells did.
    #[must_use]
    pub const fn of(a_failed: bool, b_failed: bool) -> Self {
        match (a_failed, b_failed) {
            (true, false) => Self::AOnly,
            (false, true) => Self::BOnly,
            _ => Self::Same,
        }
    }
}

/// The completed pairs of a trial, of all strata together.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default, Serialize, ToSchema)]
pub struct Counts {
    /// Pairs of which only A failed.
    pub a_only: u32,
    /// Pairs of which only B failed.
    pub b_only: u32,
    /// Pairs of which both failed, or neither.
    pub same: u32,
}

impl Counts {
    /// All completed pairs.
    #[must_use]
    pub fn pairs(self) -> f64 {
        f64::from(self.a_only) + f64::from(self.b_only) + f64::from(self.same)
    }

    /// With one more pair.
    #[must_use]
    pub const fn with(mut self, pair: Pair) -> Self {
        let count = match pair {
            Pair::AOnly => &mut self.a_only,
            Pair::BOnly => &mut self.b_only,
            Pair::Same => &mut self.same,
        };
        *count = count.saturating_add(1);
        self
    }

    /// The arm that failed more often where the other did not; `None` where they are even.
    #[must_use]
    pub const fn worse(self) -> Option<Arm> {
        if self.a_only > self.b_only {
            Some(Arm::A)
        } else if self.a_only < self.b_only {
            Some(Arm::B)
        } else {
            None
        }
    }
}
