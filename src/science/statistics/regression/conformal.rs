//! Split conformal intervals: how far past answers were off is how far the next may be.

use super::super::special::{beta_cdf, beta_quantile};
use super::NoFit;
use super::rank::{Level, of_rank, sorted};

/// How an answer was scored.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum ScoreKind {
    /// |y − ŷ|: the interval is ŷ ± q.
    Absolute,
    /// y − ŷ: an upper bound only.
    Upper,
    /// |ln(y ∕ ŷ)|: the interval is ŷ times or divided by e^q.
    Ratio,
}

/// A split conformal interval. An end that is absent is infinite: there are too few scores to
/// say anything at this level.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct SplitConformal {
    /// The rank ⌈(n + 1)(1 − α)⌉ of the score taken.
    pub rank: usize,
    /// That score.
    pub score: Option<f64>,
    /// Lower end; always absent for [`ScoreKind::Upper`], never for [`ScoreKind::Ratio`], where
    /// it then is 0.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
}

/// The interval around a prediction from the scores of past ones (Vovk, Gammerman & Shafer
/// 2005; Lei et al., *JASA* 113, 2018, 1094–1111). It holds with chance 1 − α or more, on
/// average over shops, where past and next are exchangeable; 80 % takes 4 scores, 90 % 9.
pub fn split_conformal(scores: &[f64], alpha: f64, prediction: f64, kind: ScoreKind) -> Result<SplitConformal, NoFit> {
    let level = Level::new(alpha)?.complement();
    if scores.iter().chain([&prediction]).any(|value| !value.is_finite()) {
        return Err(NoFit::NotFinite);
    }
    if kind == ScoreKind::Ratio && prediction <= 0.0 {
        return Err(NoFit::NotPositive);
    }
    let rank = level.rank_above(scores.len());
    let score = of_rank(&sorted(scores.iter().copied()), rank);
    let finite = |value: f64| value.is_finite().then_some(value);
    let (low, high) = match kind {
        ScoreKind::Absolute => (score.and_then(|q| finite(prediction - q)), score.and_then(|q| finite(prediction + q))),
        ScoreKind::Upper => (None, score.and_then(|q| finite(prediction + q))),
        ScoreKind::Ratio => {
            (Some(score.map_or(0.0, |q| prediction * (-q).exp())), score.and_then(|q| finite(prediction * q.exp())))
        }
    };
    Ok(SplitConformal { rank, score, low, high })
}

/// What a level of split conformal intervals is worth.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct ConformalCoverage {
    /// The rank taken, k = ⌈(n + 1)(1 − α)⌉.
    pub rank: usize,
    /// The share of intervals that hold, over shops: k ∕ (n + 1) for continuous scores.
    pub marginal: f64,
    a: f64,
    b: f64,
}

/// Coverage with n scores at level 1 − α; `Ok(None)` where the interval is infinite, k > n.
pub fn conformal_coverage(n: usize, alpha: f64) -> Result<Option<ConformalCoverage>, NoFit> {
    let rank = Level::new(alpha)?.complement().rank_above(n);
    let (a, total) = (rank as f64, n as f64 + 1.0);
    Ok((rank <= n).then(|| ConformalCoverage { rank, marginal: a / total, a, b: total - a }))
}

impl ConformalCoverage {
    /// The shapes of the long-run coverage within one shop, Beta(k, n + 1 − k) (Vovk 2012).
    #[must_use]
    pub const fn shapes(&self) -> (f64, f64) {
        (self.a, self.b)
    }

    /// Its quantile: with chance `p` a shop's coverage is below.
    #[must_use]
    pub fn quantile(&self, p: f64) -> Option<f64> {
        beta_quantile(p, self.a, self.b)
    }

    /// The chance that a shop's coverage lies between two shares.
    #[must_use]
    pub fn chance_between(&self, low: f64, high: f64) -> Option<f64> {
        Some((beta_cdf(self.a, self.b, high)? - beta_cdf(self.a, self.b, low)?).max(0.0))
    }
}
