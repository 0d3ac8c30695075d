//! (α, β) by maximum likelihood.

use super::super::gamma::ln_gamma_rise;
use super::tally::Tallies;
use super::{Level, possible};

/// Most halvings of a bracket; one of 100 in ln k is below the spacing of numbers after 60.
const MOST_HALVINGS: u32 = 100;
/// ln k is sought between these.
const SOUGHT: (f64, f64) = (-25.0, 25.0);

/// What one (α, β) says of the levels.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum BetaFit {
    /// Levels differ, by so much.
    Interior {
        /// First shape.
        alpha: f64,
        /// Second shape.
        beta: f64,
        /// α ∕ (α + β).
        mean: f64,
        /// The intraclass correlation 1 ∕ (α + β + 1).
        correlation: f64,
    },
    /// Levels differ no more than by chance: α + β runs to infinity, one pooled rate.
    NoExcessVariation {
        /// That rate.
        mean: f64,
    },
    /// Levels are all or nothing: α + β runs to 0.
    AllOrNothing {
        /// The share of levels that are all.
        mean: f64,
    },
}

impl BetaFit {
    /// From a mean and a precision α + β that may come out at or below 0.
    pub(super) fn of_precision(mean: f64, precision: f64) -> Self {
        if precision > 0.0 {
            let (alpha, beta) = (mean * precision, (1.0 - mean) * precision);
            Self::Interior { alpha, beta, mean, correlation: 1.0 / (precision + 1.0) }
        } else {
            Self::AllOrNothing { mean }
        }
    }
}

/// The maximum-likelihood fit, with the log-likelihood, binomial coefficients included.
///
/// No variation beyond chance is reported where the score for it at the pooled rate p,
/// Σ x(x − 1) ∕ p + (n − x)(n − x − 1) ∕ (1 − p) − n(n − 1), is not above 0 (Tarone 1979): there
/// is no maximum to iterate to. Else the derivative in k of the likelihood profiled over m is
/// followed to its root by halving; in m the likelihood is log-concave, so that inner root is
/// the only one.
///
/// `None` where nothing is observed or a count exceeds its total.
#[must_use]
pub fn maximum_likelihood(levels: &[Level]) -> Option<(BetaFit, f64)> {
    if !possible(levels) {
        return None;
    }
    let tallies = Tallies::new(levels);
    let events: f64 = levels.iter().map(|level| f64::from(level.count)).sum();
    let pooled = events / tallies.observed;
    if tallies.observed <= 0.0 {
        return None;
    }
    if excess_score(levels, pooled) <= 0.0 {
        let part = |count: f64, rate: f64| if count > 0.0 { count * rate.ln() } else { 0.0 };
        let ln_likelihood = part(events, pooled) + part(tallies.observed - events, 1.0 - pooled) + ln_choices(levels);
        return Some((BetaFit::NoExcessVariation { mean: pooled }, ln_likelihood));
    }
    let slope = |ln_k: f64| {
        let k = ln_k.exp();
        let m = best_mean(&tallies, k);
        let of_mean = m * tallies.counts.digamma_rises(m * k) + (1.0 - m) * tallies.rests.digamma_rises((1.0 - m) * k);
        of_mean - tallies.totals.digamma_rises(k)
    };
    // At k → 0 the slope is that of ln k times the number of levels with both outcomes.
    if slope(SOUGHT.0) <= 0.0 {
        let all = levels.iter().filter(|level| level.count > 0).count() as f64;
        let seen = levels.iter().filter(|level| level.of > 0).count() as f64;
        let share = all / seen;
        let ln_likelihood = all * share.ln() + (seen - all) * (1.0 - share).ln();
        return Some((BetaFit::AllOrNothing { mean: share }, ln_likelihood));
    }
    let k = halve(slope, SOUGHT.0, SOUGHT.1).exp();
    let m = best_mean(&tallies, k);
    let ln_likelihood = tallies.of_mean(m, 1.0 - m, k) + tallies.of_precision(k) + ln_choices(levels);
    Some((BetaFit::of_precision(m, k), ln_likelihood))
}

/// The score of variation beyond chance at the pooled rate.
fn excess_score(levels: &[Level], p: f64) -> f64 {
    if p <= 0.0 || p >= 1.0 {
        return 0.0;
    }
    let pairs = |count: u32| f64::from(count) * (f64::from(count) - 1.0);
    levels.iter().map(|level| pairs(level.count) / p + pairs(level.rest()) / (1.0 - p) - pairs(level.of)).sum()
}

/// The mean at which the likelihood is highest for this precision: its derivative falls
/// throughout.
fn best_mean(tallies: &Tallies, k: f64) -> f64 {
    halve(|m| tallies.counts.digamma_rises(m * k) - tallies.rests.digamma_rises((1.0 - m) * k), 1e-12, 1.0 - 1e-12)
}

/// The root of a function that falls through 0 between two points; an end where it does not.
fn halve(f: impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> f64 {
    for _ in 0..MOST_HALVINGS {
        let middle = f64::midpoint(low, high);
        if middle <= low || middle >= high {
            break;
        }
        if f(middle) > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high)
}

/// Σ ln of the binomial coefficients C(n, x).
fn ln_choices(levels: &[Level]) -> f64 {
    levels
        .iter()
        .map(|level| {
            let (x, y) = (f64::from(level.count), f64::from(level.rest()));
            ln_gamma_rise(1.0 + y, x) - ln_gamma_rise(1.0, x)
        })
        .sum()
}
