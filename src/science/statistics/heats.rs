//! Two levels that are constant within heats (or burnout loads): the heats are permuted.
//!
//! Shells of one heat share their luck. Where a furnace, hand or month is constant within
//! heats, it is the heats that were assigned to it, so it is the heats whose assignment is
//! exchanged (Fisher 1935; Edgington & Onghena, *Randomization Tests*).

use std::collections::BTreeMap;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::arm::Arm;

/// The permutations drawn, fewer only where the heats are very many.
pub const DRAWS: u32 = 9_999;
/// Fewest draws.
const FEWEST: usize = 999;
/// Heats gone through over all draws.
const MOST_WORK: usize = 100_000_000;
/// Statistics nearer than this, relative to the scores of the heats, are equal.
const TIE: f64 = 1e-9;

/// One heat: which of the two levels it stood at, and what it brought in each stratum.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Heat {
    /// Whether it stood at level a; else at b.
    pub at_a: bool,
    /// Strata, each by a number of the caller's, and the counts in them.
    pub parts: Vec<(usize, Arm)>,
}

/// The p of equal levels by permutation of heats.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Permutation {
    /// `(1 + hits) ∕ (draws + 1)`, a hit being a statistic as large as the seen one.
    pub p: f64,
    /// The permutations drawn.
    pub draws: u32,
}

/// Permutes heats within strata, the statistic being `|Σ(a_s − n_as t_s ∕ n_s)|` with `a_s` the
/// events of a, `n_as` the observed of a, `t_s` of `n_s` the events of both in stratum s.
///
/// A heat in several strata is exchanged only with heats in the same ones. Equal statistics
/// count as hits. Without heats of both levels p is 1.
#[must_use]
pub fn permute_heats(heats: &[Heat], seed: u64) -> Permutation {
    let groups = groups(heats);
    // A heat's share of the statistic does not depend on where the others stand.
    let seen: f64 = groups.iter().map(|group| group.at_a.iter().sum::<f64>()).sum();
    let scale: f64 = groups.iter().flat_map(|group| group.at_a.iter().chain(&group.at_b)).map(|score| score.abs()).sum();
    let limit = seen.abs() - TIE * scale;
    let work: usize = groups.iter().map(|group| group.at_a.len().min(group.at_b.len())).sum();
    let draws = u32::try_from((MOST_WORK / work.max(1)).max(FEWEST)).map_or(DRAWS, |draws| draws.min(DRAWS));
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut drawn: Vec<Shuffled> = groups.iter().map(Shuffled::new).collect();
    let mut hits = 0_u32;
    for _ in 0..draws {
        let statistic: f64 = drawn.iter_mut().map(|group| group.draw(&mut rng)).sum();
        hits += u32::from(statistic.abs() >= limit);
    }
    Permutation { p: (1.0 + f64::from(hits)) / (1.0 + f64::from(draws)), draws }
}

/// Heats that may be exchanged: their scores, by level.
#[derive(Default)]
struct Group {
    at_a: Vec<f64>,
    at_b: Vec<f64>,
}

/// The heats by the strata they are in, each with its events above those to be expected
/// at the rate of its strata.
fn groups(heats: &[Heat]) -> Vec<Group> {
    let mut rates: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
    for (stratum, arm) in heats.iter().flat_map(|heat| &heat.parts) {
        let sums = rates.entry(*stratum).or_default();
        sums.0 += f64::from(arm.events());
        sums.1 += f64::from(arm.of());
    }
    let mut groups: BTreeMap<Vec<usize>, Group> = BTreeMap::new();
    for heat in heats {
        let mut strata: Vec<usize> = heat.parts.iter().filter(|part| part.1.of() > 0).map(|part| part.0).collect();
        strata.sort_unstable();
        strata.dedup();
        let score = heat.parts.iter().map(|(stratum, arm)| {
            let rate = rates.get(stratum).map_or(0.0, |(events, of)| if *of > 0.0 { events / of } else { 0.0 });
            f64::from(arm.events()) - f64::from(arm.of()) * rate
        });
        let group = groups.entry(strata).or_default();
        if heat.at_a { &mut group.at_a } else { &mut group.at_b }.push(score.sum());
    }
    groups.into_values().collect()
}

/// A group whose order is shuffled on, draw by draw.
struct Shuffled {
    scores: Vec<f64>,
    fewer: usize,
    /// The sum over all, where it is b that is drawn.
    all: Option<f64>,
}

impl Shuffled {
    fn new(group: &Group) -> Self {
        let scores: Vec<f64> = group.at_a.iter().chain(&group.at_b).copied().collect();
        let all = (group.at_b.len() < group.at_a.len()).then(|| scores.iter().sum());
        Self { fewer: group.at_a.len().min(group.at_b.len()), scores, all }
    }

    /// The sum over the heats at a, after an exchange.
    fn draw(&mut self, rng: &mut ChaCha8Rng) -> f64 {
        if self.fewer == 0 {
            return self.all.unwrap_or(0.0);
        }
        for at in 0..self.fewer {
            let from = rng.random_range(at..self.scores.len());
            self.scores.swap(at, from);
        }
        let sum: f64 = self.scores.iter().take(self.fewer).sum();
        self.all.map_or(sum, |all| all - sum)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heat(at_a: bool, stratum: usize, events: u32, of: u32) -> Heat {
        Heat { at_a, parts: vec![(stratum, Arm::new(events, of).unwrap())] }
    }

    #[test]
    fn without_heats_of_both_levels_p_is_one() {
        assert_eq!(permute_heats(&[], 1).p.to_bits(), 1.0_f64.to_bits());
        let one = [heat(true, 0, 3, 4), heat(true, 0, 0, 4), heat(true, 1, 1, 4)];
        assert_eq!(permute_heats(&one, 1).p.to_bits(), 1.0_f64.to_bits());
    }

    #[test]
    fn draws_agree_with_all_permutations() {
        // Five and four heats of one stratum, and three and two of another: all ways counted.
        let heats = [
            heat(true, 0, 2, 4),
            heat(true, 0, 3, 5),
            heat(true, 0, 1, 4),
            heat(true, 0, 2, 3),
            heat(true, 0, 1, 5),
            heat(false, 0, 0, 4),
            heat(false, 0, 1, 6),
            heat(false, 0, 0, 3),
            heat(false, 0, 1, 4),
            heat(true, 1, 1, 2),
            heat(true, 1, 0, 2),
            heat(true, 1, 1, 3),
            heat(false, 1, 0, 2),
            heat(false, 1, 1, 4),
        ];
        // Whole numbers: the statistic times both strata's counts.
        let (t0, n0, t1, n1) = (11_i64, 38_i64, 3_i64, 13_i64);
        let whole = |heat: &Heat| {
            let (stratum, arm) = heat.parts[0];
            let (x, n) = (i64::from(arm.events()), i64::from(arm.of()));
            if stratum == 0 { (x * n0 - n * t0) * n1 } else { (x * n1 - n * t1) * n0 }
        };
        let scores: Vec<i64> = heats.iter().map(whole).collect();
        let seen: i64 = heats.iter().zip(&scores).filter(|(h, _)| h.at_a).map(|(_, s)| s).sum();
        let (mut hits, mut all) = (0.0, 0.0);
        for first in (0_u32..1 << 9).filter(|bits| bits.count_ones() == 5) {
            for second in (0_u32..1 << 5).filter(|bits| bits.count_ones() == 3) {
                let at = |i: usize| if i < 9 { first >> i & 1 } else { second >> (i - 9) & 1 };
                let sum: i64 = scores.iter().enumerate().filter(|(i, _)| at(*i) == 1).map(|(_, s)| s).sum();
                hits += f64::from(u8::from(sum.abs() >= seen.abs()));
                all += 1.0;
            }
        }
        let want: f64 = hits / all;
        let got = permute_heats(&heats, 3);
        let error = (want * (1.0 - want) / f64::from(DRAWS)).sqrt();
        assert!(got.draws == DRAWS && (got.p - want).abs() < 4.0 * error, "{got:?} {want}");
        assert_eq!(got, permute_heats(&heats, 3));
    }

    #[test]
    fn equal_heats_tie_in_spite_of_rounding() {
        // All heats alike: every statistic is the same, whatever the thirds do.
        let heats: Vec<Heat> = (0..30).map(|i| heat(i % 3 == 0, i % 2, 1, 3)).collect();
        assert_eq!(permute_heats(&heats, 1).p.to_bits(), 1.0_f64.to_bits());
        // One odd heat among a's ten of thirty: it stays there in one permutation of three.
        let one: Vec<Heat> = (0..30).map(|i| heat(i < 10, 0, if i == 0 { 3 } else { 1 }, 3)).collect();
        let got = permute_heats(&one, 1).p;
        assert!((got - 1.0 / 3.0).abs() < 0.02, "{got}");
    }

    #[test]
    fn a_heat_in_two_strata_is_exchanged_with_its_like() {
        let both = |at_a, first: (u32, u32), second: (u32, u32)| Heat {
            at_a,
            parts: vec![(0, Arm::new(first.0, first.1).unwrap()), (1, Arm::new(second.0, second.1).unwrap())],
        };
        // Four heats in both strata, six orders, of which the seen and its mirror are as far out;
        // the heats of one stratum alone all stood at b and stay there.
        let heats = [
            both(true, (3, 3), (2, 2)),
            both(true, (2, 3), (2, 2)),
            both(false, (0, 3), (0, 2)),
            both(false, (0, 3), (1, 2)),
            heat(false, 0, 1, 2),
            heat(false, 1, 1, 2),
        ];
        let got = permute_heats(&heats, 1).p;
        let want = 1.0 / 6.0;
        assert!((got - want).abs() < 0.02, "{got}");
    }

    #[test]
    fn many_heats_are_drawn_less_often() {
        let heats: Vec<Heat> = (0..300_000).map(|i| heat(i % 2 == 0, i % 4 / 2, u32::from(i % 20 == 0), 3)).collect();
        let got = permute_heats(&heats, 1);
        assert!(got.draws == 999 && got.p < 0.01, "{got:?}");
    }
}
