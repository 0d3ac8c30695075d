//! From pairs to a word.

use serde::Serialize;
use utoipa::ToSchema;

use super::difference::{Difference, difference, ln_k};
use super::evidence::{ln_e_value, path};
use super::{ALPHA, Arm, Counts, LEANING, Pair, TOLD_APART};

/// What was agreed before the first pair.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Plan {
    /// The smallest difference of failure rates worth knowing, above 0 and below 1.
    pub worth_knowing: f64,
    /// After so many completed pairs the trial ends whatever it says; `None` for no such end.
    pub max_pairs: Option<u32>,
}

/// What a trial says.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, ToSchema)]
#[serde(tag = "verdict", rename_all = "snake_case")]
pub enum Verdict {
    /// One arm fails more often: the e-value reached 20.
    ToldApart {
        /// The arm that fails more often.
        worse: Arm,
    },
    /// Alike for practical purposes: the difference lies within what is worth knowing, either way.
    Alike,
    /// The e-value is 5 or more: a hint, which 1 trial in 7 of like arms gives at some time.
    Leaning {
        /// The arm that seems to fail more often.
        worse: Arm,
    },
    /// Cannot tell yet.
    CannotTellYet,
    /// Cannot tell, and the planned number of pairs is reached.
    PlannedEnd,
}

impl Verdict {
    /// Whether the trial is over.
    #[must_use]
    pub const fn stops(self) -> bool {
        matches!(self, Self::ToldApart { .. } | Self::Alike | Self::PlannedEnd)
    }
}

/// Where a trial stopped.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Stop {
    /// After so many completed pairs.
    pub after: u32,
    /// With this verdict.
    pub verdict: Verdict,
}

/// A trial pair by pair.
#[derive(Clone, PartialEq, Debug)]
pub struct Course {
    /// The e-value after each completed pair.
    pub e: Vec<f64>,
    /// All completed pairs, those after a stop too.
    pub counts: Counts,
    /// The difference seen and what is possible, of all completed pairs; `None` before the first.
    pub difference: Option<Difference>,
    /// Where it stopped first. Pairs that were under way then, and come in later, change the
    /// counts but no longer the verdict: it was valid when it was reached.
    pub stop: Option<Stop>,
    /// The verdict: that of the stop, or else of all pairs.
    pub verdict: Verdict,
}

/// The verdict of some pairs by their counts alone, as if nobody had looked before.
#[must_use]
pub fn assess(counts: Counts, plan: &Plan) -> Verdict {
    let ln_e = ln_e_value(counts.a_only, counts.b_only);
    // Arms that are even have an e-value below 1, so that there always is a worse one here.
    match counts.worse() {
        // Rounding must not keep from 20 what is 20.
        Some(worse) if ln_e >= TOLD_APART.ln() - 1e-12 => return Verdict::ToldApart { worse },
        _ if alike(counts, plan.worth_knowing) => return Verdict::Alike,
        _ => {}
    }
    match (plan.max_pairs, counts.worse()) {
        (Some(most), _) if counts.pairs() >= f64::from(most) => Verdict::PlannedEnd,
        (_, Some(worse)) if ln_e >= LEANING.ln() - 1e-12 => Verdict::Leaning { worse },
        _ => Verdict::CannotTellYet,
    }
}

/// Whether the interval lies inside ±`worth`: both ends are ruled out, and what was seen is
/// between them.
pub(super) fn alike(counts: Counts, worth: f64) -> bool {
    let pairs = counts.pairs();
    let seen = (f64::from(counts.a_only) - f64::from(counts.b_only)) / pairs.max(1.0);
    let ruled_out = |delta: f64| ln_k(counts, delta).is_some_and(|k| k >= -ALPHA.ln());
    worth > 0.0 && worth < 1.0 && seen.abs() < worth && ruled_out(worth) && ruled_out(-worth)
}

/// A trial in the order in which its pairs were completed, looked at after every one.
#[must_use]
pub fn follow(pairs: &[Pair], plan: &Plan) -> Course {
    let mut counts = Counts::default();
    let mut stop = None;
    for (after, pair) in (1_u32..).zip(pairs) {
        counts = counts.with(*pair);
        if stop.is_none() {
            let verdict = assess(counts, plan);
            stop = verdict.stops().then_some(Stop { after, verdict });
        }
    }
    let verdict = stop.map_or_else(|| assess(counts, plan), |stop| stop.verdict);
    Course { e: path(pairs), counts, difference: difference(counts), stop, verdict }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAN: Plan = Plan { worth_knowing: 0.1, max_pairs: Some(300) };

    fn counts(a_only: u32, b_only: u32, same: u32) -> Counts {
        Counts { a_only, b_only, same }
    }

    #[test]
    fn every_word_is_reached() {
        // E = 2^16 ∕ (17 × 120) = 32.1 at 14 and 2, 19.5 at 13 and 2.
        assert_eq!(assess(counts(14, 2, 84), &PLAN), Verdict::ToldApart { worse: Arm::A });
        assert_eq!(assess(counts(2, 14, 84), &PLAN), Verdict::ToldApart { worse: Arm::B });
        assert_eq!(assess(counts(13, 2, 84), &PLAN), Verdict::Leaning { worse: Arm::A });
        assert_eq!(assess(counts(13, 2, 284), &Plan { worth_knowing: 0.03, ..PLAN }), Verdict::Leaning { worse: Arm::A });
        assert_eq!(assess(counts(13, 2, 285), &Plan { worth_knowing: 0.03, ..PLAN }), Verdict::PlannedEnd);
        // No pair of 50 that differs rules out 9.903 points and more, of 200 already 2.629.
        assert_eq!(assess(counts(0, 0, 50), &PLAN), Verdict::Alike);
        assert_eq!(assess(counts(0, 0, 49), &PLAN), Verdict::CannotTellYet);
        assert_eq!(assess(counts(0, 0, 200), &Plan { worth_knowing: 0.026, ..PLAN }), Verdict::CannotTellYet);
        assert_eq!(assess(counts(0, 0, 200), &Plan { worth_knowing: 0.027, ..PLAN }), Verdict::Alike);
        assert_eq!(assess(Counts::default(), &PLAN), Verdict::CannotTellYet);
        // Told apart comes before the planned end, and a plan without end has none.
        assert_eq!(assess(counts(40, 2, 400), &PLAN), Verdict::ToldApart { worse: Arm::A });
        assert_eq!(assess(counts(30, 30, 400), &Plan { worth_knowing: 0.01, max_pairs: None }), Verdict::CannotTellYet);
        for worth_knowing in [0.0, 1.0, -0.5, f64::NAN] {
            assert_eq!(assess(counts(0, 0, 200), &Plan { worth_knowing, max_pairs: None }), Verdict::CannotTellYet);
        }
    }

    #[test]
    fn alike_is_that_the_interval_lies_inside() {
        for (a, b, c) in [(0, 0, 45), (0, 0, 60), (3, 1, 90), (2, 3, 120), (9, 8, 190), (9, 2, 300), (20, 18, 260)] {
            let found = difference(counts(a, b, c)).unwrap();
            assert_eq!(alike(counts(a, b, c), 0.1), found.low > -0.1 && found.high < 0.1, "{found:?}");
        }
    }

    #[test]
    fn what_comes_in_after_a_stop_does_not_take_it_back() {
        let mut pairs = vec![Pair::AOnly; 9];
        pairs.extend([Pair::BOnly; 4]);
        let course = follow(&pairs, &PLAN);
        // 2^8 ∕ 9 = 28.4 after eight.
        assert_eq!(course.stop, Some(Stop { after: 8, verdict: Verdict::ToldApart { worse: Arm::A } }));
        assert!(course.e[6] < 20.0 && course.e[7] > 20.0 && course.e[12] < 5.0);
        assert_eq!(course.verdict, Verdict::ToldApart { worse: Arm::A });
        assert_eq!(follow(&[], &PLAN).verdict, Verdict::CannotTellYet);
    }
}
