//! How many pours tell two rates apart.
//!
//! These are planning figures. Power reckoned from the rates just observed says nothing that
//! the p did not say, and is never put beside a comparison that told nothing apart.

use super::arm::Arm;
use super::binomial::{binomial_at_least, binomial_at_most};
use super::discrete::{Discrete, TIE};
use super::special::{normal_cdf, normal_quantile};

/// Pours of each level to tell two rates apart.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct SampleSize {
    /// By the normal formula with the pooled rate under no difference.
    pub plain: f64,
    /// With the continuity correction: the one to quote, Fisher's test needs it.
    pub corrected: f64,
    /// By the arcsine transformation.
    pub arcsine: f64,
}

impl SampleSize {
    /// The corrected number as whole pours. `None` beyond what a `u32` holds.
    #[must_use]
    pub fn pours(&self) -> Option<u32> {
        whole(self.corrected)
    }
}

/// The least whole number at or above; what lies above one by rounding alone is that one.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "within u32, as asked before")]
fn whole(n: f64) -> Option<u32> {
    let up = (n * (1.0 - 1e-12)).ceil();
    (0.0..=f64::from(u32::MAX)).contains(&up).then_some(up as u32)
}

/// Pours of each level to find rates p₁ and p₂ different at a two-sided `alpha` with chance
/// `power`: `n = (z_α √(2 m (1 − m)) + z_β √(p₁q₁ + p₂q₂))² ∕ (p₁ − p₂)²`, m their mean (Fleiss 1981);
/// corrected `n∕4 (1 + √(1 + 4 ∕ (n |p₁ − p₂|)))²` (Fleiss, Tytun & Ury 1980, *Biometrics*
/// 36:343–346); arcsine `2 (z_α + z_β)² ∕ (2 asin √p₁ − 2 asin √p₂)²` (Cohen 1988).
///
/// `None` unless the rates are within 0 to 1 and differ, `alpha` is within (0, 1) and
/// `power` above alpha ∕ 2 and below 1.
#[must_use]
pub fn sample_size(p1: f64, p2: f64, alpha: f64, power: f64) -> Option<SampleSize> {
    let gap = gap(p1, p2)?;
    let z_alpha = -normal_quantile(alpha / 2.0)?;
    let z_power = normal_quantile(power)?;
    if z_alpha + z_power <= 0.0 || alpha >= 1.0 {
        return None;
    }
    let (pooled, apart) = spreads(p1, p2);
    let plain = ((z_alpha * pooled + z_power * apart).max(0.0) / gap).powi(2);
    let corrected = plain / 4.0 * (1.0 + (1.0 + 4.0 / (plain * gap)).sqrt()).powi(2);
    let arc = 2.0 * (p1.sqrt().asin() - p2.sqrt().asin());
    let arcsine = 2.0 * ((z_alpha + z_power) / arc).powi(2);
    (plain > 0.0 && corrected.is_finite()).then_some(SampleSize { plain, corrected, arcsine })
}

/// The power of `n` pours of each level by the normal formula that [`sample_size`] inverts:
/// `Φ((√n |p₁ − p₂| − z_α √(2 m (1 − m))) ∕ √(p₁q₁ + p₂q₂))`. `None` as there, and where both rates
/// are certain.
#[must_use]
pub fn power_normal(n: u32, p1: f64, p2: f64, alpha: f64) -> Option<f64> {
    let gap = gap(p1, p2)?;
    let z_alpha = -normal_quantile(alpha / 2.0).filter(|_| alpha < 1.0)?;
    let (pooled, apart) = spreads(p1, p2);
    normal_cdf((f64::from(n).sqrt() * gap - z_alpha * pooled) / apart)
}

fn gap(p1: f64, p2: f64) -> Option<f64> {
    let held = (0.0..=1.0).contains(&p1) && (0.0..=1.0).contains(&p2);
    held.then(|| (p1 - p2).abs()).filter(|gap| *gap > 0.0)
}

/// √(2 m (1 − m)) of the mean rate, and √(p₁q₁ + p₂q₂).
fn spreads(p1: f64, p2: f64) -> (f64, f64) {
    let mean = f64::midpoint(p1, p2);
    ((2.0 * mean * (1.0 - mean)).sqrt(), (p1 * (1.0 - p1) + p2 * (1.0 - p2)).sqrt())
}

/// Most pours of both levels together that [`power_fisher`] goes through.
pub const MOST_ENUMERATED: u32 = 4_000;

/// The power of Fisher's two-sided test at `alpha`, with rate p₁ in n₁ and p₂ in n₂ pours:
/// the chance of all pairs of counts whose p is at most alpha, gone through one by one.
///
/// `None` unless the rates and alpha are within 0 to 1, and beyond [`MOST_ENUMERATED`] pours.
#[must_use]
pub fn power_fisher(first: (f64, u32), second: (f64, u32), alpha: f64) -> Option<f64> {
    let ((p1, n1), (p2, n2)) = (first, second);
    let both = n1.checked_add(n2).filter(|both| *both <= MOST_ENUMERATED)?;
    if !(0.0..=1.0).contains(&alpha) {
        return None;
    }
    let (of_first, of_second) = (chances(p1, n1)?, chances(p2, n2)?);
    let mut power = 0.0;
    for events in 0..=both {
        for x in rejected(n1, n2, events, alpha) {
            let at = |list: &[f64], x: u32| usize::try_from(x).ok().and_then(|x| list.get(x)).copied().unwrap_or(0.0);
            power += at(&of_first, x) * at(&of_second, events - x);
        }
    }
    Some(power.min(1.0))
}

/// The chances of each count of a binomial.
fn chances(p: f64, n: u32) -> Option<Vec<f64>> {
    if !(0.0..=1.0).contains(&p) {
        return None;
    }
    // Each as a difference of the smaller tails, so that a chance of 0 or 1 needs no case.
    (0..=n)
        .map(|x| {
            let (below, above) = (binomial_at_most(x, n, p)?, binomial_at_least(x, n, p)?);
            let next = if below < above {
                below - if x == 0 { 0.0 } else { binomial_at_most(x - 1, n, p)? }
            } else {
                above - binomial_at_least(x + 1, n, p)?
            };
            Some(next.max(0.0))
        })
        .collect()
}

/// The counts of the first at which Fisher's p is at most alpha, given all events.
fn rejected(n1: u32, n2: u32, events: u32, alpha: f64) -> Vec<u32> {
    let [m, n, t] = [n1, n2, events].map(u64::from);
    #[expect(clippy::cast_precision_loss, reason = "small counts")]
    let ratio = |k: u64| ((m - k) as f64 * (t - k) as f64) / ((k + 1) as f64 * (n + k + 1 - t) as f64);
    // Nothing is left out: what is improbable here may be probable at the true rates.
    let all = Discrete::by_ratio(t.saturating_sub(n), t.min(m), 0.0, ratio);
    let mut order: Vec<(u64, f64)> = all.iter().collect();
    order.sort_by(|one, other| one.1.total_cmp(&other.1));
    let total = all.total();
    let (mut sum, mut at, mut list) = (0.0, 0, Vec::new());
    while let Some(&(_, weight)) = order.get(at) {
        let tied: Vec<(u64, f64)> =
            order.iter().skip(at).copied().take_while(|(_, other)| *other <= weight * (1.0 + TIE)).collect();
        sum += tied.iter().map(|(_, weight)| weight).sum::<f64>();
        if sum > alpha * total * (1.0 + 1e-12) {
            break;
        }
        at += tied.len();
        list.extend(tied.iter().filter_map(|(k, _)| u32::try_from(*k).ok()));
    }
    list
}

/// Leak-free pours needed to say "below `p0`" with the stated confidence:
/// `ln(1 − confidence) ∕ ln(1 − p₀)`, whole and not. `None` unless both are within (0, 1).
#[must_use]
pub fn zero_event_pours(p0: f64, confidence: f64) -> Option<(f64, u32)> {
    if !(p0 > 0.0 && p0 < 1.0 && confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let exact = (-confidence).ln_1p() / (-p0).ln_1p();
    Some((exact, whole(exact)?))
}

/// Further pours that would tell two rates apart.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct MorePours {
    /// Pours of each level in all.
    pub each: u32,
    /// Still to be made of the first.
    pub first: u32,
    /// Still to be made of the second.
    pub second: u32,
}

/// Further pours that would tell the rates apart that were seen, were they the true ones, by
/// the corrected [`sample_size`]. `None` where the rates are equal or one is not observed.
#[must_use]
pub fn more_pours(a: Arm, b: Arm, alpha: f64, power: f64) -> Option<MorePours> {
    further(a, b, sample_size(a.share()?, b.share()?, alpha, power)?)
}

/// Further pours that would tell rates `gap` apart that lie about the rate of both levels
/// together (moved to lie within 0 and 1). `None` unless 0 < gap ≤ 1, and where neither is
/// observed.
#[must_use]
pub fn more_pours_for_gap(a: Arm, b: Arm, gap: f64, alpha: f64, power: f64) -> Option<MorePours> {
    if !(gap > 0.0 && gap <= 1.0) {
        return None;
    }
    let low = (a.with(b).share()? - gap / 2.0).clamp(0.0, 1.0 - gap);
    further(a, b, sample_size(low, low + gap, alpha, power)?)
}

fn further(a: Arm, b: Arm, size: SampleSize) -> Option<MorePours> {
    let each = size.pours()?;
    Some(MorePours { each, first: each.saturating_sub(a.of()), second: each.saturating_sub(b.of()) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rates_that_do_not_differ_need_no_number() {
        let arm = |x, n| Arm::new(x, n).unwrap();
        assert_eq!(sample_size(0.1, 0.1, 0.05, 0.8), None);
        assert_eq!(sample_size(0.1, f64::NAN, 0.05, 0.8), None);
        assert_eq!(sample_size(0.1, 0.2, 0.0, 0.8), None);
        assert_eq!(sample_size(0.1, 0.2, 0.05, 1.0), None);
        assert_eq!(sample_size(0.1, 0.2, 0.05, 0.01), None);
        assert_eq!(more_pours(arm(1, 20), arm(2, 40), 0.05, 0.8), None);
        assert_eq!(more_pours(arm(1, 20), arm(0, 0), 0.05, 0.8), None);
        assert_eq!(more_pours_for_gap(arm(1, 20), arm(0, 20), 0.0, 0.05, 0.8), None);
        assert_eq!((power_normal(9, 0.0, 1.0, 0.05), zero_event_pours(0.0, 0.95)), (None, None));
        assert_eq!(power_fisher((0.1, 3_000), (0.1, 3_000), 0.05), None);
        assert_eq!(zero_event_pours(0.5, 0.75).map(|pours| pours.1), Some(2));
    }

    #[test]
    fn a_gap_worth_knowing_lies_about_both() {
        // 4 of 40 together: 5 against 15 in 100, which the reference puts at 160 each.
        let arm = |x, n| Arm::new(x, n).unwrap();
        let got = more_pours_for_gap(arm(1, 20), arm(3, 20), 0.1, 0.05, 0.8).unwrap();
        assert_eq!(got, MorePours { each: 160, first: 140, second: 140 });
        let none = more_pours_for_gap(arm(0, 20), arm(0, 30), 0.1, 0.05, 0.8).unwrap();
        assert_eq!(none.each, sample_size(0.0, 0.1, 0.05, 0.8).unwrap().pours().unwrap());
        assert!(more_pours_for_gap(arm(20, 20), arm(30, 30), 0.1, 0.05, 0.8).is_some());
    }

    #[test]
    fn the_sample_size_has_the_power_it_was_made_for() {
        for (p1, p2) in [(0.05, 0.15), (0.5, 0.75), (0.0, 0.2)] {
            let n = sample_size(p1, p2, 0.05, 0.8).unwrap();
            let normal = power_normal(whole(n.plain).unwrap(), p1, p2, 0.05).unwrap();
            assert!((0.8..0.82).contains(&normal), "{p1} {p2}: {normal}");
            let pours = n.pours().unwrap();
            let exact = power_fisher((p1, pours), (p2, pours), 0.05).unwrap();
            assert!((0.78..0.9).contains(&exact), "{p1} {p2}: {exact}");
        }
    }

    #[test]
    fn without_a_difference_the_power_is_at_most_alpha() {
        for (n1, n2, p) in [(6, 6, 0.5), (20, 35, 0.1), (60, 60, 0.02), (5, 90, 0.3)] {
            let power = power_fisher((p, n1), (p, n2), 0.05).unwrap();
            assert!(power <= 0.05, "{n1} {n2} {p}: {power}");
        }
    }
}
