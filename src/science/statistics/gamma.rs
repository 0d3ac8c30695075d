//! Tails of chi-squared and the normal, and how far ln Γ and ψ rise over many steps.
//!
//! A beta-binomial likelihood is made of ln Γ(a + r) − ln Γ(a) with r a count and a
//! anything between 10⁻¹² and 10¹⁵. Taken as a difference of two ln Γ it loses up to all its
//! digits at large a; here the difference is formed before the logarithms.

use std::f64::consts::TAU;

use statrs::function::gamma::ln_gamma;

use super::special::stirling;

/// Most terms of a series or continued fraction; both need about the square root of the shape.
const MOST_TERMS: u32 = 100_000;
/// From here the Stirling remainder is a series of five terms.
const LARGE: f64 = 16.0;
/// So many steps a small shape is lifted, to above [`LARGE`].
const LIFT: u32 = 16;
/// Up to so many steps a rise of ln Γ is the logarithm of a product.
const FEW: f64 = 8.0;

/// The chance that a chi-squared variable with `freedom` degrees exceeds `value`. `None`
/// unless freedom > 0 and value ≥ 0, both finite.
///
/// Q(ν∕2, χ²∕2), by its series below the mean and its continued fraction above (DLMF 8.11.4
/// and 8.9.2), so that a small tail keeps its digits.
#[must_use]
pub fn chi_squared_upper(value: f64, freedom: f64) -> Option<f64> {
    let usable = freedom > 0.0 && value >= 0.0 && freedom.is_finite() && value.is_finite();
    usable.then(|| upper_gamma(freedom / 2.0, value / 2.0))
}

/// The chance that a standard normal variable exceeds `z`: ½ Q(½, z²∕2) above 0, its
/// complement below. `None` where z is not a number.
#[must_use]
pub fn normal_upper(z: f64) -> Option<f64> {
    if z.is_nan() {
        return None;
    }
    let beyond = if z.is_infinite() { 0.0 } else { 0.5 * upper_gamma(0.5, z * z / 2.0) };
    Some(if z >= 0.0 { beyond } else { 1.0 - beyond })
}

/// The regularised upper incomplete gamma function Q(a, x).
fn upper_gamma(a: f64, x: f64) -> f64 {
    if x <= 0.0 {
        return 1.0;
    }
    let factor = gamma_factor(a, x);
    if x < a + 1.0 {
        let (mut term, mut sum) = (1.0 / a, 1.0 / a);
        for n in 1..MOST_TERMS {
            term *= x / (a + f64::from(n));
            sum += term;
            if term < sum * f64::EPSILON {
                break;
            }
        }
        return (1.0 - factor * sum).clamp(0.0, 1.0);
    }
    let mut b = x + 1.0 - a;
    let mut c = 1.0 / f64::MIN_POSITIVE;
    let mut d = 1.0 / b;
    let mut value = d;
    for n in 1..MOST_TERMS {
        let n = f64::from(n);
        let step = -n * (n - a);
        b += 2.0;
        d = 1.0 / away_from_zero(step * d + b);
        c = away_from_zero(b + step / c);
        let change = c * d;
        value *= change;
        if (change - 1.0).abs() < f64::EPSILON {
            break;
        }
    }
    (factor * value).clamp(0.0, 1.0)
}

fn away_from_zero(value: f64) -> f64 {
    if value.abs() < f64::MIN_POSITIVE { f64::MIN_POSITIVE } else { value }
}

/// x^a e^(−x) ∕ Γ(a); at large a by the deviation of x from a, which is small where it matters.
fn gamma_factor(a: f64, x: f64) -> f64 {
    if a < LARGE {
        return (a * x.ln() - x - ln_gamma(a)).exp();
    }
    let deviation = (x - a) / a;
    (a * (deviation.ln_1p() - deviation) + 0.5 * (a / TAU).ln() - stirling(a)).exp()
}

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

    use super::*;

    #[test]
    fn tails_are_the_published_tables() {
        // NIST/SEMATECH e-Handbook 1.3.6.7.4: upper critical values of chi-squared at 0.05.
        for (freedom, printed) in [(1.0, 3.841), (2.0, 5.991), (10.0, 18.307), (50.0, 67.505), (100.0, 124.342)] {
            let tail = chi_squared_upper(printed, freedom).unwrap();
            assert!((tail - 0.05).abs() < 2e-5, "{freedom}: {tail}");
        }
        // Two degrees are exponential: exact far out.
        assert!((chi_squared_upper(600.0, 2.0).unwrap() / (-300.0_f64).exp() - 1.0).abs() < 1e-12);
        // NIST 1.3.6.7.1: Φ(1.96) = 0.97500, and 1.959963985 to nine places.
        assert!((normal_upper(1.959_963_984_540_054).unwrap() - 0.025).abs() < 1e-15);
        assert!((normal_upper(-1.0).unwrap() - 0.841_344_746_068_543).abs() < 1e-14);
        assert_eq!((chi_squared_upper(-1.0, 1.0), chi_squared_upper(1.0, 0.0), normal_upper(f64::NAN)), (None, None, None));
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
