//! The g-chart: how many sound pours lie between two leaks (Kaminsky, Benneyan, Davis & Burke
//! 1992, Journal of Quality Technology 24:63; Benneyan 2001, Health Care Management Science
//! 4:305).
//!
//! A gap is geometric: P(gap ≥ g) = (1 − p)^g, with p the chance of a leak. A long gap is an
//! improvement. The lower limit is nearly always 0, so one short gap cannot say that things got
//! worse: a run of gaps of 0 can, and so can the leaks among the last pours
//! ([`at_least`](super::p_chart::at_least)).

/// The limits of gaps.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct GLimits {
    /// The mean gap, in pours.
    pub mean_gap: f64,
    /// The chance of a leak, `1 / (mean gap + 1)`.
    pub p: f64,
    /// The smallest u with (1 − p)^(u + 1) ≤ α/2: a gap above it is a signal.
    pub upper: u64,
    /// The largest L with 1 − (1 − p)^L ≤ α/2: a gap below it is a signal; at 0 none can be.
    pub lower: u64,
    /// So many gaps of 0 in a row are a signal, the smallest r with p^r ≤ α. `None` where every
    /// pour leaks, of which no run of leaks says anything new.
    pub zeros_to_signal: Option<u64>,
}

/// The limits from some gaps between leaks, none of them still running. `None` of no gaps, or
/// unless 0 < α < 1.
#[must_use]
pub fn g_limits(gaps: &[u32], alpha: f64) -> Option<GLimits> {
    if gaps.is_empty() {
        return None;
    }
    let sum: f64 = gaps.iter().copied().map(f64::from).sum();
    g_limits_at(sum / gaps.len() as f64, alpha)
}

/// The limits at a mean gap. `None` unless it is finite and at least 0 and 0 < α < 1.
#[must_use]
pub fn g_limits_at(mean_gap: f64, alpha: f64) -> Option<GLimits> {
    if !(mean_gap >= 0.0 && mean_gap.is_finite() && alpha > 0.0 && alpha < 1.0) {
        return None;
    }
    let p = 1.0 / (mean_gap + 1.0);
    // ln(1 − p) = ln(mean / (mean + 1)), −∞ where every pour leaks.
    let sound = -(1.0 / mean_gap).ln_1p();
    let half = alpha / 2.0;
    let long = |gaps: f64| if gaps > 0.0 { (gaps * sound).exp() } else { 1.0 };
    let upper = smallest((half.ln() / sound).ceil() - 1.0, |u| long(u + 1.0) <= half);
    // The largest that still holds is one below the smallest that no longer does.
    let over = smallest(((-half).ln_1p() / sound).ceil(), |l| l > 0.0 && -(l * sound).exp_m1() > half);
    let zeros = (p < 1.0).then(|| smallest((alpha.ln() / p.ln()).ceil(), |r| (r * p.ln()).exp() <= alpha));
    Some(GLimits { mean_gap, p, upper: whole(upper), lower: whole(over - 1.0), zeros_to_signal: zeros.map(whole) })
}

/// The smallest whole number from 0 at which `holds`, which it does from there on, near a guess
/// that rounding may have put one off.
fn smallest(guess: f64, holds: impl Fn(f64) -> bool) -> f64 {
    let mut at = (guess - 2.0).max(0.0);
    for _ in 0..4 {
        if holds(at) {
            break;
        }
        at += 1.0;
    }
    at
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a whole number from 0; the cast stops at the ends")]
const fn whole(number: f64) -> u64 {
    number as u64
}

/// The limits of k sigma, `ḡ ± k √(ḡ(ḡ + 1))`, cut at 0, as (lower, upper). They are given for
/// comparison only: a gap is skewed, so that the upper one lies too low and gives false alarms,
/// and the lower one is of no use.
#[must_use]
pub fn g_three_sigma(mean_gap: f64, k: f64) -> (f64, f64) {
    let reach = k * (mean_gap * (mean_gap + 1.0)).max(0.0).sqrt();
    ((mean_gap - reach).max(0.0), mean_gap + reach)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_are_the_first_that_hold() {
        // By direct powers, one by one.
        for tenth in [1_u32, 3, 9, 17, 50, 261, 999, 4000] {
            let limits = g_limits_at(f64::from(tenth) / 10.0, 0.0027).unwrap();
            let q = 1.0 - limits.p;
            let power = |n: u64| (0..n).fold(1.0, |all, _| all * q);
            let upper = (0..60_000).find(|u| power(u + 1) <= 0.00135).unwrap();
            assert_eq!(limits.upper, upper, "{tenth}");
            let lower = (0..60_000).find(|l| 1.0 - power(l + 1) > 0.00135).unwrap();
            assert_eq!(limits.lower, lower, "{tenth}");
            let zeros = (0..60_000).find(|r| (0..*r).fold(1.0, |all, _| all * limits.p) <= 0.0027).unwrap();
            assert_eq!(limits.zeros_to_signal, Some(zeros), "{tenth}");
        }
    }

    #[test]
    fn a_lower_limit_appears_only_at_very_long_gaps() {
        // 1 − (1 − p)^1 = p ≤ α/2 from a mean gap of 1 / 0.00135 − 1 ≈ 739.7 on.
        assert_eq!(g_limits_at(739.0, 0.0027).unwrap().lower, 0);
        assert_eq!(g_limits_at(741.0, 0.0027).unwrap().lower, 1);
    }

    #[test]
    fn what_has_no_limits() {
        assert_eq!(g_limits(&[], 0.0027), None);
        assert_eq!(g_limits(&[3], 0.0), None);
        assert_eq!(g_limits_at(f64::NAN, 0.0027), None);
        let all = g_limits(&[0, 0, 0], 0.0027).unwrap();
        assert_eq!((all.p.to_bits(), all.upper, all.lower, all.zeros_to_signal), (1.0_f64.to_bits(), 0, 0, None));
        let longest = g_limits(&[u32::MAX, u32::MAX], 0.0027).unwrap();
        assert!(longest.upper > u64::from(u32::MAX) && longest.zeros_to_signal == Some(1));
    }
}
