//! The e-value of a trial by pairs: a uniform mixture over the share q of A's failures among the
//! pairs that differ,
//!
//! `E = ∫ (2q)^a (2(1 − q))^b dq = 2^d a! b! ∕ (d + 1)!`, d = a + b.

use std::f64::consts::LN_2;

use super::super::special::beta_cdf;
use super::{Counts, Pair};

/// What the pairs weigh against "the coin changed nothing". None of the values is infinite: what
/// would be is the largest number there is.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Evidence {
    /// The e-value, from 0; 1 before the first pair that differs.
    pub e: f64,
    /// The e-value that bets on A being worse only, `2 E P(q > ½)`, q ~ Beta(a + 1, b + 1).
    pub a_worse: f64,
    /// The e-value that bets on B being worse only; the mean of both is `e`.
    pub b_worse: f64,
}

/// ln E after `a` pairs of which only A failed and `b` of which only B did.
#[must_use]
pub fn ln_e_value(a: u32, b: u32) -> f64 {
    // Step by step, first the more frequent, then the others: a step is 2 (own + 1) ∕ (all + 2),
    // where own and all were seen before it. The first stretch is 2^a ∕ (a + 1).
    let (a, b) = (a.max(b), a.min(b));
    let all = f64::from(a);
    let rest: f64 = (0..b).map(f64::from).map(|i| ((i + 1.0) / (all + i + 2.0)).ln()).sum();
    (all + f64::from(b)) * LN_2 - (all + 1.0).ln() + rest
}

/// The e-value of pairs.
#[must_use]
pub fn pair_e_value(counts: Counts) -> Evidence {
    let Counts { a_only: a, b_only: b, .. } = counts;
    let ln_e = ln_e_value(a, b);
    // P(q > ½) of Beta(a + 1, b + 1) is P(q < ½) of the mirrored one.
    let side = |own: u32, other: u32| {
        let share = beta_cdf(f64::from(other) + 1.0, f64::from(own) + 1.0, 0.5).unwrap_or(0.5);
        (LN_2 + ln_e + share.ln()).exp().min(f64::MAX)
    };
    Evidence { e: ln_e.exp().min(f64::MAX), a_worse: side(a, b), b_worse: side(b, a) }
}

/// The e-value after each pair in its order.
#[must_use]
pub fn path(pairs: &[Pair]) -> Vec<f64> {
    let mut counts = Counts::default();
    let mut ln_e = 0.0;
    pairs
        .iter()
        .map(|pair| {
            let own = match pair {
                Pair::AOnly => Some(counts.a_only),
                Pair::BOnly => Some(counts.b_only),
                Pair::Same => None,
            };
            if let Some(own) = own {
                let differ = f64::from(counts.a_only) + f64::from(counts.b_only);
                ln_e += (2.0 * (f64::from(own) + 1.0) / (differ + 2.0)).ln();
            }
            counts = counts.with(*pair);
            ln_e.exp().min(f64::MAX)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_the_closed_form_and_one_on_average() {
        // Over all orders of d fair coins the e-values average 1: Σ C(d, a) E(a, d − a) ∕ 2^d.
        for d in [1_u32, 2, 7, 30] {
            let mut choose = 1.0;
            let mut mean = 0.0;
            for a in 0..=d {
                let e = pair_e_value(Counts { a_only: a, b_only: d - a, same: 9 });
                let closed = f64::from(2.0_f32).powi(i32::try_from(d).unwrap()) / (f64::from(d + 1) * choose);
                assert!((e.e / closed - 1.0).abs() < 1e-12, "{a} of {d}");
                assert!((f64::midpoint(e.a_worse, e.b_worse) / e.e - 1.0).abs() < 1e-11, "{a} of {d}: {e:?}");
                mean += choose * e.e / f64::from(2.0_f32).powi(i32::try_from(d).unwrap());
                choose = choose * f64::from(d - a) / f64::from(a + 1);
            }
            assert!((mean - 1.0).abs() < 1e-12, "{d}: {mean}");
        }
    }

    #[test]
    fn nothing_overflows() {
        let e = pair_e_value(Counts { a_only: 2_000_000, b_only: 0, same: 0 });
        assert!(e.e >= f64::MAX && e.a_worse >= f64::MAX && e.b_worse >= 0.0 && e.b_worse.is_finite(), "{e:?}");
        let even = pair_e_value(Counts { a_only: 1_000_000, b_only: 1_000_000, same: 0 });
        assert!(even.e > 0.0 && even.e < 1.0, "{even:?}");
    }
}
