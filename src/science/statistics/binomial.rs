//! One rate from `count` out of `of`: intervals, promises and what is waiting.
//!
//! Wilson's interval is what pages show. A promise ("below u") takes the one-sided
//! [`upper_bound`]. Clopper–Pearson is guaranteed and wide, Jeffreys is Bayesian
//! with a reference prior. Which of them a number is must be said beside it: at
//! 0 of 20 they read 16.1, 13.9, 16.8 and 11.7 percent.

use serde::Serialize;
use utoipa::ToSchema;

use super::special::{beta_cdf, beta_quantile, normal_quantile};

/// The confidence of every interval on pages and in answers, unless said.
pub const CONFIDENCE: f64 = 0.95;

/// A two-sided interval of a rate, both ends between 0 and 1.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, ToSchema)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// A rate with its count and its Wilson 95 % interval.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, ToSchema)]
pub struct Rate {
    /// How many had it.
    pub count: u32,
    /// Out of how many observed.
    pub of: u32,
    /// `count / of`, between 0 and 1.
    pub rate: f64,
    /// Lower end of the Wilson interval.
    pub low: f64,
    /// Upper end of the Wilson interval.
    pub high: f64,
}

impl Rate {
    /// The rate of `count` in `of`. `None` at nothing observed, or count above it.
    #[must_use]
    pub fn new(count: u32, of: u32) -> Option<Self> {
        let Interval { low, high } = wilson(count, of, CONFIDENCE)?;
        Some(Self { count, of, rate: f64::from(count) / f64::from(of), low, high })
    }
}

/// What has not reached the point of observation: in no denominator, and what the
/// rate would become at either extreme (the bounds of Manski, 1990).
#[derive(Clone, Copy, PartialEq, Debug, Serialize, ToSchema)]
pub struct Waiting {
    /// How many are waiting.
    pub count: u32,
    /// The rate if all of them turn out good.
    pub if_all_good: f64,
    /// The rate if all of them turn out bad.
    pub if_all_bad: f64,
}

impl Waiting {
    /// Beside a rate that counts the bad (leaks, shorts, defects): `bad` of `of`
    /// judged, `count` waiting. `None` where nothing is judged or waiting, or the
    /// counts contradict.
    #[must_use]
    pub fn of_bad(bad: u32, of: u32, count: u32) -> Option<Self> {
        let all = f64::from(of) + f64::from(count);
        (bad <= of && all > 0.0).then(|| Self {
            count,
            if_all_good: f64::from(bad) / all,
            if_all_bad: (f64::from(bad) + f64::from(count)) / all,
        })
    }

    /// Beside a rate that counts the good (yields): as [`Waiting::of_bad`].
    #[must_use]
    pub fn of_good(good: u32, of: u32, count: u32) -> Option<Self> {
        let bad = Self::of_bad(good, of, count)?;
        Some(Self { count, if_all_good: bad.if_all_bad, if_all_bad: bad.if_all_good })
    }
}

/// Wilson's score interval (Wilson 1927; preferred at small n with Jeffreys': Brown,
/// Cai & `DasGupta` 2001): `(p + z²/2n ± z √(p(1−p)/n + z²/4n²)) / (1 + z²/n)`, with
/// z the normal quantile of `1 − (1 − confidence)/2`.
///
/// The lower end is exactly 0 at x = 0 and the upper exactly 1 at x = n, which
/// rounding would miss. `None` when n = 0, x > n or confidence is not within (0, 1).
#[must_use]
pub fn wilson(x: u32, n: u32, confidence: f64) -> Option<Interval> {
    let tail = tail_of(x, n, confidence)? / 2.0;
    // −z of the lower tail: the same number, without forming 1 − tail.
    let z = -normal_quantile(tail)?;
    let (p, n_f) = (f64::from(x) / f64::from(n), f64::from(n));
    let z2n = z * z / n_f;
    let middle = p + z2n / 2.0;
    let half = z * (p * (1.0 - p) / n_f + z2n / (4.0 * n_f)).sqrt();
    let scale = 1.0 + z2n;
    // The lower end as p² / (middle + half), free of the cancellation at few events.
    let low = if x == 0 { 0.0 } else { p * p / (middle + half) };
    let high = if x == n { 1.0 } else { ((middle + half) / scale).min(1.0) };
    Some(Interval { low, high })
}

/// The two-sided interval of Clopper & Pearson (1934): the quantiles `α/2` of
/// Beta(x, n − x + 1) and `1 − α/2` of Beta(x + 1, n − x). `None` as for [`wilson`].
#[must_use]
pub fn clopper_pearson(x: u32, n: u32, confidence: f64) -> Option<Interval> {
    let tail = tail_of(x, n, confidence)? / 2.0;
    let (bad, good) = (f64::from(x), f64::from(n - x));
    let low = if x == 0 { 0.0 } else { beta_quantile(tail, bad, good + 1.0)? };
    // The mirrored lower tail: 1 − q(1 − α/2; x + 1, n − x) = q(α/2; n − x, x + 1).
    let high = if x == n { 1.0 } else { 1.0 - beta_quantile(tail, good, bad + 1.0)? };
    Some(Interval { low, high })
}

/// Jeffreys' interval: the quantiles of Beta(x + ½, n − x + ½), the lower set to 0
/// at x = 0 and the upper to 1 at x = n (Brown, Cai & `DasGupta` 2001, section
/// 3.1.2). `None` as for [`wilson`].
#[must_use]
pub fn jeffreys(x: u32, n: u32, confidence: f64) -> Option<Interval> {
    let tail = tail_of(x, n, confidence)? / 2.0;
    let (bad, good) = (f64::from(x) + 0.5, f64::from(n - x) + 0.5);
    let low = if x == 0 { 0.0 } else { beta_quantile(tail, bad, good)? };
    let high = if x == n { 1.0 } else { 1.0 - beta_quantile(tail, good, bad)? };
    Some(Interval { low, high })
}

/// "The rate is below this, with the stated confidence": the one-sided bound of
/// Clopper & Pearson (1934), the quantile `confidence` of Beta(x + 1, n − x); at
/// x = 0 it is `1 − (1 − confidence)^(1/n)`. `None` as for [`wilson`].
#[must_use]
pub fn upper_bound(x: u32, n: u32, confidence: f64) -> Option<f64> {
    let tail = tail_of(x, n, confidence)?;
    if x == n {
        return Some(1.0);
    }
    if x == 0 {
        return Some(-(tail.ln() / f64::from(n)).exp_m1());
    }
    Some(1.0 - beta_quantile(tail, f64::from(n - x), f64::from(x) + 1.0)?)
}

/// The chance of `x` or more in `n` draws of chance `p`: `I_p(x, n − x + 1)` (DLMF 8.17.5).
/// `None` unless 0 ≤ p ≤ 1.
#[must_use]
pub fn binomial_at_least(x: u32, n: u32, p: f64) -> Option<f64> {
    if !(0.0..=1.0).contains(&p) {
        return None;
    }
    match x {
        0 => Some(1.0),
        _ if x > n => Some(0.0),
        _ => beta_cdf(f64::from(x), f64::from(n - x) + 1.0, p),
    }
}

/// The chance of `x` or fewer in `n` draws of chance `p`, to its own accuracy. `None`
/// unless 0 ≤ p ≤ 1.
#[must_use]
pub fn binomial_at_most(x: u32, n: u32, p: f64) -> Option<f64> {
    if !(0.0..=1.0).contains(&p) {
        return None;
    }
    if x >= n { Some(1.0) } else { beta_cdf(f64::from(n - x), f64::from(x) + 1.0, 1.0 - p) }
}

/// The chance that the worst of `k` equally good levels shows `x` or more in `n` each:
/// `1 − (1 − P(X ≥ x))^k`. `None` unless 0 ≤ p ≤ 1.
#[must_use]
pub fn worst_of(k: u32, n: u32, p: f64, x: u32) -> Option<f64> {
    let one = binomial_at_least(x, n, p)?;
    if k == 0 {
        return Some(0.0);
    }
    // Added to 0 so that no chance at all reads 0 and not −0.
    Some(0.0 - (f64::from(k) * (-one).ln_1p()).exp_m1())
}

/// `1 − confidence`, where the counts make a rate.
fn tail_of(x: u32, n: u32, confidence: f64) -> Option<f64> {
    (n > 0 && x <= n && confidence > 0.0 && confidence < 1.0).then_some(1.0 - confidence)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn nothing_observed_is_no_rate() {
        assert_eq!(Rate::new(0, 0), None);
        assert_eq!(Rate::new(3, 2), None);
        assert_eq!(wilson(1, 2, 1.0), None);
        assert_eq!(wilson(1, 2, f64::NAN), None);
        assert_eq!(clopper_pearson(0, 0, 0.95), None);
        assert_eq!(jeffreys(2, 1, 0.95), None);
        assert_eq!(upper_bound(0, 0, 0.95), None);
        assert_eq!(Waiting::of_bad(0, 0, 0), None);
        assert_eq!(Waiting::of_bad(2, 1, 4), None);
    }

    #[test]
    fn tails_add_up_and_end() {
        for n in [1, 7, 60] {
            for x in 0..n {
                let sum = binomial_at_most(x, n, 0.13).unwrap() + binomial_at_least(x + 1, n, 0.13).unwrap();
                assert!((sum - 1.0).abs() < 1e-13, "{x} of {n}: {sum}");
            }
        }
        assert_eq!((binomial_at_least(4, 3, 0.5), binomial_at_most(3, 3, 0.5)), (Some(0.0), Some(1.0)));
        assert_eq!((binomial_at_least(1, 3, f64::NAN), binomial_at_most(1, 3, 1.1)), (None, None));
        assert_eq!((worst_of(0, 5, 0.1, 1), worst_of(3, 5, 0.0, 1), worst_of(3, 5, 1.0, 5)), (Some(0.0), Some(0.0), Some(1.0)));
    }

    #[test]
    fn the_ends_are_exact() {
        assert_eq!(Rate::new(0, 20).map(|r| r.low.to_bits()), Some(0.0_f64.to_bits()));
        assert_eq!(Rate::new(20, 20).map(|r| r.high.to_bits()), Some(1.0_f64.to_bits()));
    }

    #[test]
    fn yields_wait_the_other_way_round() {
        let leaks = Waiting::of_bad(2, 20, 7).unwrap();
        let sound = Waiting::of_good(18, 20, 7).unwrap();
        assert!((leaks.if_all_good + sound.if_all_good - 1.0).abs() < 1e-15);
        assert!((leaks.if_all_bad + sound.if_all_bad - 1.0).abs() < 1e-15);
        assert!(leaks.if_all_good < leaks.if_all_bad && sound.if_all_bad < sound.if_all_good);
    }

    proptest! {
        #[test]
        fn every_interval_holds_its_rate(n in 1_u32..5_000, part in 0.0_f64..=1.0, confidence in 0.5_f64..0.999) {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a part of n")]
            let x = (f64::from(n) * part) as u32;
            let rate = f64::from(x) / f64::from(n);
            for interval in [wilson, clopper_pearson, jeffreys] {
                let Interval { low, high } = interval(x, n, confidence).unwrap();
                prop_assert!((0.0..=1.0).contains(&low) && (0.0..=1.0).contains(&high));
                prop_assert!(low <= rate + 1e-12 && rate <= high + 1e-12, "{low} {rate} {high}");
                let mirrored = interval(n - x, n, confidence).unwrap();
                prop_assert!((mirrored.low + high - 1.0).abs() < 1e-11);
            }
        }
    }
}
