//! The line that one wild job does not rule.

use super::rank::sorted;
use super::{NoFit, paired};

/// The line of Theil and Sen.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct TheilSen {
    /// Median of the slopes between all pairs of different x.
    pub slope: f64,
    /// Median of y less slope times the median of x.
    pub intercept: f64,
}

/// The median of pairwise slopes (Theil 1950; Sen, *JASA* 63, 1968, 1379–1389); pairs of equal
/// x are left out. Up to 29 % of the points may be wild.
pub fn theil_sen(x: &[f64], y: &[f64]) -> Result<TheilSen, NoFit> {
    paired(x, y, 2)?;
    let pairs = (0..x.len()).flat_map(|i| (i + 1..x.len()).map(move |j| (i, j)));
    let slopes = sorted(pairs.filter(|(i, j)| (x[*i] - x[*j]).abs() > 0.0).map(|(i, j)| (y[j] - y[i]) / (x[j] - x[i])));
    let slope = median(&slopes).ok_or(NoFit::Collinear)?;
    let middle = |values: &[f64]| median(&sorted(values.iter().copied())).ok_or(NoFit::TooFew);
    let intercept = middle(y)? - slope * middle(x)?;
    if slope.is_finite() && intercept.is_finite() { Ok(TheilSen { slope, intercept }) } else { Err(NoFit::NotFinite) }
}

fn median(sorted: &[f64]) -> Option<f64> {
    let middle = sorted.len() / 2;
    let upper = sorted.get(middle)?;
    if sorted.len() % 2 == 1 { Some(*upper) } else { middle.checked_sub(1).map(|below| f64::midpoint(sorted[below], *upper)) }
}
