//! Undo is always a void: final, journalled, and refused while others depend on the record.

use super::common::Despite;
use super::verbs::{Standing, standing};
use super::{flags, journal};
use crate::db::{Cell, Read as _, Row, WriteTx};
use crate::kernel::{Instant, Kind, Problem, ProblemType, Role, Seq};
use serde_json::{Value, json};
use std::collections::BTreeSet;

/// How a void was asked for.
#[derive(Clone, Debug)]
pub struct Ask {
    /// Why.
    pub reason: String,
    /// Void what depends on it too.
    pub cascade: bool,
    /// Show what would go, and change nothing.
    pub dry_run: bool,
    /// Keep what drew metal that will not be on record: the lots held more than the book.
    pub lot_short: bool,
    /// `If-Match`, if sent.
    pub if_match: Option<String>,
}

/// Kept by a turn that voids: records that cannot stand once the others are gone, though they
/// do not refer to them, as the settlers found them.
#[derive(Default)]
pub struct InTheWay {
    /// Records that could not have happened.
    pub rest: BTreeSet<Seq>,
    /// Records that draw metal which is not there.
    pub draw: BTreeSet<Seq>,
}

/// Says that records stand in the way of what this turn voids: they rest on it, or draw its metal.
pub fn stands_in_the_way(tx: &mut WriteTx, rest: impl IntoIterator<Item = Seq>, draw: impl IntoIterator<Item = Seq>) {
    if tx.acting().iter().any(|a| a.voids) {
        let mut known: InTheWay = tx.recall_or_default();
        known.rest.extend(rest);
        known.draw.extend(draw);
        tx.remember(known);
    }
}

/// Records that are undone together with the one they were sent along with, by the member
/// that refers to it.
#[must_use]
pub fn goes_with(kind: Kind, member: &str) -> bool {
    matches!(
        (kind, member),
        (Kind::Leak, "pour_id")
            | (Kind::Finding, "breakout_id" | "scrap_id")
            | (Kind::RecipeVersion, "recipe_id")
            | (Kind::PatinaVersion, "patina_id")
            | (Kind::Charge, "heat_id")
            | (Kind::Casting, "piece_id" | "recast_id")
            | (Kind::Breakout, "shell_breakout_id")
    )
}

/// A record that depends on another.
#[derive(Clone, Debug)]
pub struct Dependent {
    /// Its number.
    pub seq: Seq,
    /// Its kind.
    pub kind: Kind,
    line: Value,
}

/// A record as an answer names it, out of columns seq, kind, id, `at_ms` and its tag, number or name.
fn named(row: &Row, called: usize) -> Result<(Kind, Value), Problem> {
    let kind = row.text(1)?;
    let kind = Kind::parse(&kind).ok_or_else(|| Problem::internal(kind))?;
    let at = Instant::from_ms(row.int(3)?).to_string();
    let mut line = json!({"kind": kind.name(), "id": row.uuid(2)?.to_string(), "at": at});
    if let Some(called) = row.opt_text(called)? {
        line["called"] = called.into();
    }
    Ok((kind, line))
}

/// Live records that refer to it. A part sent along with it (`goes_with`) does not count
/// against it when it refers to it as its parent and was recorded in the same act.
async fn dependents(tx: &mut WriteTx, seq: Seq) -> Result<Vec<(Dependent, bool)>, Problem> {
    let rows = tx
        .fetch(
            "SELECT DISTINCT r.seq, r.kind, r.id, r.at_ms, l.member, r.act_n = p.act_n, \
             (SELECT min(h.key) FROM handle h WHERE h.record_seq = r.seq) \
             FROM (SELECT record_seq, target_seq, member FROM link WHERE target_seq = ? \
               UNION ALL SELECT record_seq, hand_seq, 'hands' FROM record_hand WHERE hand_seq = ?) l \
             JOIN record r ON r.seq = l.record_seq JOIN record p ON p.seq = l.target_seq \
             WHERE r.void_ms IS NULL ORDER BY r.at_ms DESC, r.seq DESC",
            vec![Cell::Int(seq), Cell::Int(seq)],
        )
        .await?;
    let mut out: Vec<(Dependent, bool)> = Vec::new();
    for row in rows {
        let (kind, line) = named(&row, 6)?;
        let along = goes_with(kind, &row.text(4)?) && row.int(5)? != 0;
        match out.iter_mut().find(|(d, _)| d.line == line) {
            Some((_, also)) => *also &= along,
            None => out.push((Dependent { seq: row.int(0)?, kind, line }, along)),
        }
    }
    Ok(out)
}

/// Live records by their numbers.
async fn live(tx: &mut WriteTx, seqs: &BTreeSet<Seq>) -> Result<Vec<Dependent>, Problem> {
    if seqs.is_empty() {
        return Ok(Vec::new());
    }
    let sql = "SELECT r.seq, r.kind, r.id, r.at_ms, (SELECT min(h.key) FROM handle h WHERE h.record_seq = r.seq) \
               FROM json_each(?) k JOIN record r ON r.seq = k.value AND r.void_ms IS NULL";
    let rows = tx.fetch(sql, vec![json!(seqs).to_string().into()]).await?;
    rows.iter()
        .map(|row| {
            let (kind, line) = named(row, 4)?;
            Ok(Dependent { seq: row.int(0)?, kind, line })
        })
        .collect()
}

/// Voids a record; answers the numbers of all that was voided, newest first. With `cascade`
/// also all that refers to it, and what else was found to stand in the way. Where lots are said
/// to have held more than the book, what draws on them is kept, and said to do so. A dry run does
/// the same, in a turn that is then left.
///
/// # Errors
/// `already-void`, `not-allowed`, `stale`, `in-use` with the dependents.
pub async fn void(tx: &mut WriteTx, kind: Kind, seq: Seq, ask: &Ask, more: &InTheWay) -> Result<Vec<Dependent>, Problem> {
    let root = standing(tx, kind, seq).await?;
    if root.void {
        return Err(Problem::new(ProblemType::AlreadyVoid, "The record is void already."));
    }
    if (ask.cascade || ask.dry_run || ask.lot_short) && tx.actor.role != Role::Owner {
        return Err(Problem::new(
            ProblemType::NotAllowed,
            "Voiding a record with all that depends on it, or in spite of it, is the owner's.",
        ));
    }
    root.may_change(tx)?;
    root.matches(ask.if_match.as_deref())?;
    let mut set = live(tx, &BTreeSet::from([seq])).await?;
    let draw = if ask.lot_short { &BTreeSet::new() } else { &more.draw };
    set.extend(live(tx, &more.rest.union(draw).copied().collect()).await?);
    let mut next = 0;
    while next < set.len() {
        let at = set[next].seq;
        let found = dependents(tx, at).await?;
        let against: Vec<Value> = found.iter().filter(|(_, along)| !along).map(|(d, _)| d.line.clone()).collect();
        if !against.is_empty() && !ask.cascade {
            return Err(Problem::new(
                ProblemType::InUse,
                match against.len() {
                    1 => "A record depends on it.".to_owned(),
                    n => format!("{n} records depend on it."),
                },
            )
            .with("dependents", against.into_iter().take(50).collect::<Vec<_>>()));
        }
        for (dependent, _) in found {
            if !set.iter().any(|d| d.seq == dependent.seq) {
                set.push(dependent);
            }
        }
        next += 1;
    }
    set.sort_by_key(|d| std::cmp::Reverse(d.seq));
    for dependent in &set {
        let standing = if dependent.seq == seq { root.clone() } else { standing(tx, dependent.kind, dependent.seq).await? };
        void_one(tx, &standing, &ask.reason);
    }
    if ask.lot_short {
        let kept: BTreeSet<Seq> = more.draw.iter().copied().filter(|seq| !set.iter().any(|d| d.seq == *seq)).collect();
        for kept in live(tx, &kept).await? {
            say(tx, kept.kind, kept.seq, Despite::LotShort, &ask.reason).await?;
        }
    }
    Ok(set)
}

/// Says of a record that it stands in spite of something: a correction of that record.
async fn say(tx: &mut WriteTx, kind: Kind, seq: Seq, what: Despite, reason: &str) -> Result<(), Problem> {
    let mut standing = standing(tx, kind, seq).await?;
    let said = standing.body.as_object_mut().map(|body| body.entry("despite").or_insert_with(|| json!([])));
    let Some(Value::Array(said)) = said else { return Err(Problem::internal("a record that is no object")) };
    if !said.iter().any(|code| code == what.name()) {
        said.push(what.name().into());
    }
    let codes: Vec<&'static str> =
        said.iter().filter_map(|code| Despite::ALL.iter().map(|d| d.name()).find(|name| code == name)).collect();
    standing.touch(tx);
    tx.note_acting(kind, seq, false);
    let version = standing.version + 1;
    let n = journal::append(tx, seq, journal::Action::Correct, version, Some(reason), Some(&standing.body.to_string()));
    tx.push("UPDATE record SET version = ?, journal_n = ? WHERE seq = ?", vec![version.into(), n.into(), seq.into()]);
    flags::write_despite(tx, seq, &codes, true);
    Ok(())
}

fn void_one(tx: &mut WriteTx, standing: &Standing, reason: &str) {
    standing.touch(tx);
    tx.note_acting(standing.kind, standing.seq, true);
    // A setting that is void is no longer in force.
    tx.forget_shared();
    let version = standing.version + 1;
    journal::append(tx, standing.seq, journal::Action::Void, version, Some(reason), None);
    let now = tx.now();
    tx.push(
        "UPDATE record SET void_ms = ?, void_reason = ?, version = ? WHERE seq = ?",
        vec![now.into(), reason.into(), version.into(), standing.seq.into()],
    );
}

impl Dependent {
    /// Its line in an answer: kind, id, at.
    #[must_use]
    pub fn line(&self) -> &Value {
        &self.line
    }
}
