//! One measured thing on others: least squares, lines that a wild job does not rule, and
//! intervals for the next one that need no bell curve.
//!
//! An interval is always that of the next single job, never the narrower one of the mean; and
//! where a prediction lies outside the values seen it says so.

mod conformal;
mod jackknife;
mod least_squares;
mod line;
mod log_log;
mod quantile;
mod rank;
mod theil_sen;

pub use conformal::{ConformalCoverage, ScoreKind, SplitConformal, conformal_coverage, split_conformal};
pub use jackknife::{JackknifePlus, Model, jackknife_plus};
pub use least_squares::{LeastSquares, least_squares};
pub use line::{Line, LinePrediction};
pub use log_log::{LogLog, LogLogPrediction};
pub use quantile::{QuantileLine, quantile_line};
pub use theil_sen::{TheilSen, theil_sen};

/// Why there is no fit.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum NoFit {
    /// Lists of different lengths.
    Lengths,
    /// A value is infinite or not a number, or a result would be.
    NotFinite,
    /// Too few values for what is to be found.
    TooFew,
    /// A column is determined by the others, or all x are the same.
    Collinear,
    /// A value at or below 0 has no logarithm.
    NotPositive,
    /// A level not within (0, 1).
    Level,
    /// The search did not end within its limits.
    NotConverged,
}

/// Two lists of one length, finite throughout.
fn paired(x: &[f64], y: &[f64], least: usize) -> Result<(), NoFit> {
    if x.len() != y.len() {
        return Err(NoFit::Lengths);
    }
    if x.iter().chain(y).any(|value| !value.is_finite()) {
        return Err(NoFit::NotFinite);
    }
    if x.len() < least { Err(NoFit::TooFew) } else { Ok(()) }
}

#[cfg(test)]
mod tests;
