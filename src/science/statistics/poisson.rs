//! Events per time or weight: a Poisson rate, and the ratio of two.

use super::binomial::clopper_pearson;
use super::discrete::{Discrete, KEEP, KEEP_ALL};
use super::special::{gamma_quantile, gamma_quantile_upper};

/// A rate of events per unit of exposure, with its interval.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct PoissonRate {
    /// Events over exposure.
    pub rate: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// Garwood's exact interval of a Poisson rate (Garwood 1936, *Biometrika* 28:437–442):
/// `χ²(α∕2; 2x) ∕ 2T` and `χ²(1 − α∕2; 2x + 2) ∕ 2T`, the lower end 0 at x = 0.
///
/// `exposure` in whatever unit the rate is wanted per. `None` unless it is above 0 and
/// confidence within (0, 1).
#[must_use]
pub fn garwood(events: u32, exposure: f64, confidence: f64) -> Option<PoissonRate> {
    if !(exposure > 0.0 && exposure.is_finite() && confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let (x, tail) = (f64::from(events), (1.0 - confidence) / 2.0);
    let low = if events == 0 { 0.0 } else { gamma_quantile(tail, x)? };
    let high = gamma_quantile_upper(tail, x + 1.0)?;
    Some(PoissonRate { rate: x / exposure, low: low / exposure, high: high / exposure })
}

/// The ratio of two Poisson rates.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct RateRatio {
    /// First rate over second; infinite where the second has no events.
    pub ratio: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end; may be infinite.
    pub high: f64,
    /// Two-sided p of equal rates: the chance of splits no more probable than the seen one.
    pub p: f64,
}

/// The exact conditional comparison of two Poisson rates (Przyborowski & Wilenski 1940,
/// *Biometrika* 31:313–323): given their sum, the first count is binomial with chance
/// `t₁ ∕ (t₁ + t₂)` where the rates are equal; the interval follows from that of Clopper and
/// Pearson.
///
/// Each is (events, exposure). `None` without any event, unless both exposures are above 0,
/// and confidence within (0, 1).
#[must_use]
pub fn rate_ratio(first: (u32, f64), second: (u32, f64), confidence: f64) -> Option<RateRatio> {
    let ((x, t), (y, u)) = (first, second);
    let odds = t / u;
    let held = t > 0.0 && u > 0.0 && odds > 0.0 && odds.is_finite();
    let both = x.checked_add(y).filter(|both| *both > 0 && held)?;
    let share = clopper_pearson(x, both, confidence)?;
    // The odds of a share, from whichever of it and its complement is exact.
    let turned = clopper_pearson(y, both, confidence)?;
    let n = u64::from(both);
    let splits = |keep| {
        #[expect(clippy::cast_precision_loss, reason = "counts below 2^33")]
        Discrete::by_ratio(0, n, keep, |k| (n - k) as f64 / (k + 1) as f64 * odds)
    };
    let near = splits(KEEP);
    let at = u64::from(x);
    let p = if near.weight(at) > KEEP.sqrt() { near.two_sided(at) } else { splits(KEEP_ALL).two_sided(at) };
    Some(RateRatio {
        ratio: if y == 0 { f64::INFINITY } else { f64::from(x) / f64::from(y) / odds },
        low: share.low / turned.high / odds,
        high: if y == 0 { f64::INFINITY } else { share.high / turned.low / odds },
        p,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_exposure_or_events_there_is_nothing_to_say() {
        assert_eq!((garwood(3, 0.0, 0.95), garwood(3, f64::NAN, 0.95), garwood(3, 1.0, 1.0)), (None, None, None));
        assert_eq!(rate_ratio((0, 1.0), (0, 1.0), 0.95), None);
        assert_eq!(rate_ratio((1, 0.0), (1, 1.0), 0.95), None);
        assert_eq!(rate_ratio((u32::MAX, 1.0), (1, 1.0), 0.95), None);
    }

    #[test]
    fn a_second_without_events_leaves_the_upper_end_open() {
        let one = rate_ratio((6, 52.0), (0, 40.0), 0.95).unwrap();
        let other = rate_ratio((0, 40.0), (6, 52.0), 0.95).unwrap();
        assert!(one.ratio.is_infinite() && one.high.is_infinite());
        assert!((one.low * other.high - 1.0).abs() < 1e-12 && (one.p - other.p).abs() < 1e-15);
    }

    #[test]
    fn large_counts_far_apart_still_end() {
        let far = rate_ratio((900_000, 1.0), (100_000, 1.0), 0.95).unwrap();
        assert!(far.p <= 1e-200 && far.low > 8.9 && far.high < 9.1, "{far:?}");
    }
}
