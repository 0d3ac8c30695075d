//! The posterior of one level where (α, β) is taken for known.

use super::super::binomial::Interval;
use super::super::special::beta_quantile;
use super::Level;

/// Beta(α + x, β + n − x), summed up.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct PlugIn {
    /// (α + x) ∕ (α + β + n).
    pub mean: f64,
    /// Its standard deviation.
    pub sd: f64,
    /// The equal-tailed interval.
    pub interval: Interval,
    /// n ∕ (n + α + β): the share of the level's own rate in the mean.
    pub own_weight: f64,
}

/// The posterior of a level's rate under a known Beta(α, β) (Gelman et al., *Bayesian Data
/// Analysis*, section 5.1). It leaves out that α and β are themselves estimates.
///
/// `None` unless α, β > 0, count ≤ total and 0 < confidence < 1.
#[must_use]
pub fn plug_in(alpha: f64, beta: f64, level: Level, confidence: f64) -> Option<PlugIn> {
    if !(confidence > 0.0 && confidence < 1.0) || level.count > level.of || !(alpha > 0.0 && beta > 0.0) {
        return None;
    }
    let (a, b) = (alpha + f64::from(level.count), beta + f64::from(level.rest()));
    let total = a + b;
    let tail = (1.0 - confidence) / 2.0;
    let interval = Interval { low: beta_quantile(tail, a, b)?, high: 1.0 - beta_quantile(tail, b, a)? };
    Some(PlugIn {
        mean: a / total,
        sd: (a / total * (b / total) / (total + 1.0)).sqrt(),
        interval,
        own_weight: f64::from(level.of) / total,
    })
}
