//! Whether levels differ by more than chance, without saying which.

use super::super::special::{chi2_sf, normal_cdf};
use super::Level;
use super::moments::observed;

/// Two tests against one common rate.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Overdispersion {
    /// Pearson's χ² = Σ (x − np)² ∕ np(1 − p).
    pub chi_squared: f64,
    /// Its degrees of freedom, levels − 1.
    pub freedom: f64,
    /// χ² over its degrees: about 1 where levels do not differ.
    pub dispersion: f64,
    /// The chance of a χ² at least so large under one common rate. Not to be used where
    /// expected counts are below 5.
    pub p_pearson: f64,
    /// Tarone's Z, about standard normal under one common rate; none where no level has two
    /// outcomes.
    pub tarone_z: Option<f64>,
    /// The chance of a Z at least so large.
    pub p_tarone: Option<f64>,
}

/// Pearson's dispersion test and that of Tarone (*Biometrika* 66, 1979, 585–590) against
/// beta-binomial variation: Z = (χ² weighted as Σ (x − np)² ∕ p(1 − p) − Σn) ∕ √(2 Σ n(n − 1)).
///
/// `None` below two observed levels, where all outcomes are alike, or where a count exceeds
/// its total.
#[must_use]
pub fn overdispersion(levels: &[Level]) -> Option<Overdispersion> {
    let seen = observed(levels)?;
    let (events, total) = seen.iter().fold((0.0, 0.0), |(x, n), level| (x + level.0, n + level.1));
    let p = events / total;
    let spread = p * (1.0 - p);
    if spread <= 0.0 {
        return None;
    }
    let squares = |weigh: fn(f64) -> f64| seen.iter().map(|(x, n)| (x - n * p).powi(2) / weigh(*n)).sum::<f64>() / spread;
    let chi_squared = squares(|n| n);
    let freedom = seen.len() as f64 - 1.0;
    let pairs: f64 = seen.iter().map(|(_, n)| n * (n - 1.0)).sum();
    let tarone_z = (pairs > 0.0).then(|| (squares(|_| 1.0) - total) / (2.0 * pairs).sqrt());
    Some(Overdispersion {
        chi_squared,
        freedom,
        dispersion: chi_squared / freedom,
        p_pearson: chi2_sf(chi_squared, freedom)?,
        tarone_z,
        p_tarone: tarone_z.and_then(|z| normal_cdf(-z)),
    })
}
