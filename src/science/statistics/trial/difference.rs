//! The confidence sequence of the mean difference of failure rates, A less B.
//!
//! A value δ is held possible while no bet against it has grown twentyfold:
//! `K(δ) = ∫ [2u ∕ (1 + δ)]^a [2(1 − u) ∕ (1 − δ)]^b [(1 + δ − 2uδ) ∕ (1 − δ²)]^c du < 1/α`
//! (Waudby-Smith & Ramdas 2024). K(0) is the e-value, so that the sequence leaves 0 out exactly
//! when the arms are told apart. It supposes that all pairs have one mean difference; mixed strata
//! count as they come.

use std::f64::consts::LN_2;

use serde::Serialize;
use utoipa::ToSchema;

use super::quadrature::{Node, exact_for, ln_sum_exp};
use super::{ALPHA, Counts};

/// More pairs than this are not computed.
pub const MOST_PAIRS: f64 = 50_000.0;
/// How near −1 and 1 an end is looked for.
const EDGE: f64 = 1.0 - 1e-12;

/// The difference of failure rates, A less B, that the pairs allow.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, ToSchema)]
pub struct Difference {
    /// What was seen: (a − b) ∕ pairs.
    pub value: f64,
    /// The least that is possible, from −1.
    pub low: f64,
    /// The most that is possible, to 1.
    pub high: f64,
}

/// ln K(δ), how much the pairs weigh against a mean difference δ; at most 0 at the difference
/// seen. `None` unless −1 < δ < 1, and above [`MOST_PAIRS`].
///
/// The integrand is a polynomial of the number of pairs in degree, so that the nodes are exact.
#[must_use]
pub fn ln_k(counts: Counts, delta: f64) -> Option<f64> {
    (delta > -1.0 && delta < 1.0 && counts.pairs() <= MOST_PAIRS).then(|| Bet::new(counts).ln_k(delta))
}

struct Bet {
    a: f64,
    b: f64,
    c: f64,
    nodes: &'static [Node],
    /// What does not depend on δ, node by node.
    fixed: Vec<f64>,
}

impl Bet {
    fn new(counts: Counts) -> Self {
        let (a, b, c) = (f64::from(counts.a_only), f64::from(counts.b_only), f64::from(counts.same));
        let nodes = exact_for(counts.pairs());
        let fixed = nodes.iter().map(|n| n.ln_weight + a * (LN_2 + n.ln_u) + b * (LN_2 + n.ln_v)).collect();
        Self { a, b, c, nodes, fixed }
    }

    fn ln_k(&self, delta: f64) -> f64 {
        let terms: Vec<f64> =
            self.nodes.iter().zip(&self.fixed).map(|(n, fixed)| fixed + self.c * (delta * n.tilt).ln_1p()).collect();
        // 1 − δ² is (1 + δ)(1 − δ).
        ln_sum_exp(&terms) - (self.a + self.c) * delta.ln_1p() - (self.b + self.c) * (-delta).ln_1p()
    }

    /// The end of what is possible on one side (`sign` 1 or −1) of what was seen.
    fn end(&self, seen: f64, sign: f64, limit: f64) -> f64 {
        let over = |delta: f64| self.ln_k(delta) - limit;
        let (mut inside, mut below) = (seen.clamp(-EDGE, EDGE), -limit);
        let mut step = 1.0 / (self.a + self.b + self.c).max(1.0).sqrt();
        let (mut outside, mut above) = loop {
            let at = (inside + sign * step).clamp(-EDGE, EDGE);
            let value = over(at);
            if value >= 0.0 {
                break (at, value);
            }
            if at.abs() >= EDGE {
                return sign;
            }
            (inside, below, step) = (at, value, 2.0 * step);
        };
        // The regula falsi of Illinois: a side that stays is halved. Each step also ends at worst
        // by halving the interval, so that it ends for every argument.
        let mut stayed = 0;
        for round in 0..100 {
            if (outside - inside).abs() <= 1e-13 {
                break;
            }
            let straight = inside - below * (outside - inside) / (above - below);
            let at = if round % 4 == 3 || !straight.is_finite() { f64::midpoint(inside, outside) } else { straight };
            let value = over(at);
            if value >= 0.0 {
                (outside, above) = (at, value);
                below = if stayed > 0 { below / 2.0 } else { below };
                stayed = 1;
            } else {
                (inside, below) = (at, value);
                above = if stayed < 0 { above / 2.0 } else { above };
                stayed = -1;
            }
            if value.abs() < 1e-13 {
                return at;
            }
        }
        f64::midpoint(inside, outside)
    }
}

/// The mean difference, A less B, with what the pairs allow at level 1 − [`ALPHA`] at every time
/// at once. `None` before the first pair and above [`MOST_PAIRS`].
#[must_use]
pub fn difference(counts: Counts) -> Option<Difference> {
    let pairs = counts.pairs();
    if !(1.0..=MOST_PAIRS).contains(&pairs) {
        return None;
    }
    let value = (f64::from(counts.a_only) - f64::from(counts.b_only)) / pairs;
    let bet = Bet::new(counts);
    let limit = -ALPHA.ln();
    Some(Difference { value, low: bet.end(value, -1.0, limit), high: bet.end(value, 1.0, limit) })
}

#[cfg(test)]
mod tests {
    use super::super::evidence::ln_e_value;
    use super::*;

    fn counts(a_only: u32, b_only: u32, same: u32) -> Counts {
        Counts { a_only, b_only, same }
    }

    #[test]
    fn at_no_difference_it_is_the_e_value_however_many_pairs() {
        for (a, b, c) in
            [(0, 0, 7), (3, 0, 0), (14, 2, 84), (40, 38, 900), (90, 70, 4_000), (900, 700, 48_000), (9_000, 9_300, 30_000)]
        {
            let (got, want) = (ln_k(counts(a, b, c), 0.0).unwrap(), ln_e_value(a, b));
            assert!((got - want).abs() < 1e-8, "{a} {b} {c}: {got} {want}");
        }
    }

    #[test]
    fn what_was_seen_is_possible_and_evidence_grows_away_from_it() {
        for (a, b, c) in [(0, 0, 1), (0, 0, 300), (1, 0, 0), (9, 2, 30), (0, 6, 1), (24, 5, 171), (30, 31, 2), (60, 40, 900)] {
            let counts = counts(a, b, c);
            let found = difference(counts).unwrap();
            assert!(found.low < found.value + 1e-12 && found.value < found.high + 1e-12, "{found:?}");
            for sign in [-1.0, 1.0] {
                let mut before = f64::NEG_INFINITY;
                for step in 0..200 {
                    let delta = found.value + sign * f64::from(step) / 200.0;
                    let Some(now) = ln_k(counts, delta) else { break };
                    // Once above 1, and so wherever an end can lie, K only grows.
                    assert!(before < 0.0 || now >= before - 1e-9, "{a} {b} {c} at {delta}: {before} then {now}");
                    assert!(step > 0 || now < 1e-9, "{a} {b} {c}: {now}");
                    before = now;
                }
            }
        }
    }

    #[test]
    fn the_mirrored_trial_has_the_mirrored_interval() {
        let (one, other) = (difference(counts(14, 3, 83)).unwrap(), difference(counts(3, 14, 83)).unwrap());
        assert!((one.low + other.high).abs() < 1e-11 && (one.high + other.low).abs() < 1e-11);
    }

    #[test]
    fn test_and_interval_never_disagree() {
        for a in 0..40 {
            for b in [0, 1, 3, 7] {
                let counts = counts(a, b, 20);
                let found = difference(counts).unwrap();
                let apart = ln_e_value(a, b) >= -ALPHA.ln();
                assert_eq!(apart, found.low > 0.0 || found.high < 0.0, "{a} {b}: {found:?}");
            }
        }
    }

    #[test]
    fn where_nothing_bounds_it() {
        assert_eq!(difference(Counts::default()), None);
        assert_eq!(difference(counts(0, 0, 60_000)), None);
        assert_eq!((ln_k(counts(1, 1, 1), 1.0), ln_k(counts(1, 1, 1), f64::NAN)), (None, None));
        // Two pairs, both against A: nothing rules out that it always is.
        let two = difference(counts(2, 0, 0)).unwrap();
        assert_eq!((two.value.to_bits(), two.high.to_bits()), (1.0_f64.to_bits(), 1.0_f64.to_bits()));
        assert!(two.low > -1.0 && two.low < 0.0);
    }
}
