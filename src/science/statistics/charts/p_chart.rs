//! The p-chart: a rate by month (NIST/SEMATECH e-Handbook 6.3.3.2), its exact counterpart for
//! small months, and the p'-chart for large months that truly differ (Laney 2002, Quality
//! Engineering 14:531).
//!
//! `p ± 3 √(p(1 − p)/n)` supposes that a count is nearly normal, which it is not at n p < 5:
//! there the limits are those of the binomial itself.

use super::super::individuals::D2;
use super::super::special::beta_cdf;
use super::control::{Group, Limits};

/// Below this expected count, of leaks or of sound ones, three-sigma limits are not to be used.
const NORMAL_FROM: f64 = 5.0;

/// The pooled rate of some groups. `None` of nothing observed.
#[must_use]
pub fn pooled_rate(groups: &[Group]) -> Option<f64> {
    let (count, n) = groups.iter().fold((0_u64, 0_u64), |(count, n), g| (count + u64::from(g.count), n + u64::from(g.n)));
    (n > 0).then(|| count as f64 / n as f64)
}

/// Whether three-sigma limits may be used for `n` at rate `p`: n p ≥ 5 and n (1 − p) ≥ 5.
#[must_use]
pub fn normal_serves(p: f64, n: u32) -> bool {
    let n = f64::from(n);
    n * p >= NORMAL_FROM && n * (1.0 - p) >= NORMAL_FROM
}

/// `p ± k σz √(p(1 − p)/n)`, cut to 0 and 1: with σz = 1 the p-chart, with [`sigma_z`] that of
/// Laney. `None` at n = 0, or unless 0 ≤ p ≤ 1 and k and σz are finite and not below 0.
#[must_use]
pub fn three_sigma_limits(p: f64, n: u32, k: f64, sigma_z: f64) -> Option<Limits> {
    let sane = n > 0 && (0.0..=1.0).contains(&p) && k >= 0.0 && sigma_z >= 0.0 && k.is_finite() && sigma_z.is_finite();
    let reach = k * sigma_z * (p * (1.0 - p) / f64::from(n.max(1))).sqrt();
    sane.then(|| Limits { lower: (p - reach).max(0.0), upper: (p + reach).min(1.0) })
}

/// P(X ≥ `count`) of X ~ Bin(`n`, `p`). `None` unless 0 ≤ p ≤ 1.
#[must_use]
pub fn at_least(count: u32, n: u32, p: f64) -> Option<f64> {
    if !(0.0..=1.0).contains(&p) {
        return None;
    }
    if count == 0 || count > n {
        return Some(if count == 0 { 1.0 } else { 0.0 });
    }
    beta_cdf(f64::from(count), f64::from(n - count) + 1.0, p)
}

/// P(X ≤ `count`) of X ~ Bin(`n`, `p`). `None` unless 0 ≤ p ≤ 1.
#[must_use]
pub fn at_most(count: u32, n: u32, p: f64) -> Option<f64> {
    if !(0.0..=1.0).contains(&p) {
        return None;
    }
    // As many sound ones or more.
    if count >= n { Some(1.0) } else { beta_cdf(f64::from(n - count), f64::from(count) + 1.0, 1.0 - p) }
}

/// The counts of a group between which nothing is said.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct CountLimits {
    /// The smallest count with P(X ≤ count) ≥ tail: one below it is a signal; at 0 none can be.
    pub lower: u32,
    /// The largest count with P(X ≥ count) ≥ tail: one above it is a signal; at n none can be.
    pub upper: u32,
}

/// The exact limits of the count in a group of `n` at rate `p`, each side with less than `tail`
/// beyond it. `None` at n = 0, or unless 0 ≤ p ≤ 1 and 0 < tail < ½.
#[must_use]
pub fn count_limits(p: f64, n: u32, tail: f64) -> Option<CountLimits> {
    if n == 0 || !(0.0..=1.0).contains(&p) || !(tail > 0.0 && tail < 0.5) {
        return None;
    }
    // At or above the tail from 0 up to the limit, below it from there on: halve.
    let (mut upper, mut beyond) = (0, n.saturating_add(1));
    while beyond - upper > 1 {
        let middle = upper.midpoint(beyond);
        if at_least(middle, n, p)? >= tail { upper = middle } else { beyond = middle }
    }
    let (mut below, mut lower) = (None, n);
    while lower > below.map_or(0, |below| below + 1) {
        let middle = below.map_or(0, |below: u32| below + 1).midpoint(lower - 1);
        if at_most(middle, n, p)? >= tail { lower = middle } else { below = Some(middle) }
    }
    Some(CountLimits { lower, upper })
}

/// How much more the groups differ than binomial counts do: the mean moving range of
/// `z = (rate − p) / √(p(1 − p)/n)` over 1.128 (Laney 2002), raw. Below 1 it is noise of few
/// groups, and 1 is to be used. `None` of fewer than two groups, or unless 0 < p < 1.
#[must_use]
pub fn sigma_z(groups: &[Group], p: f64) -> Option<f64> {
    let z = scores(groups, p)?;
    let moved: f64 = z.windows(2).map(|pair| (pair[1] - pair[0]).abs()).sum();
    (z.len() > 1).then(|| moved / (z.len() - 1) as f64 / D2)
}

/// The standardised rates of the groups that have any; `None` unless 0 < p < 1.
fn scores(groups: &[Group], p: f64) -> Option<Vec<f64>> {
    let score = |g: &Group| {
        let n = f64::from(g.n);
        (f64::from(g.count) / n - p) / (p * (1.0 - p) / n).sqrt()
    };
    (p > 0.0 && p < 1.0).then(|| groups.iter().filter(|g| g.n > 0).map(score).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// P(X = k) by products, written out.
    fn mass(k: u32, n: u32, p: f64) -> f64 {
        (0..k).fold((1.0 - p).powi(i32::try_from(n - k).unwrap()), |all, i| all * p * f64::from(n - i) / f64::from(k - i))
    }

    #[test]
    fn exact_limits_leave_less_than_the_tail_and_no_closer_ones_do() {
        for n in [1, 2, 5, 14, 40, 97] {
            for p in [0.003, 0.05, 0.2, 0.5, 0.83, 0.999] {
                let limits = count_limits(p, n, 0.00135).unwrap();
                let above = |from: u32| (from..=n).map(|k| mass(k, n, p)).sum::<f64>();
                let upper = (0..=n).rev().find(|d| above(*d) >= 0.00135).unwrap();
                let lower = (0..=n).find(|d| (0..=*d).map(|k| mass(k, n, p)).sum::<f64>() >= 0.00135).unwrap();
                assert_eq!(limits, CountLimits { lower, upper }, "{n} {p}");
            }
        }
    }

    #[test]
    fn at_the_ends_of_a_rate() {
        assert_eq!(count_limits(0.0, 9, 0.00135), Some(CountLimits { lower: 0, upper: 0 }));
        assert_eq!(count_limits(1.0, 9, 0.00135), Some(CountLimits { lower: 9, upper: 9 }));
        assert_eq!(count_limits(0.5, 0, 0.00135), None);
        assert_eq!(count_limits(f64::NAN, 9, 0.00135), None);
        assert_eq!(count_limits(0.2, 9, 0.0), None);
        assert_eq!((at_least(3, 2, 0.5), at_most(3, 2, 0.5), at_least(1, 2, f64::NAN)), (Some(0.0), Some(1.0), None));
        // A month as large as counts can be.
        let most = count_limits(0.5, u32::MAX, 0.00135).unwrap();
        assert!(most.lower < u32::MAX / 2 && most.upper > u32::MAX / 2);
    }

    #[test]
    fn the_rule_of_five_holds_on_both_sides() {
        assert!(normal_serves(0.1, 50) && !normal_serves(0.1, 49));
        assert!(normal_serves(0.9, 51) && !normal_serves(0.9, 49) && !normal_serves(0.0, 1000));
    }

    #[test]
    fn groups_that_differ_more_than_luck_have_wider_scores() {
        // z = −2.5, 0, 2.5: the mean range is 2.5. A month without any is passed over.
        let mut groups = [10, 0, 20, 30].map(|count| Group { n: 100, count });
        groups[1] = Group::default();
        assert!((sigma_z(&groups, 0.2).unwrap() - 2.5 / 1.128).abs() < 1e-12);
        assert_eq!((sigma_z(&groups[..2], 0.2), sigma_z(&groups, 0.0)), (None, None));
        assert_eq!(pooled_rate(&[Group { n: 0, count: 0 }]), None);
    }
}
