//! The Mantel–Haenszel odds ratio and test.

use super::{Cells, OddsRatio, Stratum};
use crate::science::statistics::special::{chi2_sf, normal_quantile};

/// A χ² statistic with one degree of freedom and its p.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct ChiSquare {
    /// The statistic.
    pub chi2: f64,
    /// The chance of one as large.
    pub p: f64,
}

/// What Mantel and Haenszel say of a against b over all strata.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct MantelHaenszel {
    /// The common odds ratio R ∕ S with limits; where R or S is 0 it has none, and they
    /// stand at 0 and infinity.
    pub odds_ratio: OddsRatio,
    /// The standard error of its logarithm. `None` where R or S is 0.
    pub log_se: Option<f64>,
    /// The test without a correction. `None` where no stratum informs.
    pub plain: Option<ChiSquare>,
    /// The test with the correction of ½, the one for small shops. `None` as the other.
    pub corrected: Option<ChiSquare>,
}

/// The Mantel–Haenszel odds ratio (Mantel & Haenszel 1959, *JNCI* 22:719–748) with the limits
/// of Robins, Breslow & Greenland (1986, *Biometrics* 42:311–323).
///
/// `R = Σ a d ∕ n`, `S = Σ b c ∕ n`, and with `P = (a + d) ∕ n`, `Q = (b + c) ∕ n` the variance of
/// the logarithm is `ΣPR ∕ 2R² + Σ(PS + QR) ∕ 2RS + ΣQS ∕ 2S²`. `None` where both R and S are 0,
/// and unless confidence is within (0, 1).
#[must_use]
pub fn mantel_haenszel(strata: &[Stratum], confidence: f64) -> Option<MantelHaenszel> {
    let z = -normal_quantile((1.0 - confidence) / 2.0).filter(|_| confidence > 0.0)?;
    let (mut r, mut s, mut pr, mut mixed, mut qs) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let (mut excess, mut variance) = (0.0, 0.0);
    for Cells { a, b, c, d, n } in strata.iter().map(Cells::of).filter(|cells| cells.n > 1.0) {
        let (one, other, p, q) = (a * d / n, b * c / n, (a + d) / n, (b + c) / n);
        r += one;
        s += other;
        pr += p * one;
        mixed += p * other + q * one;
        qs += q * other;
        // a − (a + b)(a + c) ∕ n, without the difference of large numbers.
        excess += one - other;
        variance += (a + b) / n * ((c + d) / n) * (a + c) * ((b + d) / (n - 1.0));
    }
    if r <= 0.0 && s <= 0.0 {
        return None;
    }
    let log_se = (r > 0.0 && s > 0.0).then(|| (pr / (2.0 * r * r) + mixed / (2.0 * r * s) + qs / (2.0 * s * s)).sqrt());
    let value = if s > 0.0 { r / s } else { f64::INFINITY };
    let (low, high) = log_se.map_or((0.0, f64::INFINITY), |se| (value * (-z * se).exp(), value * (z * se).exp()));
    let test = |excess: f64| {
        let chi2 = excess * excess / variance;
        (variance > 0.0).then(|| chi2_sf(chi2, 1.0).map(|p| ChiSquare { chi2, p }))?
    };
    let corrected = test(excess.abs() - excess.abs().min(0.5));
    Some(MantelHaenszel { odds_ratio: OddsRatio { value, low, high }, log_se, plain: test(excess), corrected })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::science::statistics::arm::Arm;

    #[test]
    fn without_an_event_or_without_a_spared_one_there_is_no_odds_ratio() {
        let arm = |x, n| Arm::new(x, n).unwrap();
        assert_eq!(mantel_haenszel(&[], 0.95), None);
        assert_eq!(mantel_haenszel(&[Stratum { a: arm(0, 4), b: arm(0, 5) }], 0.95), None);
        assert_eq!(mantel_haenszel(&[Stratum { a: arm(1, 4), b: arm(0, 5) }], 1.0), None);
        let only_a = mantel_haenszel(&[Stratum { a: arm(1, 4), b: arm(0, 5) }], 0.95).unwrap();
        assert!(only_a.odds_ratio.value.is_infinite() && only_a.log_se.is_none() && only_a.plain.is_some());
        assert!(!only_a.odds_ratio.excludes_one());
    }
}
