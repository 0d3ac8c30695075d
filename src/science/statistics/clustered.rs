//! A rate whose pieces come in clusters: pieces of one pour share a melt and a shell.

use super::arm::Arm;
use super::binomial::{CONFIDENCE, Interval};
use super::special::normal_quantile;

/// Below so many clusters the variance between them says too little (Rao & Scott's method
/// rests on many clusters; eight is a floor by judgement).
pub const CLUSTERS_RELIED_ON_FROM: usize = 8;

/// A rate over clusters and what the pieces are worth as independent ones.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct ClusteredRate {
    /// Events over pieces.
    pub rate: f64,
    /// How many times the variance is that of independent pieces.
    pub design_effect: f64,
    /// The pieces over the design effect, never more than the pieces.
    pub effective_n: f64,
    /// Lower end of Wilson's interval at the effective number.
    pub low: f64,
    /// Upper end of it.
    pub high: f64,
    /// Whether there are too few clusters for it to be relied on.
    pub few: bool,
}

/// The rate over clusters with Wilson's 95 % interval at the effective number (Rao & Scott
/// 1992, *Biometrics* 48:577–585): with `p = Σx ∕ Σn` and m clusters,
/// `v = m ∕ (m − 1) · Σ(xᵢ − nᵢ p)² ∕ n²`, design effect `n v ∕ (p (1 − p))`.
///
/// Clusters without pieces are left out. `None` below two clusters, and where none or all
/// of the pieces had the event (there is no scatter to measure).
#[must_use]
#[expect(clippy::cast_precision_loss, reason = "counts of clusters lie far below 2^53")]
pub fn clustered_rate(clusters: &[Arm]) -> Option<ClusteredRate> {
    let clusters: Vec<Arm> = clusters.iter().copied().filter(|cluster| cluster.of() > 0).collect();
    let n: f64 = clusters.iter().map(|cluster| f64::from(cluster.of())).sum();
    let x: f64 = clusters.iter().map(|cluster| f64::from(cluster.events())).sum();
    if clusters.len() < 2 || x <= 0.0 || x >= n {
        return None;
    }
    let (m, p) = (clusters.len() as f64, x / n);
    let scatter: f64 = clusters.iter().map(|c| (f64::from(c.events()) - f64::from(c.of()) * p).powi(2)).sum();
    let design_effect = m / (m - 1.0) * scatter / n / (p * (1.0 - p));
    let effective_n = n / design_effect.max(1.0);
    let Interval { low, high } = wilson_at(p, effective_n)?;
    Some(ClusteredRate { rate: p, design_effect, effective_n, low, high, few: clusters.len() < CLUSTERS_RELIED_ON_FROM })
}

/// Wilson's interval at a number that need not be whole.
fn wilson_at(p: f64, n: f64) -> Option<Interval> {
    let z = -normal_quantile((1.0 - CONFIDENCE) / 2.0)?;
    let share = z * z / n;
    let (middle, half) = (p + share / 2.0, z * (p * (1.0 - p) / n + share / (4.0 * n)).sqrt());
    Some(Interval { low: p * p / (middle + half), high: ((middle + half) / (1.0 + share)).min(1.0) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_scatter_there_is_no_design_effect() {
        let arm = |x, n| Arm::new(x, n).unwrap();
        assert_eq!(clustered_rate(&[arm(1, 5)]), None);
        assert_eq!(clustered_rate(&[arm(0, 5), arm(0, 6)]), None);
        assert_eq!(clustered_rate(&[arm(5, 5), arm(6, 6)]), None);
        assert_eq!(clustered_rate(&[arm(1, 5), arm(0, 0)]), None);
        assert!(clustered_rate(&[arm(1, 5), arm(0, 6)]).unwrap().few);
    }
}
