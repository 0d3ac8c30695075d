//! What a trial of arms that are alike can hope for: to find them so. Exact, by counting.

use super::Counts;
use super::verdict::alike;

/// More pairs than this are not computed.
pub const MOST_PAIRS: u32 = 2_000;
/// Numbers of pairs that differ which together have less chance than about this are left out.
const NOTHING: f64 = 1e-12;

/// The chance that after exactly so many pairs the interval of the difference lies inside
/// ±`worth`, at failure rates `p_a` and `p_b`, independent within a pair. A trial looks after
/// every pair, and so ends alike by that time somewhat more often (4 to 8 of 100 more, simulated,
/// at 5 and 10 in 100). `None` where a rate is not from 0 to 1, unless 0 < worth < 1, or above [`MOST_PAIRS`].
///
/// Of n pairs d differ with chance Bin(d; n, r), and A failed in a of them with Bin(a; d, q). For
/// each d it is looked up how far a and d − a may lie apart.
#[must_use]
pub fn alike_at(p_a: f64, p_b: f64, worth: f64, pairs: u32) -> Option<f64> {
    let rates = (0.0..=1.0).contains(&p_a) && (0.0..=1.0).contains(&p_b);
    let worth_is = worth > 0.0 && worth < 1.0;
    if !rates || !worth_is || pairs > MOST_PAIRS {
        return None;
    }
    let (a_only, b_only) = (p_a * (1.0 - p_b), p_b * (1.0 - p_a));
    let differs = (a_only + b_only).min(1.0);
    let share = if differs > 0.0 { a_only / differs } else { 0.5 };
    let mut sum = 0.0;
    // The excess of the one arm over the other that was still alike at the d before.
    let mut excess = 0;
    for (d, chance) in (0..).zip(masses(pairs, differs)).filter(|(_, chance)| *chance > NOTHING) {
        let inside = |excess: u32| {
            let a_only = u32::midpoint(d, excess);
            excess <= d && alike(Counts { a_only, b_only: d - a_only, same: pairs - d }, worth)
        };
        excess = widest(excess, d, inside);
        if let Some(most) = excess.checked_sub(1) {
            let within = (d - most).div_ceil(2)..=u32::midpoint(d, most);
            sum += chance * (0..=d).zip(masses(d, share)).filter(|(a, _)| within.contains(a)).map(|(_, m)| m).sum::<f64>();
        }
    }
    Some(sum.min(1.0))
}

/// One more than the widest excess of d's parity that is inside, 0 where none is, looked for
/// from near `start`, as [`alike`] is lost once and for all as the excess grows.
fn widest(start: u32, d: u32, inside: impl Fn(u32) -> bool) -> u32 {
    let least = d % 2;
    let mut at = start.saturating_sub(1).max(least);
    at += (at + d) % 2;
    while at > least && !inside(at) {
        at -= 2;
    }
    if !inside(at) {
        return 0;
    }
    while inside(at + 2) {
        at += 2;
    }
    at + 1
}

/// The binomial chances of 0 to n, by ratios from the likeliest, so that none underflows which
/// matters.
fn masses(n: u32, p: f64) -> Vec<f64> {
    if p <= 0.0 || p >= 1.0 {
        let sure = if p <= 0.0 { 0 } else { n };
        return (0..=n).map(|k| if k == sure { 1.0 } else { 0.0 }).collect();
    }
    let odds = p / (1.0 - p);
    // P(k + 1) ∕ P(k) = (n − k) ∕ (k + 1) · p ∕ (1 − p).
    let up = |k: u32| f64::from(n - k) / (f64::from(k) + 1.0) * odds;
    let mode = (0..n).find(|k| up(*k) < 1.0).unwrap_or(n);
    let mut below: Vec<f64> = (0..mode).rev().scan(1.0, |mass, k| Some(std::mem::replace(mass, *mass / up(k)) / up(k))).collect();
    below.reverse();
    below.push(1.0);
    below.extend((mode..n).scan(1.0, |mass, k| {
        *mass *= up(k);
        Some(*mass)
    }));
    let all: f64 = below.iter().sum();
    below.into_iter().map(|mass| mass / all).collect()
}

#[cfg(test)]
mod tests {
    use super::super::{Plan, Verdict, assess};
    use super::*;

    #[test]
    fn binomial_chances() {
        for (got, want) in masses(4, 0.25).into_iter().zip([81.0, 108.0, 54.0, 12.0, 1.0]) {
            assert!((got - want / 256.0).abs() < 1e-15, "{got}");
        }
        assert_eq!((masses(2, 0.0), masses(2, 1.0), masses(0, 0.3)), (vec![1.0, 0.0, 0.0], vec![0.0, 0.0, 1.0], vec![1.0]));
        let many = masses(2_000, 0.5);
        assert!((many.iter().sum::<f64>() - 1.0).abs() < 1e-12 && many.iter().all(|m| m.is_finite()));
    }

    #[test]
    fn it_is_what_counting_all_trials_gives() {
        let plan = Plan { worth_knowing: 0.15, max_pairs: None };
        for (p_a, p_b) in [(0.1, 0.1), (0.2, 0.05), (0.0, 0.1), (0.0, 0.0)] {
            let (n, a_only, b_only): (u32, f64, f64) = (60, p_a * (1.0 - p_b), p_b * (1.0 - p_a));
            let mut want = 0.0;
            for a in 0..=n {
                let a_chance = masses(n, a_only)[a as usize];
                for (b, b_chance) in (0..=n - a).zip(masses(n - a, b_only / (1.0 - a_only))) {
                    let counts = Counts { a_only: a, b_only: b, same: n - a - b };
                    // Within ±0.15 and told apart are both possible; only the interval is asked for.
                    let inside = super::super::difference(counts).is_some_and(|d| d.low > -0.15 && d.high < 0.15);
                    want += if inside { a_chance * b_chance } else { 0.0 };
                    assert!(!inside || matches!(assess(counts, &plan), Verdict::Alike | Verdict::ToldApart { .. }));
                }
            }
            let got = alike_at(p_a, p_b, 0.15, n).unwrap();
            assert!((got - want).abs() < 1e-9, "{p_a} {p_b}: {got} {want}");
        }
    }

    #[test]
    fn what_is_no_trial() {
        assert_eq!(alike_at(f64::NAN, 0.1, 0.1, 9), None);
        assert_eq!(alike_at(0.1, 0.1, 0.0, 9), None);
        assert_eq!(alike_at(0.1, 0.1, 0.1, 2_001), None);
        assert_eq!(alike_at(0.1, 0.1, 0.1, 0), Some(0.0));
        // 49 pairs rule out 10 points at best not yet, 50 do.
        assert_eq!((alike_at(0.0, 0.0, 0.1, 49), alike_at(0.0, 0.0, 0.1, 50)), (Some(0.0), Some(1.0)));
    }
}
