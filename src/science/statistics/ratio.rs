//! A ratio of sums with its interval, units as the sample: metal lost over metal charged,
//! heat by heat.

use super::binomial::{CONFIDENCE, Interval};
use super::special::t_quantile;

/// The ratio of the sums of some pairs (above, below), one pair for each sampled unit.
/// `None` where the lower sum is not above 0.
#[must_use]
pub fn ratio(pairs: &[(f64, f64)]) -> Option<f64> {
    let (above, below) = sums(pairs);
    (below > 0.0).then(|| above / below)
}

/// The 95 % interval of that ratio from the scatter between units: R ± t s, with the
/// linearised variance s² = Σ(y − R x)² ∕ (n (n − 1) x̄²) (Cochran, *Sampling Techniques*, 3rd
/// ed., 1977, ch. 6, without a correction for a finite population) and t the quantile of
/// Student's t at n − 1. A ratio may be below 0, and so may the interval: it is not cut.
///
/// `None` below two units, or where there is no ratio.
#[must_use]
#[expect(clippy::cast_precision_loss, reason = "counts of units lie far below 2^53")]
pub fn ratio_interval(pairs: &[(f64, f64)]) -> Option<Interval> {
    let n = pairs.len() as f64;
    let r = ratio(pairs)?;
    let t = t_quantile(1.0 - (1.0 - CONFIDENCE) / 2.0, n - 1.0)?;
    let mean = sums(pairs).1 / n;
    let squares: f64 = pairs.iter().map(|(y, x)| (y - r * x).powi(2)).sum();
    let reach = t * (squares / (n * (n - 1.0))).sqrt() / mean;
    Some(Interval { low: r - reach, high: r + reach })
}

fn sums(pairs: &[(f64, f64)]) -> (f64, f64) {
    pairs.iter().fold((0.0, 0.0), |(above, below), (y, x)| (above + y, below + x))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_interval_below_two_units() {
        assert_eq!(ratio(&[]), None);
        assert_eq!(ratio(&[(1.0, 0.0)]), None);
        assert_eq!(ratio_interval(&[(1.0, 10.0)]), None);
        let same = ratio_interval(&[(0.25, 4.0), (0.5, 8.0)]).unwrap();
        assert!((same.low - 0.0625).abs() < 1e-15 && (same.high - 0.0625).abs() < 1e-15);
    }

    /// tests/reference/ratio_estimator.py, an account of its own in another language.
    #[test]
    fn the_interval_is_that_of_an_independent_account() {
        let text = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/ratio_estimator.json")).unwrap();
        let cases: serde_json::Value = serde_json::from_str(&text).unwrap();
        let cases = cases["cases"].as_array().unwrap();
        assert!(cases.len() >= 4);
        for case in cases {
            let number = |name: &str| case[name].as_f64().unwrap();
            let pairs: Vec<(f64, f64)> =
                case["pairs"].as_array().unwrap().iter().map(|p| (p[0].as_f64().unwrap(), p[1].as_f64().unwrap())).collect();
            let found = ratio_interval(&pairs).unwrap();
            assert!((ratio(&pairs).unwrap() - number("ratio")).abs() < 1e-12, "{case}");
            // The table gives t to three decimals, so the reach to one part in 5000.
            let reach = number("high") - number("ratio");
            assert!((found.low - number("low")).abs() < 3e-4 * reach, "{case} {found:?}");
            assert!((found.high - number("high")).abs() < 3e-4 * reach, "{case} {found:?}");
        }
    }
}
