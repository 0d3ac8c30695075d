//! The jackknife+: every job predicted from the others.

use super::least_squares::mean;
use super::line::Through;
use super::rank::{Level, of_rank, sorted};
use super::{NoFit, paired};

/// What is refitted without each point.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Model {
    /// A least-squares line.
    Line,
    /// The mean of y.
    Mean,
}

impl Model {
    /// The fitted value at `at` from the points other than `without`.
    fn predict(self, x: &[f64], y: &[f64], without: Option<usize>, at: f64) -> Result<f64, NoFit> {
        let others =
            x.iter().copied().zip(y.iter().copied()).enumerate().filter(|(i, _)| Some(*i) != without).map(|(_, point)| point);
        match self {
            Self::Line => Through::of(others).map(|line| line.at(at)).ok_or(NoFit::Collinear),
            Self::Mean => Ok(mean(&others.map(|(_, y)| y).collect::<Vec<f64>>())),
        }
    }
}

/// A jackknife+ interval. An end that is absent is infinite.
#[derive(Clone, PartialEq, Debug)]
pub struct JackknifePlus {
    /// |y − fit without it|, for each point.
    pub residuals: Vec<f64>,
    /// The prediction without each point.
    pub predictions: Vec<f64>,
    /// The ranks taken, ⌊α(n + 1)⌋ and ⌈(1 − α)(n + 1)⌉.
    pub ranks: (usize, usize),
    /// Lower end.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
    /// The plain jackknife's ends, the fit to all ± the residual of the upper rank; no
    /// guarantee goes with them.
    pub plain: Option<(f64, f64)>,
}

/// The jackknife+ interval at `at` (Barber, Candès, Ramdas & Tibshirani, *Annals of Statistics*
/// 49, 2021, 486–507): the lower rank of prediction − residual and the upper of prediction +
/// residual. Guaranteed is only 1 − 2α; in practice it is near 1 − α.
pub fn jackknife_plus(x: &[f64], y: &[f64], at: f64, alpha: f64, model: Model) -> Result<JackknifePlus, NoFit> {
    paired(x, y, if model == Model::Line { 3 } else { 2 })?;
    let alpha = Level::new(alpha)?;
    if !at.is_finite() {
        return Err(NoFit::NotFinite);
    }
    let n = x.len();
    let each =
        |at: &dyn Fn(usize) -> f64| (0..n).map(|i| model.predict(x, y, Some(i), at(i))).collect::<Result<Vec<f64>, NoFit>>();
    let predictions = each(&|_| at)?;
    let residuals: Vec<f64> = each(&|i| x[i])?.iter().zip(y).map(|(fit, y)| (y - fit).abs()).collect();
    if residuals.iter().chain(&predictions).any(|value| !value.is_finite()) {
        return Err(NoFit::NotFinite);
    }
    let ranks = (alpha.rank_below(n), alpha.complement().rank_above(n));
    let ends = |sign: f64| sorted(predictions.iter().zip(&residuals).map(|(fit, residual)| fit + sign * residual));
    let all = model.predict(x, y, None, at)?;
    let plain = of_rank(&sorted(residuals.iter().copied()), ranks.1).map(|reach| (all - reach, all + reach));
    let (low, high) = (of_rank(&ends(-1.0), ranks.0), of_rank(&ends(1.0), ranks.1));
    Ok(JackknifePlus { residuals, predictions, ranks, low, high, plain })
}
