//! The e-value of blocks larger than a pair: some shells of one stratum, dealt to A and B.
//!
//! In a block of which `failed` failed in all, how many of them had A is hypergeometric under
//! "the deal changed nothing"; with odds ψ = q ∕ (1 − q) it is Fisher's noncentral one. The
//! likelihood ratio is averaged over a uniform q:
//! `E = ∫ ∏ ψ^k ∕ Σ_j h_j ψ^j dq`. With blocks of two it is the e-value of pairs.

use super::quadrature::{exact_for, ln_sum_exp};

/// Nodes as for polynomials of this degree; the integrand is no polynomial, but smooth.
const DEGREE: f64 = 1023.0;

/// One block of shells.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Block {
    /// Shells of A that failed.
    pub a_failed: u32,
    /// Shells of A.
    pub a: u32,
    /// Shells of B.
    pub b: u32,
    /// Shells of both that failed.
    pub failed: u32,
}

impl Block {
    /// How few and how many of the failed can have been A's.
    fn reach(self) -> Option<(u32, u32)> {
        let fewest = self.failed.saturating_sub(self.b);
        let most = self.failed.min(self.a);
        let all = self.a.checked_add(self.b)?;
        (self.failed <= all && (fewest..=most).contains(&self.a_failed)).then_some((fewest, most))
    }

    /// (j, ln h_j) for every number j of failures that A can have had.
    fn masses(self, fewest: u32, most: u32) -> Vec<(f64, f64)> {
        let choose = |n: u32, k: u32| (0..k).map(f64::from).map(|i| ((f64::from(n) - i) / (i + 1.0)).ln()).sum::<f64>();
        let raw: Vec<f64> = (fewest..=most).map(|j| choose(self.a, j) + choose(self.b, self.failed - j)).collect();
        let all = ln_sum_exp(&raw);
        (fewest..=most).map(f64::from).zip(raw.into_iter().map(|h| h - all)).collect()
    }
}

/// The e-value of some blocks of any sizes and strata. `None` where the counts of one contradict;
/// 1 of none.
#[must_use]
pub fn block_e_value(blocks: &[Block]) -> Option<f64> {
    let nodes = exact_for(DEGREE);
    let mut terms: Vec<f64> = nodes.iter().map(|n| n.ln_weight).collect();
    for block in blocks {
        let (fewest, most) = block.reach()?;
        let masses = block.masses(fewest, most);
        for (term, node) in terms.iter_mut().zip(nodes) {
            let odds = node.ln_u - node.ln_v;
            let all: Vec<f64> = masses.iter().map(|(j, h)| h + j * odds).collect();
            *term += f64::from(block.a_failed) * odds - ln_sum_exp(&all);
        }
    }
    Some(ln_sum_exp(&terms).exp().min(f64::MAX))
}

#[cfg(test)]
mod tests {
    use super::super::{Counts, pair_e_value};
    use super::*;

    #[test]
    fn blocks_of_two_are_pairs() {
        let pair = |a_failed, failed| Block { a_failed, a: 1, b: 1, failed };
        let mut blocks = vec![pair(1, 1); 14];
        blocks.extend([pair(0, 1); 3]);
        blocks.extend([pair(0, 0); 5]);
        blocks.extend([pair(1, 2); 5]);
        let want = pair_e_value(Counts { a_only: 14, b_only: 3, same: 10 }).e;
        assert!((block_e_value(&blocks).unwrap() / want - 1.0).abs() < 1e-9);
    }

    #[test]
    fn over_all_deals_it_is_one_on_average() {
        // Two blocks, one of three and two with two failed, one of two and two with three failed.
        let (one, two) = (Block { a_failed: 0, a: 3, b: 2, failed: 2 }, Block { a_failed: 1, a: 2, b: 2, failed: 3 });
        // Masses by hand: of 2 among 5, A's three shells have 0, 1, 2 in 1, 6, 3 of 10 deals; of
        // 3 among 4, A's two have 1 or 2 in 2 of 4 deals each.
        let mut mean = 0.0;
        for (k, first) in [(0, 0.1), (1, 0.6), (2, 0.3)] {
            for (l, second) in [(1, 0.5), (2, 0.5)] {
                mean += first * second * block_e_value(&[Block { a_failed: k, ..one }, Block { a_failed: l, ..two }]).unwrap();
            }
        }
        assert!((mean - 1.0).abs() < 1e-6, "{mean}");
    }

    #[test]
    fn counts_that_contradict() {
        assert_eq!(block_e_value(&[Block { a_failed: 2, a: 1, b: 3, failed: 2 }]), None);
        assert_eq!(block_e_value(&[Block { a_failed: 0, a: 1, b: 1, failed: 2 }]), None);
        assert_eq!(block_e_value(&[Block { a_failed: 0, a: 1, b: 1, failed: 3 }]), None);
        assert_eq!(block_e_value(&[Block { a_failed: 1, a: u32::MAX, b: 1, failed: 1 }]), None);
        assert!((block_e_value(&[]).unwrap() - 1.0).abs() < 1e-12);
    }
}
