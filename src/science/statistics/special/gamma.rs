//! The gamma function and its incomplete forms.

use std::f64::consts::TAU;

use super::{MOST_STEPS, MOST_TERMS, stirling};

/// (−1)^k (ζ(k) − 1) ∕ k from k = 2: the series of ln Γ about 2 (DLMF 5.7.3).
const ABOUT_TWO: [f64; 22] = [
    0.322_467_033_424_113_2,
    -0.067_352_301_053_198_09,
    0.020_580_808_427_784_546,
    -0.007_385_551_028_673_986,
    0.002_890_510_330_741_523_4,
    -0.001_192_753_911_703_261,
    0.000_509_669_524_743_042_5,
    -0.000_223_154_758_453_579_39,
    9.945_751_278_180_853e-5,
    -4.492_623_673_813_314e-5,
    2.050_721_277_567_069e-5,
    -9.439_488_275_268_397e-6,
    4.374_866_789_907_488e-6,
    -2.039_215_753_801_366e-6,
    9.551_412_130_407_42e-7,
    -4.492_469_198_764_566e-7,
    2.120_718_480_555_466_7e-7,
    -1.004_322_482_396_81e-7,
    4.769_810_169_363_980_4e-8,
    -2.271_109_460_894_316_4e-8,
    1.083_865_921_489_695_5e-8,
    -5.183_475_041_970_047e-9,
];
/// 1 − γ, with γ Euler's constant.
const ONE_LESS_EULER: f64 = 0.422_784_335_098_467_13;

/// ln Γ(x). `None` unless x > 0 and finite.
///
/// The library loses the relative digits near the zeros at 1 and 2; within ¼ of them the
/// series about 2 is summed instead (DLMF 5.7.3).
#[must_use]
pub fn ln_gamma(x: f64) -> Option<f64> {
    if !(x > 0.0 && x.is_finite()) {
        return None;
    }
    let about_two = |z: f64| ABOUT_TWO.iter().rev().fold(0.0, |sum, term| (sum + term) * z) * z + z * ONE_LESS_EULER;
    Some(if (x - 1.0).abs() < 0.25 {
        about_two(x - 1.0) - (x - 1.0).ln_1p()
    } else if (x - 2.0).abs() < 0.25 {
        about_two(x - 2.0)
    } else {
        statrs::function::gamma::ln_gamma(x)
    })
}

/// ψ(x), the derivative of ln Γ. `None` unless x > 0 and finite.
#[must_use]
pub fn digamma(x: f64) -> Option<f64> {
    (x > 0.0 && x.is_finite()).then(|| statrs::function::gamma::digamma(x))
}

/// ln of the number of ways to choose `k` of `n`. `None` where k > n.
#[must_use]
pub fn ln_choose(n: u32, k: u32) -> Option<f64> {
    let fewer = k.min(n.checked_sub(k)?);
    // A handful of factors keeps more digits than a difference of large logarithms.
    if fewer <= 20 {
        return Some((0..fewer).map(|i| (f64::from(n - i) / f64::from(i + 1)).ln()).sum());
    }
    let (n, k) = (f64::from(n) + 1.0, f64::from(k) + 1.0);
    Some(ln_gamma(n)? - ln_gamma(k)? - ln_gamma(n - k + 1.0)?)
}

/// P(a, x), the regularised lower incomplete gamma function: the chance that a gamma
/// variable of shape `a` is at most `x`. `None` unless a > 0 and x ≥ 0, both finite.
#[must_use]
pub fn gamma_p(a: f64, x: f64) -> Option<f64> {
    held(a, x).then(|| gamma_tails(a, x).0)
}

/// Q(a, x) = 1 − P(a, x), to its own accuracy. `None` as for [`gamma_p`].
#[must_use]
pub fn gamma_q(a: f64, x: f64) -> Option<f64> {
    held(a, x).then(|| gamma_tails(a, x).1)
}

/// The quantile of the gamma distribution of shape `a`: x with P(a, x) = `p`. `None`
/// unless a > 0 and 0 ≤ p < 1.
#[must_use]
pub fn gamma_quantile(p: f64, a: f64) -> Option<f64> {
    (held(a, 0.0) && (0.0..1.0).contains(&p)).then(|| if p > 0.0 { root(a, p, 1.0 - p) } else { 0.0 })
}

/// The upper quantile: x with Q(a, x) = `q`, which keeps the digits of a small `q`. `None`
/// unless a > 0 and 0 < q ≤ 1.
#[must_use]
pub fn gamma_quantile_upper(q: f64, a: f64) -> Option<f64> {
    (held(a, 0.0) && q > 0.0 && q <= 1.0).then(|| if q < 1.0 { root(a, 1.0 - q, q) } else { 0.0 })
}

fn held(a: f64, x: f64) -> bool {
    a > 0.0 && a.is_finite() && x >= 0.0 && x.is_finite()
}

/// P and Q, each to its own accuracy: the series of DLMF 8.7.1 below a + 1, the continued
/// fraction of DLMF 8.9.2 above.
fn gamma_tails(a: f64, x: f64) -> (f64, f64) {
    if x <= 0.0 {
        return (0.0, 1.0);
    }
    if x > beyond(a) {
        return (1.0, 0.0);
    }
    if x < a + 1.0 {
        let lower = (gamma_factor(a, x) * series(a, x)).clamp(0.0, 1.0);
        (lower, 1.0 - lower)
    } else {
        let upper = (gamma_factor(a, x) * fraction(a, x)).clamp(0.0, 1.0);
        (1.0 - upper, upper)
    }
}

/// From here on Q(a, x) is below every number a float can hold.
fn beyond(a: f64) -> f64 {
    2.0 * a + 2_000.0
}

/// x^a e^−x ∕ Γ(a), formed from the deviation of x from a.
fn gamma_factor(a: f64, x: f64) -> f64 {
    let deviation = (x - a) / a;
    let ln = if deviation.abs() < 0.5 { deviation.ln_1p() } else { (x / a).ln() };
    (a * (ln - deviation) + 0.5 * (a / TAU).ln() - stirling(a)).exp()
}

/// Σ xⁿ ∕ (a (a + 1) … (a + n)).
fn series(a: f64, x: f64) -> f64 {
    let mut term = 1.0 / a;
    let mut sum = term;
    for n in 1..MOST_TERMS {
        term *= x / (a + f64::from(n));
        sum += term;
        if term < sum * f64::EPSILON * 0.25 {
            break;
        }
    }
    sum
}

/// The continued fraction of Q(a, x) Γ(a) e^x ∕ x^a by the modified Lentz method.
fn fraction(a: f64, x: f64) -> f64 {
    let held = |v: f64| if v.abs() < f64::MIN_POSITIVE { f64::MIN_POSITIVE } else { v };
    let mut below = x + 1.0 - a;
    let mut c = 1.0 / f64::MIN_POSITIVE;
    let mut d = 1.0 / held(below);
    let mut value = d;
    for n in 1..MOST_TERMS {
        let n = f64::from(n);
        let above = n * (a - n);
        below += 2.0;
        d = 1.0 / held(above * d + below);
        c = held(below + above / c);
        value *= c * d;
        if (c * d - 1.0).abs() < f64::EPSILON {
            break;
        }
    }
    value
}

/// x with lower tail `p` and upper tail `q`: Newton steps in ln x on the logarithm of the
/// smaller tail, inside a bracket that only shrinks.
fn root(a: f64, p: f64, q: f64) -> f64 {
    let (mut low, mut high) = (f64::MIN_POSITIVE.ln(), beyond(a).ln());
    let mut at = a.ln().clamp(low, high);
    for _ in 0..MOST_STEPS {
        let x = at.exp();
        let (lower, upper) = gamma_tails(a, x);
        let (tail, want, side) = if p <= q { (lower, p, 1.0) } else { (upper, q, -1.0) };
        let miss = side * (tail / want).ln();
        if miss > 0.0 {
            high = at;
        } else {
            low = at;
        }
        let newton = at - miss * tail / gamma_factor(a, x);
        let next = if newton > low && newton < high { newton } else { f64::midpoint(low, high) };
        let moved = (next - at).abs();
        at = next;
        if moved <= f64::EPSILON || high - low <= f64::EPSILON {
            break;
        }
    }
    at.exp()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn outside_their_domains_they_answer_none() {
        assert_eq!((ln_gamma(0.0), ln_gamma(f64::NAN), digamma(-1.0)), (None, None, None));
        assert_eq!((gamma_p(0.0, 1.0), gamma_q(1.0, -1.0), gamma_p(1.0, f64::INFINITY)), (None, None, None));
        assert_eq!((gamma_quantile(1.0, 2.0), gamma_quantile_upper(0.0, 2.0), ln_choose(3, 4)), (None, None, None));
        assert_eq!((gamma_quantile(0.0, 2.0), gamma_quantile_upper(1.0, 2.0)), (Some(0.0), Some(0.0)));
    }

    #[test]
    fn ways_to_choose_are_those_of_pascals_triangle() {
        let mut row = vec![1_u64];
        for n in 0..60_u32 {
            for (k, &ways) in row.iter().enumerate() {
                #[expect(clippy::cast_precision_loss, reason = "60 choose 30 is off by one part in 2^53 at most")]
                let want = (ways as f64).ln();
                let got = ln_choose(n, u32::try_from(k).unwrap()).unwrap();
                assert!((got - want).abs() < 1e-12, "{n} choose {k}: {got}, {want}");
            }
            row = std::iter::once(1).chain(row.windows(2).map(|w| w[0] + w[1])).chain([1]).collect();
        }
    }

    proptest! {
        /// At whole shapes the gamma tail is a Poisson sum.
        #[test]
        fn whole_shapes_are_poisson_sums(count in 1_u32..60, x in 0.01_f64..150.0) {
            let mut term = (-x).exp();
            let mut sum = term;
            for i in 1..count {
                term *= x / f64::from(i);
                sum += term;
            }
            let got = gamma_q(f64::from(count), x).unwrap();
            prop_assert!((got - sum).abs() < 1e-12, "{got} {sum}");
        }

        #[test]
        fn quantile_and_chance_are_inverse(a in 0.05_f64..2e4, p in 1e-9_f64..0.999_999) {
            let back = gamma_p(a, gamma_quantile(p, a).unwrap()).unwrap();
            prop_assert!((back - p).abs() < 1e-9, "{p} came back as {back}");
            let back = gamma_q(a, gamma_quantile_upper(p, a).unwrap()).unwrap();
            prop_assert!((back - p).abs() < 1e-9, "{p} came back as {back}");
        }

        #[test]
        fn the_series_about_two_meets_the_library(z in 0.2_f64..0.3) {
            for x in [1.0 - z, 1.0 + z, 2.0 - z, 2.0 + z] {
                let ours = ln_gamma(x).unwrap();
                prop_assert!((ours - statrs::function::gamma::ln_gamma(x)).abs() < 1e-14);
            }
        }
    }
}
