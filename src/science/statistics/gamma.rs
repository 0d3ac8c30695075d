//! How far ln Γ and ψ rise over many steps.
//!
//! A beta-binomial likelihood is made of ln Γ(a + r) − ln Γ(a) with r a count and a
//! anything between 10⁻¹² and 10¹⁵. Taken as a difference of two ln Γ it loses up to all its
//! digits at large a; here the difference is formed before the logarithms.

use std::f64::consts::TAU;

use super::special::stirling;

/// From here the Stirling remainder is a series of five terms.
const LARGE: f64 = 16.0;
/// So many steps a small shape is lifted, to above [`LARGE`].
const LIFT: u32 = 16;
/// Up to so many steps a rise of ln Γ is the logarithm of a product.
const FEW: f64 = 8.0;

/// ln Γ(a + r) − ln Γ(a) for a ≥ 0 and r ≥ 0: ln B(a, b) and its like without the loss of large
/// differences. −∞ at a = 0 < r.
pub(super) fn ln_gamma_rise(a: f64, r: f64) -> f64 {
    if r <= 0.0 {
        return 0.0;
    }
    if r <= FEW && r.fract() == 0.0 {
        let mut product = a;
        let mut step = 1.0;
        while step < r {
            product *= a + step;
            step += 1.0;
        }
        return product.ln();
    }
    if a >= LARGE {
        return (a - 0.5) * (r / a).ln_1p() + r * (a + r).ln() - r + stirling(a + r) - stirling(a);
    }
    let (mut below, mut above) = (1.0, 1.0);
    for step in 0..LIFT {
        below *= a + f64::from(step);
        above *= a + r + f64::from(step);
    }
    ln_gamma_rise_from(a + f64::from(LIFT), r) - (above / below).ln()
}

/// The same from a shape that is large.
fn ln_gamma_rise_from(a: f64, r: f64) -> f64 {
    (a - 0.5) * (r / a).ln_1p() + r * (a + r).ln() - r + stirling(a + r) - stirling(a)
}

/// ψ(a + r) − ψ(a) for a > 0 and r ≥ 0 (DLMF 5.11.2, with small shapes lifted by 5.5.2).
pub(super) fn digamma_rise(a: f64, r: f64) -> f64 {
    if r <= 0.0 {
        return 0.0;
    }
    let (mut at, mut lifted) = (a, 0.0);
    if a < LARGE {
        for step in 0..LIFT {
            let s = a + f64::from(step);
            lifted += r / (s * (s + r));
        }
        at += f64::from(LIFT);
    }
    let series = |s: f64| {
        let w = 1.0 / (s * s);
        w * (1.0 / 12.0 - w * (1.0 / 120.0 - w * (1.0 / 252.0 - w / 240.0)))
    };
    lifted + (r / at).ln_1p() + 0.5 * r / (at * (at + r)) + series(at) - series(at + r)
}

/// ln B(a, b) for a, b > 0 of any size.
pub(super) fn ln_beta(a: f64, b: f64) -> f64 {
    let n = a + b;
    let part = |shape: f64| (shape - 0.5) * (shape / n).ln() + stirling(shape);
    part(a) + part(b) - stirling(n) + 0.5 * (TAU / n).ln()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::special::{chi2_sf, normal_cdf};
    use super::*;

    #[test]
    fn tails_are_the_published_tables() {
        // NIST/SEMATECH e-Handbook 1.3.6.7.4: upper critical values of chi-squared at 0.05.
        for (freedom, printed) in [(1.0, 3.841), (2.0, 5.991), (10.0, 18.307), (50.0, 67.505), (100.0, 124.342)] {
            let tail = chi2_sf(printed, freedom).unwrap();
            assert!((tail - 0.05).abs() < 2e-5, "{freedom}: {tail}");
        }
        // Two degrees are exponential: exact far out.
        assert!((chi2_sf(600.0, 2.0).unwrap() / (-300.0_f64).exp() - 1.0).abs() < 1e-12);
        // NIST 1.3.6.7.1: Φ(1.96) = 0.97500, and 1.959963985 to nine places.
        assert!((normal_cdf(-1.959_963_984_540_054).unwrap() - 0.025).abs() < 1e-15);
        assert!((normal_cdf(1.0).unwrap() - 0.841_344_746_068_543).abs() < 1e-14);
        assert_eq!((chi2_sf(-1.0, 1.0), chi2_sf(1.0, 0.0), normal_cdf(f64::NAN)), (None, None, None));
    }

    #[test]
    fn a_rise_keeps_its_digits_at_any_size() {
        // At a = 10¹² a rise by r is r ln a + r (r − 1) ∕ 2a, to the second order.
        let (a, r) = (1e12, 1000.0);
        assert!((ln_gamma_rise(a, r) / (r * a.ln() + r * (r - 1.0) / 2.0 / a) - 1.0).abs() < 1e-14);
        assert!((digamma_rise(a, r) * a / r - 1.0).abs() < 1e-8);
        assert!(ln_gamma_rise(0.0, 3.0).is_infinite() && ln_gamma_rise(0.0, 30.0).is_infinite());
        // B(2, 3) = 1 ∕ 12.
        assert!((ln_beta(2.0, 3.0) + 12.0_f64.ln()).abs() < 1e-13);
    }

    proptest! {
        #[test]
        fn a_rise_is_the_sum_of_its_steps(a in 1e-9_f64..200.0, r in 0_u32..400) {
            let steps = |term: fn(f64) -> f64| (0..r).map(|i| term(a + f64::from(i))).sum::<f64>();
            let (ln, psi) = (steps(f64::ln), steps(f64::recip));
            prop_assert!((ln_gamma_rise(a, f64::from(r)) - ln).abs() <= 1e-11 * ln.abs().max(1.0));
            prop_assert!((digamma_rise(a, f64::from(r)) - psi).abs() <= 1e-11 * psi.abs().max(1.0));
        }
    }
}
