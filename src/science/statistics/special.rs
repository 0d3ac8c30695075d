//! The special functions behind intervals and tests: normal, beta, gamma, χ², t and F.
//!
//! `statrs` 0.19.1 supplies `ln Γ`, the digamma function and the inverse of `erfc`, which
//! hold 14 digits over the reference cases, `ln Γ` away from its zeros at 1 and 2. The
//! rest of it is not used, for these reasons:
//! * its `erfc` holds only 9 to 10 digits, fewer than the reference cases ask for,
//!   so a Newton step on it would spoil the inverse rather than refine it;
//! * its incomplete beta stops its continued fraction after 140 terms, so that
//!   `Beta(s, s).cdf(0.5)` is 0.491 at s = 10⁶ and negative at 10⁸, and it forms
//!   the factor before the fraction from differences of large `ln Γ`;
//! * its beta quantile hangs or panics for small probabilities (p = 10⁻⁶⁰ and
//!   10⁻¹⁷⁰ at Beta(200, 2)).
//!
//! Here the beta fraction runs until it has converged, its factor is formed from
//! deviations (no large differences), and quantiles are found by Newton steps
//! inside a bracket that only shrinks, so they end for every argument.

mod gamma;
mod named;

use std::f64::consts::{PI, SQRT_2, TAU};

pub use gamma::{digamma, gamma_p, gamma_q, gamma_quantile, gamma_quantile_upper, ln_choose, ln_gamma};
pub use named::{chi2_quantile, chi2_sf, erfc, f_quantile, f_sf, normal_cdf, normal_two_sided, t_cdf, t_quantile};
use statrs::function::erf::erfc_inv;

/// Most terms of the continued fraction. It needs about the square root of the
/// larger shape, so this serves shapes up to 10⁹; beyond, the last term stands.
const MOST_TERMS: u32 = 100_000;
/// Most steps of a root search. Each halves the bracket at worst, and a bracket of
/// 700 in ln x is below the spacing of numbers after 64 halvings.
const MOST_STEPS: u32 = 200;
/// Below this a shape's ln Γ is taken as such, above it the Stirling series is
/// exact to the last digit with the five terms used.
const STIRLING_FROM: f64 = 16.0;

/// The standard normal quantile: z with Φ(z) = `p`. `None` unless 0 < p < 1.
///
/// By the library's inverse of erfc, z = −√2 erfc⁻¹(2p), always in the smaller tail,
/// where it keeps its digits (1 − p is exact above one half).
#[must_use]
pub fn normal_quantile(p: f64) -> Option<f64> {
    if !(p > 0.0 && p < 1.0) {
        return None;
    }
    let (tail, sign) = if p <= 0.5 { (p, -1.0) } else { (1.0 - p, 1.0) };
    Some(sign * SQRT_2 * erfc_inv(2.0 * tail))
}

/// The regularised incomplete beta function `I_x(a, b)`: the chance that a
/// Beta(a, b) variable is at most `x`. `None` unless a, b > 0 and 0 ≤ x ≤ 1.
///
/// DLMF 8.17.22, evaluated by the modified Lentz method.
#[must_use]
pub fn beta_cdf(a: f64, b: f64, x: f64) -> Option<f64> {
    let shaped = a > 0.0 && b > 0.0 && a.is_finite() && b.is_finite();
    (shaped && (0.0..=1.0).contains(&x)).then(|| tails(a, b, x, 1.0 - x).0)
}

/// The quantile of Beta(a, b): x with `I_x(a, b) = p`. `None` unless a, b > 0 and
/// 0 ≤ p ≤ 1.
#[must_use]
pub fn beta_quantile(p: f64, a: f64, b: f64) -> Option<f64> {
    let shaped = a > 0.0 && b > 0.0 && a.is_finite() && b.is_finite();
    if !shaped || !(0.0..=1.0).contains(&p) {
        return None;
    }
    Some(quantile_pair(p, a, b).0)
}

/// The quantile x of Beta(a, b) and 1 − x, each to its own accuracy: whichever is the
/// smaller is solved for.
fn quantile_pair(p: f64, a: f64, b: f64) -> (f64, f64) {
    if p <= 0.0 || p >= 1.0 {
        return (p, 1.0 - p);
    }
    let (below, _) = tails(a, b, 0.5, 0.5);
    if p <= below {
        let x = small_root(a, b, p, 1.0 - p);
        (x, 1.0 - x)
    } else {
        let y = small_root(b, a, 1.0 - p, p);
        (1.0 - y, y)
    }
}

/// x in (0, ½] with lower tail `p` and upper tail `q` of Beta(a, b).
#[expect(clippy::many_single_char_names, reason = "the letters of the cited formula")]
fn small_root(a: f64, b: f64, p: f64, q: f64) -> f64 {
    let (mut low, mut high) = (f64::MIN_POSITIVE.ln(), 0.5_f64.ln());
    let mean = (a / (a + b)).ln();
    let mut at = if mean < high { mean } else { high - 0.1 };
    for _ in 0..MOST_STEPS {
        let x = at.exp();
        let y = 1.0 - x;
        let (lower, upper) = tails(a, b, x, y);
        // Compared in the smaller tail, where the ratio keeps its digits, and in
        // logarithms, in which a tail is nearly straight.
        let (tail, want, side) = if p <= q { (lower, p, 1.0) } else { (upper, q, -1.0) };
        let miss = side * (tail / want).ln();
        if miss > 0.0 {
            high = at;
        } else {
            low = at;
        }
        let newton = at - miss * tail * y / factor(a, b, x, y);
        let next = if newton > low && newton < high { newton } else { f64::midpoint(low, high) };
        let moved = (next - at).abs();
        at = next;
        if moved <= f64::EPSILON || high - low <= f64::EPSILON {
            break;
        }
    }
    at.exp()
}

/// Both tails of Beta(a, b) at x, where y = 1 − x; each to its own accuracy.
fn tails(a: f64, b: f64, x: f64, y: f64) -> (f64, f64) {
    if x <= 0.0 {
        return (0.0, 1.0);
    }
    if y <= 0.0 {
        return (1.0, 0.0);
    }
    if x < (a + 1.0) / (a + b + 2.0) {
        let lower = (factor(a, b, x, y) * fraction(a, b, x) / a).clamp(0.0, 1.0);
        (lower, 1.0 - lower)
    } else {
        let upper = (factor(a, b, x, y) * fraction(b, a, y) / b).clamp(0.0, 1.0);
        (1.0 - upper, upper)
    }
}

/// x^a y^b / B(a, b), as √(ab/2πn) · (xn/a)^a · (yn/b)^b · exp(δ(n) − δ(a) − δ(b))
/// with n = a + b: every part is small where the product is not.
#[expect(clippy::many_single_char_names, reason = "the letters of the cited formula")]
fn factor(a: f64, b: f64, x: f64, y: f64) -> f64 {
    let n = a + b;
    let power = |shape: f64, part: f64| {
        let deviation = (part * n - shape) / shape;
        shape * if deviation.abs() < 0.5 { deviation.ln_1p() } else { (part * n / shape).ln() }
    };
    let scale = 0.5 * (a / n * b / (2.0 * PI)).ln();
    (scale + power(a, x) + power(b, y) + stirling(n) - stirling(a) - stirling(b)).exp()
}

/// δ(s) = ln Γ(s) − [(s − ½) ln s − s + ½ ln 2π], the Stirling remainder
/// (DLMF 5.11.1).
pub(super) fn stirling(s: f64) -> f64 {
    if s < STIRLING_FROM {
        return statrs::function::gamma::ln_gamma(s) - ((s - 0.5) * s.ln() - s + 0.5 * TAU.ln());
    }
    let inverse = 1.0 / (s * s);
    let series = [1.0 / 12.0, -1.0 / 360.0, 1.0 / 1260.0, -1.0 / 1680.0, 1.0 / 1188.0];
    series.iter().rev().fold(0.0, |sum, term| sum * inverse + term) / s
}

/// The continued fraction of DLMF 8.17.22 by the modified Lentz method.
#[expect(clippy::many_single_char_names, reason = "the letters of the cited formula")]
fn fraction(a: f64, b: f64, x: f64) -> f64 {
    let held = |v: f64| {
        if v.abs() < f64::MIN_POSITIVE { f64::MIN_POSITIVE } else { v }
    };
    let mut c = 1.0;
    let mut d = 1.0 / held(1.0 - (a + b) * x / (a + 1.0));
    let mut value = d;
    for m in 1..MOST_TERMS {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        let mut change = 1.0;
        for term in [even, odd] {
            d = 1.0 / held(1.0 + term * d);
            c = held(1.0 + term / c);
            change = c * d;
            value *= change;
        }
        if (change - 1.0).abs() < f64::EPSILON {
            break;
        }
    }
    value
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use statrs::distribution::{Beta, ContinuousCDF};

    use super::*;

    #[test]
    fn what_has_no_quantile_answers_none() {
        for p in [0.0, 1.0, -0.1, f64::NAN] {
            assert_eq!(normal_quantile(p), None);
        }
        assert_eq!(beta_quantile(0.5, 0.0, 1.0), None);
        assert_eq!(beta_quantile(f64::NAN, 1.0, 1.0), None);
        assert_eq!(beta_cdf(1.0, f64::INFINITY, 0.5), None);
        assert_eq!(beta_quantile(0.0, 2.0, 3.0), Some(0.0));
    }

    #[test]
    fn where_the_library_fails_the_quantile_still_ends() {
        // statrs issues 434 and 435: known answers by symmetry, and mere ending.
        for shape in [1e6, 1e8] {
            let half = beta_cdf(shape, shape, 0.5).unwrap();
            assert!((half - 0.5).abs() < 1e-9, "{half} at {shape}");
        }
        for p in [1e-60, 1e-170, 1e-300] {
            let x = beta_quantile(p, 200.0, 2.0).unwrap();
            let back = beta_cdf(200.0, 2.0, x).unwrap();
            assert!((back / p - 1.0).abs() < 1e-9, "{p}: {back}");
        }
    }

    proptest! {
        #[test]
        fn agrees_with_the_library_in_ordinary_shapes(a in 0.5_f64..500.0, b in 0.5_f64..500.0, x in 0.001_f64..0.999) {
            let ours = beta_cdf(a, b, x).unwrap();
            let theirs = Beta::new(a, b).unwrap().cdf(x);
            prop_assert!((ours - theirs).abs() < 1e-11, "{ours} and {theirs}");
        }

        #[test]
        fn quantile_and_chance_are_inverse(a in 0.5_f64..2e4, b in 0.5_f64..2e4, p in 1e-9_f64..0.999_999) {
            let x = beta_quantile(p, a, b).unwrap();
            let back = beta_cdf(a, b, x).unwrap();
            prop_assert!((back - p).abs() < 1e-9, "{p} came back as {back}");
        }
    }
}
