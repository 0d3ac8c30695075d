//! Many comparisons at once.

use super::arm::Arm;
use super::freeman_halton::{Overall, overall};
use super::tables::fisher_p;

/// Holm's adjusted p, in the order given (Holm 1979, *Scandinavian Journal of Statistics*
/// 6:65–70): the i-th smallest times the number not yet passed, never falling, at most 1. A
/// family decided by them errs anywhere with at most the stated chance.
///
/// What is no chance counts as 1.
#[must_use]
#[expect(clippy::cast_precision_loss, reason = "counts of comparisons lie far below 2^53")]
pub fn holm(p: &[f64]) -> Vec<f64> {
    let order = from_smallest(p);
    let mut least = 0.0_f64;
    let steps = order.iter().enumerate().map(|(passed, &(at, p))| {
        least = least.max(p * (order.len() - passed) as f64).min(1.0);
        (at, least)
    });
    in_place(steps, p.len())
}

/// Benjamini and Hochberg's adjusted p, in the order given (Benjamini & Hochberg 1995,
/// *JRSS B* 57:289–300): for lists of things to look at, and named as such; it does not
/// bound the chance of any error. What is no chance counts as 1.
#[must_use]
#[expect(clippy::cast_precision_loss, reason = "counts of comparisons lie far below 2^53")]
pub fn benjamini_hochberg(p: &[f64]) -> Vec<f64> {
    let order = from_smallest(p);
    let mut most = 1.0_f64;
    let steps = order.iter().enumerate().rev().map(|(before, &(at, p))| {
        // The quotient first: it is 1 or more, so nothing falls below its p by rounding.
        most = most.min(p * (order.len() as f64 / (before + 1) as f64));
        (at, most)
    });
    in_place(steps, p.len())
}

/// Places and p, the smallest first.
fn from_smallest(p: &[f64]) -> Vec<(usize, f64)> {
    let mut order: Vec<(usize, f64)> = p.iter().map(|p| if (0.0..=1.0).contains(p) { *p } else { 1.0 }).enumerate().collect();
    order.sort_by(|one, other| one.1.total_cmp(&other.1));
    order
}

fn in_place(steps: impl Iterator<Item = (usize, f64)>, len: usize) -> Vec<f64> {
    let mut list = vec![1.0; len];
    for (at, adjusted) in steps {
        if let Some(place) = list.get_mut(at) {
            *place = adjusted;
        }
    }
    list
}

/// One pair of a family, by the places of its levels.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Pair {
    /// The place of the first level.
    pub first: usize,
    /// The place of the second.
    pub second: usize,
    /// Fisher's p of the two.
    pub p: f64,
    /// Holm's over all pairs.
    pub holm_p: f64,
}

/// All levels against each other, without regard to strata.
#[derive(Clone, PartialEq, Debug)]
pub struct Pairwise {
    /// Whether any differs.
    pub overall: Overall,
    /// All pairs, in the order of their levels.
    pub pairs: Vec<Pair>,
}

/// The overall test of Freeman and Halton and Fisher's of every pair with Holm's adjustment.
/// The seed is for tables drawn where they are too many to be gone through. `None` where
/// the counts together exceed a `u32`.
#[must_use]
pub fn pairwise(levels: &[Arm], seed: u64) -> Option<Pairwise> {
    let rows = [levels.iter().map(|arm| arm.events()).collect(), levels.iter().map(|arm| arm.spared()).collect()];
    let overall = overall(&rows, seed)?;
    let places = || levels.iter().enumerate();
    let pairs: Vec<(usize, usize, f64)> = places()
        .flat_map(|(first, a)| places().skip(first + 1).map(move |(second, b)| (first, second, fisher_p(*a, *b))))
        .collect();
    let adjusted = holm(&pairs.iter().map(|pair| pair.2).collect::<Vec<f64>>());
    let pairs = pairs.into_iter().zip(adjusted).map(|((first, second, p), holm_p)| Pair { first, second, p, holm_p });
    Some(Pairwise { overall, pairs: pairs.collect() })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn what_is_no_chance_counts_as_one() {
        assert_eq!((holm(&[]), benjamini_hochberg(&[])), (vec![], vec![]));
        let got = holm(&[0.01, f64::NAN, -1.0]);
        assert!((got[0] - 0.03).abs() < 1e-15 && got[1..] == [1.0, 1.0]);
    }

    proptest! {
        #[test]
        fn adjusting_keeps_the_order_and_never_lowers(p in prop::collection::vec(0.0_f64..=1.0, 1..20)) {
            let (one, other) = (holm(&p), benjamini_hochberg(&p));
            for i in 0..p.len() {
                prop_assert!(p[i] <= other[i] && other[i] <= one[i] + 1e-15 && one[i] <= 1.0);
                for j in 0..p.len() {
                    prop_assert!(p[i] >= p[j] || (one[i] <= one[j] && other[i] <= other[j]));
                }
            }
        }
    }
}
