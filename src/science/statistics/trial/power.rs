//! How long a trial will take, said before it starts. Exact, by recursion.
//!
//! With failure rates pA and pB, independent within a pair, a pair differs with chance
//! r = pA(1 − pB) + pB(1 − pA), and of those that differ A failed in the share q = pA(1 − pB) ∕ r.
//! The e-value depends on the pairs that differ alone, so their number at the stop is found by
//! walking over them; how many pairs that takes is binomial. Shells of a pair that are alike in
//! more than their arm differ less often than this supposes, and the trial takes longer.

use serde::Serialize;
use utoipa::ToSchema;

use super::{Counts, TOLD_APART};

/// No trial is planned for more further pairs.
pub const MOST_PAIRS: u32 = 10_000;
/// Of a walk this little is left alone.
const NOTHING: f64 = 1e-13;

/// How many further pairs it takes to tell two arms apart.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct PairsToStop {
    /// In half of trials no more than this; `None` above [`MOST_PAIRS`].
    pub p50: Option<u32>,
    /// In four of five trials no more than this; `None` above [`MOST_PAIRS`].
    pub p80: Option<u32>,
}

/// The stop of a trial from where it stands, at given rates.
struct Walk {
    /// How often a pair differs.
    differs: f64,
    /// The chance to have stopped within so many further pairs that differ, from 0 on.
    stopped: Vec<f64>,
    /// ln k! from 0 to [`MOST_PAIRS`].
    ln_factorial: Vec<f64>,
}

/// ln k! for k up to `most`.
fn ln_factorials(most: u32) -> Vec<f64> {
    let mut sum = 0.0;
    (0..=most)
        .map(|k| {
            sum += f64::from(k.max(1)).ln();
            sum
        })
        .collect()
}

impl Walk {
    /// `None` where a rate is not from 0 to 1.
    fn new(from: Counts, p_a: f64, p_b: f64, most: u32) -> Option<Self> {
        if !(0.0..=1.0).contains(&p_a) || !(0.0..=1.0).contains(&p_b) {
            return None;
        }
        let (a_only, b_only) = (p_a * (1.0 - p_b), p_b * (1.0 - p_a));
        let differs = (a_only + b_only).min(1.0);
        let share = if differs > 0.0 { a_only / differs } else { 0.5 };
        let ln_factorial = ln_factorials(most);
        // More pairs that differ than this do not come up among so many.
        let expected = f64::from(most) * differs;
        let reach = (expected + 8.0 * expected.sqrt() + 20.0).min(f64::from(most));
        Some(Self { differs, stopped: stopped(from, share, reach), ln_factorial })
    }

    /// The chance to have stopped within so many further pairs: Σ Bin(k; pairs, r) stopped(k).
    fn by(&self, pairs: u32) -> f64 {
        let last = self.stopped.last().copied().unwrap_or(0.0);
        let ln = |k: u32| self.ln_factorial.get(k as usize).copied().unwrap_or(0.0);
        if self.differs <= 0.0 || pairs == 0 {
            return self.stopped.first().copied().unwrap_or(0.0);
        }
        if self.differs >= 1.0 {
            return self.stopped.get(pairs as usize).copied().unwrap_or(last);
        }
        let (odds, other) = (self.differs.ln(), (-self.differs).ln_1p());
        let mass = |k: u32| (ln(pairs) - ln(k) - ln(pairs - k) + f64::from(k) * odds + f64::from(pairs - k) * other).exp();
        let sum: f64 = (0..=pairs).map(|k| mass(k) * self.stopped.get(k as usize).copied().unwrap_or(last)).sum();
        sum.min(1.0)
    }

    /// The fewest pairs by which the chance to have stopped is at least `chance`.
    fn within(&self, chance: f64, most: u32) -> Option<u32> {
        if self.by(0) >= chance {
            return Some(0);
        }
        let (mut below, mut enough) = (0, most);
        if self.by(most) < chance {
            return None;
        }
        while enough - below > 1 {
            let middle = below.midpoint(enough);
            if self.by(middle) >= chance { enough = middle } else { below = middle }
        }
        Some(enough)
    }
}

/// The chance to have reached an e-value of 20 within k further pairs that differ, for k from 0
/// up to `reach`, where A failed in the share `share` of them.
///
/// The walk is over how many of them A failed in; what has reached a bound leaves it. The bounds
/// lie some √(d ln d) apart, so that a step costs little.
fn stopped(from: Counts, share: f64, reach: f64) -> Vec<f64> {
    let start = from.a_only.saturating_add(from.b_only);
    let mut bound = Bound::new();
    let mut top = bound.at(start);
    let mut out = Vec::new();
    let mut sum = 0.0;
    // Of a walk at d, `alive[i]` stands at `low + i` failures of A.
    let mut alive = vec![1.0];
    let mut low = from.a_only;
    if from.a_only >= top || from.b_only >= top {
        return vec![1.0];
    }
    out.push(0.0);
    let mut d = start;
    while f64::from(d - start) < reach && 1.0 - sum > NOTHING {
        d += 1;
        top = bound.at(d);
        let mut next = vec![0.0; alive.len() + 1];
        for (i, chance) in alive.iter().enumerate() {
            next[i] += chance * (1.0 - share);
            next[i + 1] += chance * share;
        }
        // On to the next pair goes what lies strictly between the bounds, d − top and top.
        let floor = (d + 1).saturating_sub(top);
        let cut = floor.saturating_sub(low) as usize;
        sum += next.drain(..cut.min(next.len())).sum::<f64>();
        low = low.max(floor);
        let keep = top.saturating_sub(low) as usize;
        if keep < next.len() {
            sum += next.split_off(keep).iter().sum::<f64>();
        }
        alive = next;
        out.push(sum.min(1.0));
    }
    out
}

/// The fewest failures of one arm, among d pairs that differ, at which the e-value is 20.
struct Bound {
    d: u32,
    /// The fewest, or d + 1 while none suffices.
    top: u32,
    /// ln E at `top` of d.
    ln_e: f64,
}

impl Bound {
    const fn new() -> Self {
        Self { d: 0, top: 1, ln_e: f64::NEG_INFINITY }
    }

    /// For d from where it was last asked, upwards.
    fn at(&mut self, d: u32) -> u32 {
        let line = TOLD_APART.ln() - 1e-12;
        while self.d < d {
            self.d += 1;
            let all = f64::from(self.d);
            if self.top == self.d {
                // None sufficed yet: all of them, 2^d ∕ (d + 1).
                self.ln_e = all * std::f64::consts::LN_2 - (all + 1.0).ln();
                if self.ln_e < line {
                    self.top += 1;
                }
                continue;
            }
            // One more of the other arm weighs against it; then one more of its own for it.
            self.ln_e += (2.0 * (all - f64::from(self.top)) / (all + 1.0)).ln();
            if self.ln_e < line {
                // From (t, d − t) to (t + 1, d − t − 1): (t + 1) ∕ (d − t).
                self.ln_e += ((f64::from(self.top) + 1.0) / (all - f64::from(self.top))).ln();
                self.top += 1;
            }
        }
        self.top
    }
}

/// The chance that a trial with failure rates `p_a` and `p_b` has told the arms apart by so many
/// pairs. `None` where a rate is not from 0 to 1, and above [`MOST_PAIRS`].
#[must_use]
pub fn power(p_a: f64, p_b: f64, pairs: u32) -> Option<f64> {
    (pairs <= MOST_PAIRS).then(|| Walk::new(Counts::default(), p_a, p_b, pairs)).flatten().map(|walk| walk.by(pairs))
}

/// How many pairs more, from where a trial stands, until with chance `chance` it has told arms
/// with failure rates `p_a` and `p_b` apart; 0 where it already has. `None` above [`MOST_PAIRS`],
/// where a rate is not from 0 to 1, or unless 0 < chance < 1.
#[must_use]
pub fn pairs_for(from: Counts, p_a: f64, p_b: f64, chance: f64) -> Option<u32> {
    let sane = chance > 0.0 && chance < 1.0;
    sane.then(|| Walk::new(from, p_a, p_b, MOST_PAIRS)).flatten()?.within(chance, MOST_PAIRS)
}

/// How many pairs more it takes at failure rates `p_a` and `p_b`, from where a trial stands
/// (from [`Counts::default`] before it starts). `None` where a rate is not from 0 to 1.
#[must_use]
pub fn pairs_to_stop(from: Counts, p_a: f64, p_b: f64) -> Option<PairsToStop> {
    let walk = Walk::new(from, p_a, p_b, MOST_PAIRS)?;
    Some(PairsToStop { p50: walk.within(0.5, MOST_PAIRS), p80: walk.within(0.8, MOST_PAIRS) })
}

/// The years that so many pairs take at a pace of completed pairs a year. `None` unless the pace
/// is above 0.
#[must_use]
pub fn years(pairs: u32, pairs_a_year: f64) -> Option<f64> {
    (pairs_a_year > 0.0 && pairs_a_year.is_finite()).then(|| f64::from(pairs) / pairs_a_year).filter(|years| years.is_finite())
}

#[cfg(test)]
mod tests {
    use super::super::evidence::ln_e_value;
    use super::*;

    #[test]
    fn the_bound_is_the_first_that_suffices() {
        let mut bound = Bound::new();
        for d in 0..400_u32 {
            let want = (d.div_ceil(2)..=d).find(|a| ln_e_value(*a, d - a) >= 20.0_f64.ln()).unwrap_or(d + 1);
            assert_eq!(bound.at(d), want, "{d}");
        }
    }

    #[test]
    fn it_is_what_counting_all_orders_gives() {
        // Every order of 12 pairs that differ, at a share of 0.8.
        let share: f64 = 0.8;
        let mut by = [0.0; 13];
        for order in 0_u32..1 << 12 {
            let chance = |d: u32| share.powi(i32::try_from((order & ((1 << d) - 1)).count_ones()).unwrap());
            let a = |d: u32| (order & ((1 << d) - 1)).count_ones();
            let whole = chance(12) * (1.0 - share).powi(i32::try_from(12 - a(12)).unwrap());
            let stop = (1..=12).find(|d| ln_e_value(a(*d), d - a(*d)) >= 20.0_f64.ln());
            if let Some(stop) = stop {
                by.iter_mut().skip(stop as usize).for_each(|b| *b += whole);
            }
        }
        let got = stopped(Counts::default(), share, 12.0);
        assert_eq!(got.len(), 13);
        for (d, (got, want)) in got.iter().zip(by).enumerate() {
            assert!((got - want).abs() < 1e-12, "{d}: {got} {want}");
        }
    }

    #[test]
    fn from_where_a_trial_stands() {
        let at = |a_only, b_only| Counts { a_only, b_only, same: 40 };
        assert_eq!(pairs_to_stop(at(14, 2), 0.15, 0.05), Some(PairsToStop { p50: Some(0), p80: Some(0) }));
        // One more pair against A suffices at 13 and 2. A pair differs with chance 0.185 and goes
        // against A in 0.770 of those: 0.770 (1 − 0.815^n) is 0.493 at five pairs, 0.544 at six.
        let near = pairs_to_stop(at(13, 2), 0.15, 0.05).unwrap();
        assert_eq!(near.p50, Some(6));
        let far = pairs_to_stop(at(0, 8), 0.15, 0.05);
        assert_eq!(far, Some(PairsToStop { p50: Some(0), p80: Some(0) }));
        assert!(pairs_to_stop(at(2, 6), 0.15, 0.05).unwrap().p50 > pairs_to_stop(at(0, 0), 0.15, 0.05).unwrap().p50);
    }

    #[test]
    fn arms_that_never_differ_are_never_told_apart() {
        for (p_a, p_b) in [(0.0, 0.0), (1.0, 1.0), (0.05, 0.05)] {
            assert_eq!(pairs_to_stop(Counts::default(), p_a, p_b), Some(PairsToStop { p50: None, p80: None }));
        }
        // Every pair differs and goes one way: 2^d ∕ (d + 1) is 20 from the eighth on.
        let sure = pairs_to_stop(Counts::default(), 1.0, 0.0);
        assert_eq!(sure, Some(PairsToStop { p50: Some(8), p80: Some(8) }));
        assert_eq!(pairs_to_stop(Counts::default(), f64::NAN, 0.1), None);
        assert_eq!(
            (power(0.1, 1.1, 5), power(0.1, 0.2, 10_001), pairs_for(Counts::default(), 0.1, 0.2, 1.0)),
            (None, None, None)
        );
        assert_eq!(power(0.3, 0.1, 0), Some(0.0));
        assert_eq!((years(120, 40.0), years(120, 0.0), years(1, f64::NAN)), (Some(3.0), None, None));
    }
}
