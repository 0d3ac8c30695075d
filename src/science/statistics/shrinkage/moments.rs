//! (α, β) from moments: quick, and good first guesses.

use super::Level;
use super::fit::BetaFit;

/// The fit from the unweighted mean and variance of the levels' rates.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Moments {
    /// Unweighted mean of x ∕ n.
    pub mean: f64,
    /// Variance of x ∕ n, with k − 1.
    pub variance: f64,
    /// The distribution that has them.
    pub fit: BetaFit,
}

/// α + β = m(1 − m) ∕ v − 1 with m and v the mean and variance of the rates (Gelman et al.,
/// *Bayesian Data Analysis*, section 5.1). It takes the noise of counting for a difference
/// between levels, so it shrinks too little at small n.
///
/// `None` below two observed levels, or where a count exceeds its total.
#[must_use]
pub fn moments(levels: &[Level]) -> Option<Moments> {
    let seen = observed(levels)?;
    let k = seen.len() as f64;
    let rates: Vec<f64> = seen.iter().map(|(x, n)| x / n).collect();
    let mean = rates.iter().sum::<f64>() / k;
    let variance = rates.iter().map(|rate| (rate - mean).powi(2)).sum::<f64>() / (k - 1.0);
    // Equal rates may differ by rounding of their mean.
    let fit = if variance <= 1e-30 {
        BetaFit::NoExcessVariation { mean }
    } else {
        BetaFit::of_precision(mean, mean * (1.0 - mean) / variance - 1.0)
    };
    Some(Moments { mean, variance, fit })
}

/// The fit from the analysis of variance of the single outcomes.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Anova {
    /// Σx ∕ Σn.
    pub mean: f64,
    /// The intraclass correlation as it comes, below 0 where levels differ less than by chance.
    pub correlation: f64,
    /// The distribution that has them.
    pub fit: BetaFit,
}

/// The intraclass correlation ρ = (MSB − MSW) ∕ (MSB + (n₀ − 1) MSW) of the 0∕1 outcomes, with
/// n₀ = (N − Σn² ∕ N) ∕ (k − 1), and α + β = 1 ∕ ρ − 1 (Ridout, Demétrio & Firth, *Biometrics*
/// 55, 1999, 137–148).
///
/// `None` below two observed levels, where every level has one outcome only or all outcomes
/// are alike, or where a count exceeds its total.
#[must_use]
pub fn anova(levels: &[Level]) -> Option<Anova> {
    let seen = observed(levels)?;
    let k = seen.len() as f64;
    let (events, total) = seen.iter().fold((0.0, 0.0), |(x, n), level| (x + level.0, n + level.1));
    let mean = events / total;
    let between = seen.iter().map(|(x, n)| n * (x / n - mean).powi(2)).sum::<f64>() / (k - 1.0);
    let within = seen.iter().map(|(x, n)| x * (n - x) / n).sum::<f64>() / (total - k);
    let size = (total - seen.iter().map(|(_, n)| n * n).sum::<f64>() / total) / (k - 1.0);
    let correlation = (between - within) / (between + (size - 1.0) * within);
    if !correlation.is_finite() {
        return None;
    }
    let fit = if correlation <= 0.0 {
        BetaFit::NoExcessVariation { mean }
    } else {
        BetaFit::of_precision(mean, 1.0 / correlation - 1.0)
    };
    Some(Anova { mean, correlation, fit })
}

/// The levels with something observed, as (x, n); none below two.
pub(super) fn observed(levels: &[Level]) -> Option<Vec<(f64, f64)>> {
    let seen: Vec<(f64, f64)> =
        levels.iter().filter(|level| level.of > 0).map(|level| (f64::from(level.count), f64::from(level.of))).collect();
    (super::possible(levels) && seen.len() >= 2).then_some(seen)
}
