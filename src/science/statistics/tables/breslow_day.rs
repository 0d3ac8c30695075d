//! Whether the odds ratio is the same in all strata.

use super::{Cells, Stratum, mantel_haenszel};
use crate::science::statistics::special::chi2_sf;

/// Breslow and Day's test. It is weak in small data: a large p is no sign that the effect
/// differs, not a sign that it is the same.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Homogeneity {
    /// The statistic.
    pub chi2: f64,
    /// Strata that inform, less one.
    pub freedom: u32,
    /// The chance of a statistic as large.
    pub p: f64,
    /// The statistic with Tarone's correction, to be preferred.
    pub chi2_tarone: f64,
    /// Its p.
    pub p_tarone: f64,
}

/// Breslow & Day's test of one odds ratio in all strata, at the Mantel–Haenszel estimate
/// (Breslow & Day 1980), and with the correction of Tarone (1985, *Biometrika* 72:91–95).
///
/// Strata that do not inform are left out. `None` below two that do, and where the estimate
/// is 0 or infinite.
#[must_use]
pub fn breslow_day(strata: &[Stratum]) -> Option<Homogeneity> {
    let strata: Vec<Stratum> = strata.iter().copied().filter(Stratum::informs).collect();
    let odds = mantel_haenszel(&strata, 0.95)?.odds_ratio.value;
    let freedom = u32::try_from(strata.len()).ok()?.checked_sub(1).filter(|freedom| *freedom > 0)?;
    if !(odds > 0.0 && odds.is_finite()) {
        return None;
    }
    let (mut chi2, mut excess, mut spread) = (0.0, 0.0, 0.0);
    for cells in strata.iter().map(Cells::of) {
        let a = fitted(&cells, odds);
        let (of_a, events) = (cells.a + cells.b, cells.a + cells.c);
        let d = cells.d - cells.a + a;
        let variance = 1.0 / (1.0 / a + 1.0 / (of_a - a) + 1.0 / (events - a) + 1.0 / d);
        chi2 += (cells.a - a).powi(2) / variance;
        excess += cells.a - a;
        spread += variance;
    }
    let chi2_tarone = (chi2 - excess * excess / spread).max(0.0);
    let p = |chi2: f64| chi2_sf(chi2, f64::from(freedom));
    Some(Homogeneity { chi2, freedom, p: p(chi2)?, chi2_tarone, p_tarone: p(chi2_tarone)? })
}

/// The events of a that give the stratum the odds ratio `odds` within its margins: the
/// root of `(1 − ψ) A² + B A = ψ n_a t` inside them, in the form without cancellation.
fn fitted(cells: &Cells, odds: f64) -> f64 {
    let (of_a, events) = (cells.a + cells.b, cells.a + cells.c);
    let linear = (cells.d - cells.a) + odds * (of_a + events);
    let constant = odds * of_a * events;
    let root = (linear * linear + 4.0 * (1.0 - odds) * constant).max(0.0).sqrt();
    if linear >= 0.0 { 2.0 * constant / (linear + root) } else { (root - linear) / (2.0 * (1.0 - odds)) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::science::statistics::arm::Arm;

    fn stratum(xa: u32, na: u32, xb: u32, nb: u32) -> Stratum {
        Stratum { a: Arm::new(xa, na).unwrap(), b: Arm::new(xb, nb).unwrap() }
    }

    #[test]
    fn the_fitted_table_has_the_odds_ratio_asked_for() {
        for of in [stratum(3, 20, 9, 20), stratum(19, 20, 1, 2), stratum(1, 500, 499, 500), stratum(7, 8, 90, 100)] {
            let cells = Cells::of(&of);
            for odds in [1e-4, 0.2, 1.0, 3.0, 1e4] {
                let a = fitted(&cells, odds);
                let d = cells.d - cells.a + a;
                let got = a * d / ((cells.a + cells.b - a) * (cells.a + cells.c - a));
                assert!((got / odds - 1.0).abs() < 1e-8, "{of:?} {odds}: {got}");
            }
        }
    }

    #[test]
    fn one_stratum_cannot_differ_from_itself() {
        assert_eq!(breslow_day(&[stratum(3, 20, 9, 20)]), None);
        assert_eq!(breslow_day(&[stratum(3, 20, 9, 20), stratum(0, 20, 0, 20)]), None);
        assert_eq!(breslow_day(&[stratum(0, 20, 9, 20), stratum(0, 20, 3, 20)]), None);
        let alike = breslow_day(&[stratum(3, 20, 9, 20), stratum(6, 40, 18, 40)]).unwrap();
        assert!(alike.chi2.abs() < 1e-9 && (alike.p - 1.0).abs() < 1e-4 && alike.freedom == 1, "{alike:?}");
    }
}
