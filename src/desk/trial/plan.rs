//! How long a trial takes at this shop's pace, said before it starts and while it runs.

use super::model::{Outcome, Stratum};
use super::ready::band;
use super::store::TrialRow;
use crate::db::ReadTx;
use crate::desk::facts::{self, Alike};
use crate::kernel::{Instant, Problem};
use crate::science::statistics::trial::{Arm, Counts, PairsToStop, alike_at, pairs_to_stop, years};
use crate::shop::house::settings;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// A year, in milliseconds.
const YEAR_MS: i64 = 365 * 86_400_000;
/// What is supposed of a rate before anything is known: of 6 shells 0.6 fail.
const PRIOR: (f64, f64) = (0.6, 6.0);
/// After so many pairs it is said how often like arms are found alike.
const ALIKE_AFTER: u32 = 400;

/// What the shop poured in the last 365 days.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pace {
    /// Shells.
    pub shells: i64,
    /// Pairs of one stratum that could have been made of them.
    pub pairs: i64,
    /// Shells of which the outcome is known.
    pub seen: i64,
    /// And how many of those failed.
    pub failed: i64,
}

#[expect(clippy::cast_precision_loss, reason = "counts of shells in a year")]
const fn real(n: i64) -> f64 {
    n as f64
}

impl Pace {
    /// The rate to reckon with: what failed, with a little of what is supposed beforehand.
    #[must_use]
    pub fn rate(&self) -> f64 {
        (PRIOR.0 + real(self.failed)) / (PRIOR.1 + real(self.seen))
    }
    /// As it stands in an answer.
    #[must_use]
    pub fn json(&self) -> Value {
        json!({"shells": self.shells, "pairs_a_year": self.pairs, "seen": self.seen, "failed": self.failed})
    }
    /// The years that some pairs take.
    fn years(&self, pairs: Option<u32>) -> Option<f64> {
        years(pairs?, real(self.pairs)).map(|y| (y * 100.0).round() / 100.0)
    }
    /// Those of half of trials and of four in five.
    #[must_use]
    pub fn both(&self, pairs: PairsToStop) -> Value {
        json!({"p50": self.years(pairs.p50), "p80": self.years(pairs.p80)})
    }
}

/// The pace of the shop in some strata: of every two like shells poured in the last 365 days, a pair.
///
/// # Errors
/// As the database says.
pub async fn pace(read: &mut ReadTx, outcome: Outcome, strata: &[Stratum], now: Instant) -> Result<Pace, Problem> {
    let settings = settings::of(read).await?;
    let found = facts::poured_alike(read, now.plus_ms(-YEAR_MS), now.plus_ms(1), outcome.name()).await?;
    let mut by: BTreeMap<Vec<String>, i64> = BTreeMap::new();
    for group in &found {
        let part = |part: &Stratum| match part {
            Stratum::Alloy => group.alloy.clone(),
            Stratum::SectionBand => group.section_mm.map_or_else(String::new, |mm| band(&settings, mm, now)),
            Stratum::Pattern => group.pattern.map_or_else(String::new, |seq| seq.to_string()),
            Stratum::Recipe => group.recipe.to_string(),
        };
        *by.entry(strata.iter().map(part).collect()).or_default() += group.shells;
    }
    let sum = |of: fn(&Alike) -> i64| found.iter().map(of).sum();
    Ok(Pace {
        shells: sum(|g| g.shells),
        pairs: by.values().map(|n| n / 2).sum(),
        seen: sum(|g| g.seen),
        failed: sum(|g| g.failed),
    })
}

/// Two rates that lie so far apart, the shop's own among them.
#[must_use]
pub fn supposed(rate: f64, worth: f64) -> (f64, f64) {
    let tidy = |rate: f64| (rate * 1e6).round() / 1e6;
    let (high, low) = if rate >= worth { (rate, rate - worth) } else { ((rate + worth).min(1.0), rate) };
    (tidy(high), tidy(low))
}

/// What a trial is planned with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Supposed {
    /// The failure rate of A.
    pub a: f64,
    /// The failure rate of B.
    pub b: f64,
    /// The smallest difference worth knowing.
    pub worth: f64,
}

/// The plan of a trial: how many pairs and years until arms of those rates are told apart, and what it
/// says if they are alike.
#[must_use]
pub fn planned(outcome: Outcome, at: Supposed, pace: &Pace) -> Value {
    let pairs = pairs_to_stop(Counts::default(), at.a, at.b).unwrap_or(PairsToStop { p50: None, p80: None });
    let same = pace.rate().min(1.0);
    let alike = alike_at(same, same, at.worth, ALIKE_AFTER);
    json!({
        "outcome": outcome.name(), "rate_a": at.a, "rate_b": at.b, "worth_knowing": at.worth, "pace": pace.json(),
        "pairs_to_stop": {"p50": pairs.p50, "p80": pairs.p80}, "years": pace.both(pairs),
        "if_alike": {"rate": same, "pairs": ALIKE_AFTER, "chance": alike, "years": pace.years(Some(ALIKE_AFTER))},
    })
}

/// How long a running trial takes from where it stands, if the arms lie as far apart as is worth knowing,
/// the one that failed more often so far being the worse.
#[must_use]
pub fn from_here(trial: &TrialRow, counts: Counts, pace: &Pace) -> Value {
    let (high, low) = supposed(pace.rate(), trial.worth);
    let (a, b) = if counts.worse() == Some(Arm::B) { (low, high) } else { (high, low) };
    let pairs = pairs_to_stop(counts, a, b).unwrap_or(PairsToStop { p50: None, p80: None });
    json!({
        "pairs_to_stop": {"p50": pairs.p50, "p80": pairs.p80}, "years": pace.both(pairs),
        "supposed": {"rate_a": a, "rate_b": b}, "pace": pace.json(),
    })
}
