//! What came of each shell and of each pair, and the course of the trial. Pure.

use super::model::{Factor, Outcome};
use super::store::{PairRow, TrialRow};
use crate::desk::facts::CameOf;
use crate::kernel::{Instant, Seq};
use crate::science::statistics::trial::{Arm, Counts, Course, Pair, Plan, follow};

/// What came of one shell.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Fate {
    /// Not known yet.
    Waiting,
    /// It did not fail.
    Held(Instant),
    /// It failed.
    Failed(Instant),
    /// It was lost after the coin, which counts as failed.
    Lost(Instant),
    /// It was lost before what is tried could act on it: the pair tells nothing.
    FellOut(Instant),
}

impl Fate {
    /// As it stands in an answer.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Waiting => "waiting",
            Self::Held(_) => "held",
            Self::Failed(_) => "failed",
            Self::Lost(_) => "lost",
            Self::FellOut(_) => "lost_before_the_pour",
        }
    }
    /// Whether it failed, once that is known, and since when.
    #[must_use]
    pub const fn failed(self) -> Option<(bool, Instant)> {
        match self {
            Self::Held(at) => Some((false, at)),
            Self::Failed(at) | Self::Lost(at) => Some((true, at)),
            Self::Waiting | Self::FellOut(_) => None,
        }
    }
}

/// What came of a shell by what counts as failed. A defect is known once one is found, or once no casting
/// is in the shell any more.
#[must_use]
pub fn fate(factor: Factor, outcome: Outcome, came: Option<&CameOf>) -> Fate {
    let Some(came) = came else { return Fate::Waiting };
    if !came.poured {
        return match (came.lost, factor.loss_is_failure()) {
            (false, _) => Fate::Waiting,
            (true, true) => Fate::Lost(came.at),
            (true, false) => Fate::FellOut(came.at),
        };
    }
    let (failed, known, at) = match outcome {
        Outcome::Leak => (came.leaked, true, came.at),
        Outcome::Short => (came.short, true, came.at),
        Outcome::Defect => (came.found, came.found || !came.unopened, came.opened_at.unwrap_or(came.at)),
    };
    match (known, failed) {
        (false, _) => Fate::Waiting,
        (true, true) => Fate::Failed(at),
        (true, false) => Fate::Held(at),
    }
}

/// What a pair tells.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Tells {
    /// Both shells are known, since then.
    Done(Pair, Instant),
    /// One is not known yet.
    Waiting,
    /// A shell was lost before its pour, where the pour is what is tried.
    FellOut,
}

/// A pair with what came of its shells, A's first.
#[derive(Clone, Debug)]
pub struct Followed<'p> {
    /// The pair.
    pub pair: &'p PairRow,
    /// Of A's shell and of B's.
    pub fates: [Fate; 2],
}

impl Followed<'_> {
    /// What it tells.
    #[must_use]
    pub fn tells(&self) -> Tells {
        match (self.fates[0].failed(), self.fates[1].failed()) {
            (Some((a, one)), Some((b, other))) => Tells::Done(Pair::of(a, b), one.max(other)),
            _ if self.fates.iter().any(|f| matches!(f, Fate::FellOut(_))) => Tells::FellOut,
            _ => Tells::Waiting,
        }
    }
    /// Its outcome as it stands in an answer.
    #[must_use]
    pub fn outcome(&self) -> &'static str {
        match self.tells() {
            Tells::Done(Pair::AOnly, _) => "a_only",
            Tells::Done(Pair::BOnly, _) => "b_only",
            Tells::Done(Pair::Same, _) => "same",
            Tells::Waiting => "waiting",
            Tells::FellOut => "fell_out",
        }
    }
}

/// Every pair with what came of it.
#[must_use]
pub fn followed<'p>(trial: &TrialRow, pairs: &'p [PairRow], came: &[CameOf]) -> Vec<Followed<'p>> {
    let of = |shell: Seq| fate(trial.factor, trial.outcome, came.iter().find(|c| c.shell == shell));
    pairs.iter().map(|pair| Followed { pair, fates: pair.shells.map(of) }).collect()
}

/// What was agreed before.
#[must_use]
pub fn plan(trial: &TrialRow) -> Plan {
    Plan { worth_knowing: trial.worth, max_pairs: trial.max_pairs }
}

/// The completed pairs that count, in the order in which they were completed.
#[must_use]
pub fn in_order(followed: &[Followed<'_>], void_too: bool) -> Vec<Pair> {
    let mut done: Vec<(Instant, u32, Pair)> = followed
        .iter()
        .filter(|f| void_too || f.pair.void.is_none())
        .filter_map(|f| match f.tells() {
            Tells::Done(pair, at) => Some((at, f.pair.n, pair)),
            _ => None,
        })
        .collect();
    done.sort_by_key(|(at, n, _)| (*at, *n));
    done.into_iter().map(|(.., pair)| pair).collect()
}

/// The course of a trial, looked at after every completed pair.
#[must_use]
pub fn course(trial: &TrialRow, followed: &[Followed<'_>]) -> Course {
    follow(&in_order(followed, false), &plan(trial))
}

/// How many pairs wait.
#[must_use]
pub fn waiting(followed: &[Followed<'_>]) -> usize {
    followed.iter().filter(|f| f.pair.void.is_none() && f.tells() == Tells::Waiting).count()
}

/// The counts after each completed pair, of which at most `most` are kept, the last among them.
#[must_use]
pub fn thinned(pairs: &[Pair], most: usize) -> Vec<Counts> {
    let every = pairs.len().div_ceil(most.max(1)).max(1);
    let mut counts = Counts::default();
    let mut out = vec![counts];
    for (n, pair) in (1_usize..).zip(pairs) {
        counts = counts.with(*pair);
        if n.is_multiple_of(every) || n == pairs.len() {
            out.push(counts);
        }
    }
    out
}

/// As it stands in an answer.
#[must_use]
pub const fn arm_name(arm: Arm) -> &'static str {
    match arm {
        Arm::A => "a",
        Arm::B => "b",
    }
}
