//! Tails and quantiles of the normal, χ², t and F distributions.

use std::f64::consts::FRAC_1_SQRT_2;

use super::gamma::{gamma_p, gamma_q, gamma_quantile};
use super::{quantile_pair, tails};

/// The complementary error function. `None` where `x` is not finite.
///
/// erfc(x) = Q(½, x²) for x ≥ 0 and 1 + P(½, x²) below (DLMF 7.11.2); the library's own
/// holds ten digits at most.
#[must_use]
pub fn erfc(x: f64) -> Option<f64> {
    let square = (x * x).min(f64::MAX);
    if !x.is_finite() {
        None
    } else if x >= 0.0 {
        gamma_q(0.5, square)
    } else {
        gamma_p(0.5, square).map(|inside| 1.0 + inside)
    }
}

/// Φ(z), the chance that a standard normal variable is at most `z`; small tails keep their
/// digits. `None` where `z` is not finite.
#[must_use]
pub fn normal_cdf(z: f64) -> Option<f64> {
    erfc(-z * FRAC_1_SQRT_2).map(|both| 0.5 * both)
}

/// 2 Φ(−|z|): the two-sided p of a standard normal statistic. `None` where `z` is not finite.
#[must_use]
pub fn normal_two_sided(z: f64) -> Option<f64> {
    erfc(z.abs() * FRAC_1_SQRT_2)
}

/// The chance that χ² with `freedom` degrees exceeds `x`. `None` unless freedom > 0, x ≥ 0.
#[must_use]
pub fn chi2_sf(x: f64, freedom: f64) -> Option<f64> {
    gamma_q(freedom / 2.0, x / 2.0)
}

/// The quantile of χ² with `freedom` degrees. `None` unless freedom > 0 and 0 ≤ p < 1.
#[must_use]
pub fn chi2_quantile(p: f64, freedom: f64) -> Option<f64> {
    gamma_quantile(p, freedom / 2.0).map(|x| 2.0 * x)
}

/// The chance that Student's t with `freedom` degrees is at most `t`: half of
/// `I_x(ν∕2, ½)` with x = ν ∕ (ν + t²) lies beyond |t|. `None` unless freedom > 0 and t is
/// finite.
#[must_use]
pub fn t_cdf(t: f64, freedom: f64) -> Option<f64> {
    if !(freedom > 0.0 && freedom.is_finite() && t.is_finite()) {
        return None;
    }
    let ratio = t * (t / freedom);
    let (x, y) = if ratio.is_finite() { (1.0 / (1.0 + ratio), ratio / (1.0 + ratio)) } else { (0.0, 1.0) };
    let beyond = 0.5 * tails(freedom / 2.0, 0.5, x, y).0;
    Some(if t < 0.0 { beyond } else { 1.0 - beyond })
}

/// The quantile of Student's t: the value that t with `freedom` degrees stays below with
/// chance `p`. `None` unless 0 < p < 1 and freedom > 0.
///
/// By the beta quantile: ν ∕ (ν + t²) is Beta(ν∕2, ½) (DLMF 8.17.1 with the density of t).
#[must_use]
pub fn t_quantile(p: f64, freedom: f64) -> Option<f64> {
    if !(p > 0.0 && p < 1.0 && freedom > 0.0 && freedom.is_finite()) {
        return None;
    }
    let (tail, sign) = if p < 0.5 { (p, -1.0) } else { (1.0 - p, 1.0) };
    let (x, y) = quantile_pair(2.0 * tail, freedom / 2.0, 0.5);
    (x > 0.0).then(|| sign * (freedom * y / x).sqrt()).filter(|t| t.is_finite())
}

/// The chance that F with `above` and `below` degrees exceeds `f`. `None` unless both are
/// above 0 and f ≥ 0, all finite.
#[must_use]
pub fn f_sf(f: f64, above: f64, below: f64) -> Option<f64> {
    if !(above > 0.0 && below > 0.0 && above.is_finite() && below.is_finite() && f >= 0.0 && f.is_finite()) {
        return None;
    }
    let ratio = f * (above / below);
    let (x, y) = if ratio.is_finite() { (1.0 / (1.0 + ratio), ratio / (1.0 + ratio)) } else { (0.0, 1.0) };
    Some(tails(below / 2.0, above / 2.0, x, y).0)
}

/// The quantile of F with `above` and `below` degrees. `None` unless both are above 0,
/// 0 ≤ p < 1, and the quantile is a finite number.
#[must_use]
pub fn f_quantile(p: f64, above: f64, below: f64) -> Option<f64> {
    if !(above > 0.0 && below > 0.0 && above.is_finite() && below.is_finite() && (0.0..1.0).contains(&p)) {
        return None;
    }
    let (x, y) = quantile_pair(p, above / 2.0, below / 2.0);
    Some(below * x / (above * y)).filter(|f| f.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn outside_their_domains_they_answer_none() {
        assert_eq!((erfc(f64::NAN), normal_cdf(f64::INFINITY), chi2_sf(-1.0, 2.0)), (None, None, None));
        assert_eq!((t_cdf(1.0, 0.0), f_sf(-1.0, 2.0, 2.0), f_quantile(1.0, 2.0, 2.0)), (None, None, None));
        assert_eq!((t_quantile(0.0, 7.0), t_quantile(1.0, 7.0), t_quantile(0.975, 0.0)), (None, None, None));
        assert_eq!((erfc(1e200), t_cdf(-1e300, 3.0)), (Some(0.0), Some(0.0)));
    }

    #[test]
    fn students_t_is_the_published_table() {
        // NIST/SEMATECH e-Handbook 1.3.6.7.2, critical values of Student's t, upper 0.025.
        for (freedom, printed) in [
            (1.0, 12.706),
            (2.0, 4.303),
            (3.0, 3.182),
            (4.0, 2.776),
            (5.0, 2.571),
            (10.0, 2.228),
            (19.0, 2.093),
            (30.0, 2.042),
            (100.0, 1.984),
        ] {
            let t = t_quantile(0.975, freedom).unwrap();
            assert!((t - printed).abs() < 5.1e-4, "{freedom}: {t}");
            assert!((t_quantile(0.025, freedom).unwrap() + t).abs() < 1e-9 * t);
        }
        assert!(t_quantile(0.5, 7.0).unwrap() < 1e-6);
    }

    #[test]
    fn upper_values_of_f_are_the_published_table() {
        // NIST/SEMATECH e-Handbook 1.3.6.7.3, upper 5 % of F.
        for (above, below, printed) in [(1.0, 1.0, 161.448), (2.0, 10.0, 4.103), (5.0, 5.0, 5.050), (10.0, 30.0, 2.165)] {
            let f = f_quantile(0.95, above, below).unwrap();
            assert!((f - printed).abs() < 5.1e-4, "{above} {below}: {f}");
            assert!((f_sf(f, above, below).unwrap() - 0.05).abs() < 1e-12);
        }
    }
}
