//! Recording trials, pairs and ends.

use super::model::{Factor, Stratum, TrialBody, TrialEndBody, TrialPairBody};
use super::ready::{self, part_words};
use super::store::{self, TrialRow};
use crate::book::reach;
use crate::book::{Entry, Room};
use crate::db::WriteTx;
use crate::kernel::field::{Body as _, Field as _, Ref};
use crate::kernel::{Fault, Kind, Problem, Seq};
use crate::science::statistics::trial::{Arm, arm_of_first};
use serde_json::{Map, Value, json};

/// Trials.
pub enum Trials {}

/// What is fixed once a pair was assigned: who changes it has seen what came of the pairs.
const FIXED: [&str; 7] = ["factor", "a", "b", "outcome", "worth_knowing", "max_pairs", "strata"];

impl Room for Trials {
    const KIND: Kind = Kind::Trial;
    const TABLE: &'static str = "trial";
    const AT_REQUIRED: bool = false;
    type Body = TrialBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<TrialBody>) -> Result<(), Problem> {
        let mut faults = Vec::new();
        let body = &mut entry.body;
        body.a.resolve(tx, body.factor, "/a", &mut faults).await?;
        body.b.resolve(tx, body.factor, "/b", &mut faults).await?;
        let strata = &mut body.strata.0;
        strata.sort_unstable();
        strata.dedup();
        if strata.is_empty() {
            strata.extend([Stratum::Alloy, Stratum::SectionBand]);
        }
        if body.factor.in_the_shell() && strata.contains(&Stratum::Recipe) {
            let message = "Shells that agree in their recipe cannot differ in it.".to_owned();
            faults.push(Fault { pointer: "/strata".into(), code: "is-tried", message });
        }
        if faults.is_empty() && same(body) {
            let message = "A and B are the same: there is nothing to compare.".to_owned();
            faults.push(Fault { pointer: "/b".into(), code: "same", message });
        }
        if !faults.is_empty() {
            return Err(Problem::invalid(faults));
        }
        let seed = if entry.correcting {
            fixed(tx, entry).await?;
            store::one(tx, entry.seq).await?.seed
        } else {
            u64::from_le_bytes(tx.clock.bytes())
        };
        let body = &entry.body;
        let text = |level: &super::level::Level| level.write().and_then(|v| v.as_str().map(str::to_owned)).unwrap_or_default();
        entry.columns = vec![
            ("name", body.name.0.as_str().into()),
            ("factor", body.factor.name().into()),
            ("a", text(&body.a).into()),
            ("b", text(&body.b).into()),
            ("a_seq", body.a.seq().into()),
            ("b_seq", body.b.seq().into()),
            ("outcome", body.outcome.name().into()),
            ("worth_knowing", body.worth_knowing.0.into()),
            ("max_pairs", body.max_pairs.map(|n| n.0).into()),
            ("strata", json!(body.strata.0.iter().map(|s| s.name()).collect::<Vec<_>>()).to_string().into()),
            ("seed", seed.to_string().into()),
        ];
        Ok(())
    }
}

fn same(body: &TrialBody) -> bool {
    match body.factor {
        Factor::Recipe | Factor::RecipeVersion => body.a.seq() == body.b.seq(),
        _ => body.a.said.0.to_lowercase() == body.b.said.0.to_lowercase(),
    }
}

/// Refuses a correction of what pairs were assigned under.
async fn fixed(tx: &mut WriteTx, entry: &Entry<TrialBody>) -> Result<(), Problem> {
    if store::pairs(tx, &[entry.seq]).await?.is_empty() {
        return Ok(());
    }
    let was = reach::by_seqs(tx, &[entry.seq]).await?.pop().map_or(Value::Null, |found| found.body);
    let mut is = Map::new();
    entry.body.write_members(&mut is);
    let faults: Vec<Fault> = FIXED
        .iter()
        .filter(|name| was[**name] != is.get(**name).cloned().unwrap_or(Value::Null))
        .map(|name| Fault {
            pointer: format!("/{name}"),
            code: "fixed",
            message: "Pairs were assigned under it. End this trial and start another.".into(),
        })
        .collect();
    if faults.is_empty() { Ok(()) } else { Err(Problem::invalid(faults)) }
}

/// Pairs.
pub enum TrialPairs {}

impl Room for TrialPairs {
    const KIND: Kind = Kind::TrialPair;
    const TABLE: &'static str = "trial_pair";
    const AT_REQUIRED: bool = false;
    type Body = TrialPairBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<TrialPairBody>) -> Result<(), Problem> {
        let trial_seq = entry.body.trial_id.seq();
        let named: Vec<Seq> = entry.body.shell_ids.0.iter().map(Ref::seq).collect();
        let (n, arm) = if entry.correcting {
            stays(tx, entry, trial_seq, &named).await?
        } else {
            let trial = store::one(tx, trial_seq).await?;
            let pairs = store::pairs(tx, &[trial_seq]).await?;
            goes_on(&trial, pairs.iter().filter(|p| p.void.is_none()).count())?;
            may_be_paired(tx, &trial, &named).await?;
            let n = pairs.iter().map(|p| p.n).max().unwrap_or(0) + 1;
            // Both shells are named; only now is the coin tossed.
            (n, arm_of_first(trial.seed, n))
        };
        entry.columns = vec![
            ("trial_seq", trial_seq.into()),
            ("n", i64::from(n).into()),
            ("first_seq", named.first().copied().into()),
            ("second_seq", named.get(1).copied().into()),
            ("first_arm", if arm == Arm::A { "a" } else { "b" }.into()),
        ];
        // What the coin gave a shell is in its story.
        for shell in named {
            entry.bear(shell);
        }
        Ok(())
    }
}

/// The number and the first arm of a pair that is corrected: what was assigned stands.
async fn stays(tx: &mut WriteTx, entry: &Entry<TrialPairBody>, trial: Seq, named: &[Seq]) -> Result<(u32, Arm), Problem> {
    let Some(was) = store::pairs_by(tx, &[entry.seq]).await?.pop() else {
        return Err(Problem::internal("a pair without its row"));
    };
    let mut faults = Vec::new();
    let mut fault = |pointer: &str| {
        let message = "The coin was tossed for these two. Void the pair and say why; it stays listed.".to_owned();
        faults.push(Fault { pointer: pointer.into(), code: "fixed", message });
    };
    if was.trial != trial {
        fault("/trial_id");
    }
    let before: Vec<Seq> = was.named().iter().map(|(seq, _)| *seq).collect();
    if before != named {
        fault("/shell_ids");
    }
    if !faults.is_empty() {
        return Err(Problem::invalid(faults));
    }
    Ok((was.n, was.named()[0].1))
}

/// Refuses a pair of a trial that is over.
fn goes_on(trial: &TrialRow, live: usize) -> Result<(), Problem> {
    if let Some((at, _)) = &trial.ended {
        return Err(Problem::field("/trial_id", "ended", format!("The trial ended at {at}. Start another.")));
    }
    match trial.max_pairs {
        Some(most) if live >= most as usize => Err(Problem::field(
            "/trial_id",
            "full",
            format!("The trial was planned for {most} pairs, and they are all assigned."),
        )),
        _ => Ok(()),
    }
}

/// Refuses shells that cannot be paired, every reason at once.
async fn may_be_paired(tx: &mut WriteTx, trial: &TrialRow, named: &[Seq]) -> Result<(), Problem> {
    let [first, second] = named else {
        return Err(Problem::field("/shell_ids", "length", "Give two shells."));
    };
    if first == second {
        return Err(Problem::field("/shell_ids/1", "twice", "That is the same shell. Give two."));
    }
    let now = tx.now();
    let found = ready::look(tx, named, trial.factor, &trial.strata, now).await?;
    let mut faults = Vec::new();
    let mut fault = |n: usize, code, message: String| faults.push(Fault { pointer: format!("/shell_ids/{n}"), code, message });
    for (seq, of, name) in store::in_the_way(tx, named, trial.seq).await? {
        let n = usize::from(seq != *first);
        if of == trial.seq {
            fault(
                n,
                "has-a-coin",
                "This shell had its coin in this trial. There is no second one, not even of a void pair.".into(),
            );
        } else {
            fault(n, "in-a-trial", format!("This shell is in a pair of the trial {name}, which is running."));
        }
    }
    for (n, shell) in found.iter().enumerate() {
        if let Some((code, message)) = shell.against {
            fault(n, code, message.to_owned());
        }
    }
    if let [one, other] = found.as_slice() {
        for ((part, a), (_, b)) in one.stratum.iter().zip(&other.stratum).filter(|((_, a), (_, b))| a != b) {
            let said = format!(
                "The two differ in {}: {} is {a}, {} is {b}. Pair like with like.",
                part_words(*part),
                one.tag,
                other.tag
            );
            fault(1, "other-stratum", said);
        }
    }
    if faults.is_empty() { Ok(()) } else { Err(Problem::invalid(faults)) }
}

/// Ends of trials.
pub enum TrialEnds {}

impl Room for TrialEnds {
    const KIND: Kind = Kind::TrialEnd;
    const TABLE: &'static str = "trial_end";
    const AT_REQUIRED: bool = false;
    type Body = TrialEndBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<TrialEndBody>) -> Result<(), Problem> {
        let trial = entry.body.trial_id.seq();
        let ends = reach::referring(tx, &[trial], &[Kind::TrialEnd]).await?;
        if ends.iter().any(|end| end.record != entry.seq) {
            return Err(Problem::field("/trial_id", "ended", "Its end is on record; correct or void that."));
        }
        entry.set("trial_seq", trial);
        Ok(())
    }
}
