//! Whether a rate rises or falls along ordered levels: temperature bands, coats.

use std::collections::BTreeMap;

use super::arm::Arm;
use super::special::{ln_choose, normal_two_sided};

/// Most steps of the exact test before it gives up.
const MOST_WORK: usize = 2_000_000;
/// Sums of scores nearer to each other than this, the scores laid on 0 to 1, are the same.
const SAME: f64 = 1e-9;

/// One level: its count and its score, the real setting (a temperature, a number of coats).
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Dose {
    /// Events out of observed.
    pub arm: Arm,
    /// The score; only ratios of its differences matter.
    pub score: f64,
}

/// A trend of rates over scores.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Trend {
    /// Above 0 where the rate rises with the score.
    pub z: f64,
    /// Its square.
    pub chi2: f64,
    /// Two-sided p.
    pub p: f64,
}

/// The test of a linear trend in rates (Cochran 1954, *Biometrics* 10:417–451; Armitage 1955,
/// *Biometrics* 11:375–386): `z = Σ sᵢ (xᵢ − nᵢ p) ∕ √(p (1 − p) Σ nᵢ (sᵢ − s̄)²)`.
///
/// `None` where none or all had the event, and where the scores do not differ.
#[must_use]
pub fn cochran_armitage(doses: &[Dose]) -> Option<Trend> {
    let set = Scored::new(doses)?;
    let mean = set.levels.iter().map(|(arm, s)| f64::from(arm.of()) * s).sum::<f64>() / set.n;
    let p = set.x / set.n;
    let gap: f64 = set.levels.iter().map(|(arm, s)| (s - mean) * (f64::from(arm.events()) - f64::from(arm.of()) * p)).sum();
    let spread: f64 = set.levels.iter().map(|(arm, s)| f64::from(arm.of()) * (s - mean).powi(2)).sum();
    let z = gap / (p * (1.0 - p) * spread).sqrt();
    Some(Trend { z, chi2: z * z, p: normal_two_sided(z)? })
}

/// The exact conditional test of trend.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct ExactTrend {
    /// The chance of a sum of scores as far from its mean as the seen one.
    pub p: f64,
    /// The chance of a sum as large: of a rise.
    pub p_increasing: f64,
}

/// The exact form of the test, given all margins: T = Σ score · events, over all ways the
/// events could fall on the observed. To be preferred below some 30 events.
///
/// `None` as for [`cochran_armitage`], and where there are too many ways to be gone through.
#[must_use]
pub fn cochran_armitage_exact(doses: &[Dose]) -> Option<ExactTrend> {
    let set = Scored::new(doses)?;
    let events: u32 = set.levels.iter().map(|(arm, _)| arm.events()).sum();
    let (ln_p, ln_q) = ((set.x / set.n).ln(), (1.0 - set.x / set.n).ln());
    // For each number of events so far: the sums of scores and their weights.
    let mut sums: BTreeMap<u32, BTreeMap<i64, (f64, f64)>> = BTreeMap::from([(0, BTreeMap::from([(0, (0.0, 1.0))]))]);
    let (mut rest, mut work) = (set.levels.iter().map(|(arm, _)| u64::from(arm.of())).sum::<u64>(), 0);
    for (arm, score) in &set.levels {
        rest -= u64::from(arm.of());
        let mut next: BTreeMap<u32, BTreeMap<i64, (f64, f64)>> = BTreeMap::new();
        for (before, sums) in &sums {
            let left = events - before;
            let least = u32::try_from(u64::from(left).saturating_sub(rest)).ok()?;
            for x in least..=left.min(arm.of()) {
                work += sums.len();
                if work > MOST_WORK {
                    return None;
                }
                let ways = ln_choose(arm.of(), x)? + f64::from(x) * ln_p + f64::from(arm.of() - x) * ln_q;
                let into = next.entry(before + x).or_default();
                for (sum, weight) in sums.values() {
                    let sum = sum + f64::from(x) * score;
                    into.entry(key(sum)).or_insert((sum, 0.0)).1 += weight * ways.exp();
                }
            }
        }
        sums = next;
    }
    let all = sums.remove(&events)?;
    let total: f64 = all.values().map(|(_, weight)| weight).sum();
    let seen: f64 = set.levels.iter().map(|(arm, s)| f64::from(arm.events()) * s).sum();
    let mean = all.values().map(|(sum, weight)| sum * weight).sum::<f64>() / total;
    let slack = 2.0 * SAME * f64::from(events);
    let chance = |counts: &dyn Fn(f64) -> bool| {
        (all.values().filter(|(sum, _)| counts(*sum)).map(|(_, weight)| weight).sum::<f64>() / total).min(1.0)
    };
    let p = chance(&|sum| (sum - mean).abs() >= (seen - mean).abs() - slack);
    (total > 0.0).then(|| ExactTrend { p, p_increasing: chance(&|sum| sum >= seen - slack) })
}

/// A sum as a whole number of [`SAME`]s.
#[expect(clippy::cast_possible_truncation, reason = "a cast saturates; sums are at most the events, scores being at most 1")]
fn key(sum: f64) -> i64 {
    (sum / SAME).round() as i64
}

/// Levels with their scores laid on 0 to 1, and the sums over them.
struct Scored {
    levels: Vec<(Arm, f64)>,
    x: f64,
    n: f64,
}

impl Scored {
    fn new(doses: &[Dose]) -> Option<Self> {
        let doses: Vec<&Dose> = doses.iter().filter(|dose| dose.arm.of() > 0).collect();
        let low = doses.iter().map(|dose| dose.score).fold(f64::INFINITY, f64::min);
        let high = doses.iter().map(|dose| dose.score).fold(f64::NEG_INFINITY, f64::max);
        let width = high - low;
        if !(width > 0.0 && width.is_finite()) || doses.iter().any(|dose| dose.score.is_nan()) {
            return None;
        }
        let levels: Vec<(Arm, f64)> = doses.iter().map(|dose| (dose.arm, (dose.score - low) / width)).collect();
        let x = levels.iter().map(|(arm, _)| f64::from(arm.events())).sum();
        let n = levels.iter().map(|(arm, _)| f64::from(arm.of())).sum();
        (x > 0.0 && x < n && n <= f64::from(u32::MAX)).then_some(Self { levels, x, n })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dose(x: u32, n: u32, score: f64) -> Dose {
        Dose { arm: Arm::new(x, n).unwrap(), score }
    }

    #[test]
    fn without_difference_in_rates_or_scores_there_is_no_trend() {
        for doses in [
            vec![],
            vec![dose(1, 5, 1.0)],
            vec![dose(1, 5, 1.0), dose(2, 5, 1.0)],
            vec![dose(0, 5, 1.0), dose(0, 5, 2.0)],
            vec![dose(5, 5, 1.0), dose(5, 5, 2.0)],
            vec![dose(1, 5, 1.0), dose(2, 5, f64::NAN)],
            vec![dose(1, 5, 1.0), dose(0, 0, 2.0)],
        ] {
            assert_eq!((cochran_armitage(&doses), cochran_armitage_exact(&doses)), (None, None), "{doses:?}");
        }
    }

    #[test]
    fn two_levels_are_fishers_tails() {
        let (low, high) = (Arm::new(3, 40).unwrap(), Arm::new(9, 35).unwrap());
        let fisher = super::super::tables::exact_conditional(&[super::super::tables::Stratum { a: high, b: low }]);
        let got = cochran_armitage_exact(&[Dose { arm: low, score: 3.0 }, Dose { arm: high, score: 8.5 }]).unwrap();
        assert!((got.p_increasing - fisher.greater).abs() < 1e-13, "{got:?} {fisher:?}");
    }

    #[test]
    fn only_ratios_of_differences_of_scores_matter() {
        let with = |f: fn(f64) -> f64| {
            let doses = [dose(0, 12, f(0.0)), dose(1, 15, f(1.0)), dose(2, 14, f(2.5)), dose(4, 11, f(7.0))];
            (cochran_armitage(&doses).unwrap(), cochran_armitage_exact(&doses).unwrap())
        };
        let (one, other) = (with(|s| s), with(|s| 1_000.0 - 30.0 * s));
        assert!((one.0.z + other.0.z).abs() < 1e-12 && (one.1.p - other.1.p).abs() < 1e-13);
        assert!(one.1.p_increasing < 0.05 && other.1.p_increasing > 0.95);
    }
}
