//! Arrays of children in a correction: with id kept or changed, without id new, missing voided.

use super::common::{Common, Draft};
use super::resolve::Asks;
use super::room::{Entry, Room};
use super::verbs;
use super::void::{self, Ask};
use crate::db::{Cell, Read as _, WriteTx};
use crate::kernel::field::{Faults, unknown};
use crate::kernel::{Instant, Precision, Problem, Seq};
use serde_json::{Map, Value};
use uuid::Uuid;

/// The most children a record embeds.
const CHILDREN_MAX: usize = 200;
/// Members that an answer bears and nobody sets: a child may be sent back as it was read.
const RENDERED: &[&str] = &["recorded_at", "by", "practice_flags", "version", "etag", "despite", "assumed", "first_use"];

/// Takes an array of children out of a correction; null is an empty one.
///
/// # Errors
/// `invalid` when it is not an array of objects.
pub fn take_array(arrays: &mut Map<String, Value>, name: &str) -> Result<Option<Vec<Map<String, Value>>>, Problem> {
    let wrong = || Problem::field(&format!("/{name}"), "wrong-type", "Give a list of objects.");
    match arrays.shift_remove(name) {
        None => Ok(None),
        Some(Value::Null) => Ok(Some(Vec::new())),
        Some(Value::Array(items)) if items.len() > CHILDREN_MAX => {
            Err(Problem::field(&format!("/{name}"), "length", format!("At most {CHILDREN_MAX} of these.")))
        }
        Some(Value::Array(items)) => items
            .into_iter()
            .map(|item| if let Value::Object(object) = item { Ok(object) } else { Err(wrong()) })
            .collect::<Result<Vec<_>, _>>()
            .map(Some),
        Some(_) => Err(wrong()),
    }
}

/// Brings the children of a record in line with an array.
///
/// # Errors
/// `invalid` with pointers into the array, and what the child's room refuses.
pub async fn amend<C: Room>(
    tx: &mut WriteTx,
    parent: Seq,
    parent_id: Uuid,
    name: &str,
    member: &'static str,
    array: Vec<Map<String, Value>>,
    common: &Common,
) -> Result<(), Problem> {
    let standing = standing_children(tx, C::KIND.name(), parent, member).await?;
    let mut kept = Vec::new();
    for (i, mut item) in array.into_iter().enumerate() {
        let at = format!("/{name}/{i}");
        if let Some(id) = item.shift_remove("id") {
            let id = id.as_str().and_then(|t| Uuid::parse_str(t).ok());
            let found = standing.iter().find(|(_, known)| Some(*known) == id);
            let Some((seq, _)) = found else {
                return Err(Problem::field(&format!("{at}/id"), "not-found", "No such child is part of this record."));
            };
            kept.push(*seq);
            let own: Vec<&str> = verbs::correctable::<C::Body>();
            let mut faults = Faults::default();
            unknown(&item, &[&own, RENDERED, &[member]], &at, &mut faults);
            if !faults.0.is_empty() {
                return Err(Problem::invalid(faults.0));
            }
            item.retain(|name, _| own.contains(&name.as_str()) && name != member);
            if !item.is_empty() {
                Box::pin(verbs::correct::<C>(tx, *seq, item, None)).await.map_err(|p| under(&at, p))?;
            }
        } else {
            item.insert(member.to_owned(), parent_id.to_string().into());
            let mut draft = Draft::<C::Body>::read(&with_time(item, common), tx.now(), false).map_err(|p| under(&at, p))?;
            let mut asks = Asks::default();
            asks.add_draft(&mut draft);
            let mut faults = Vec::new();
            asks.look(tx, None).await?.fill(&mut draft, &mut faults);
            if !faults.is_empty() {
                return Err(under(&at, Problem::invalid(faults)));
            }
            Box::pin(verbs::create::<C>(tx, draft)).await.map_err(|p| under(&at, p))?;
        }
    }
    for (seq, _) in standing.iter().filter(|(seq, _)| !kept.contains(seq)) {
        // A void asks whose it is: a hand does not leave out what another found.
        let ask =
            Ask { reason: "left out of a correction".into(), cascade: false, dry_run: false, lot_short: false, if_match: None };
        void::void(tx, C::KIND, *seq, &ask, &void::InTheWay::default()).await?;
    }
    Ok(())
}

/// A correction of this turn that gives a record another time.
pub struct Moved {
    record: Seq,
    /// When it had happened, if that has changed.
    was: Option<Instant>,
}

impl Moved {
    pub(super) fn from<B>(body: &Value, entry: &Entry<B>) -> Self {
        let was = body.get("at").and_then(Value::as_str).and_then(Instant::parse);
        let precision = body.get("at_precision").and_then(Value::as_str).unwrap_or(Precision::Minute.name());
        let common = &entry.common;
        Self { record: entry.seq, was: was.filter(|at| *at != common.at || precision != common.precision.name()) }
    }
}

/// Gives the children that were sent along with a record, and so happened with it, its time
/// when that is corrected. One whose own time was corrected keeps it.
///
/// # Errors
/// What the child's room refuses.
pub async fn follow<C: Room, B>(tx: &mut WriteTx, entry: &Entry<B>, member: &str) -> Result<(), Problem> {
    let Some(was) = tx.recall::<Moved>().filter(|m| m.record == entry.seq).and_then(|m| m.was) else { return Ok(()) };
    let rows = tx
        .fetch(
            "SELECT r.seq FROM link l JOIN record r ON r.seq = l.record_seq JOIN record p ON p.seq = l.target_seq \
             WHERE l.target_seq = ? AND l.member = ? AND r.kind = ? AND r.void_ms IS NULL AND r.act_n = p.act_n AND r.at_ms = ? \
             ORDER BY r.seq",
            vec![Cell::Int(entry.seq), member.into(), C::KIND.name().into(), was.into()],
        )
        .await?;
    for row in rows {
        let mut patch = Map::new();
        patch.insert("at".into(), entry.common.at.to_string().into());
        patch.insert("at_precision".into(), entry.common.precision.name().into());
        Box::pin(verbs::correct::<C>(tx, row.int(0)?, patch, None)).await?;
    }
    Ok(())
}

fn with_time(mut item: Map<String, Value>, common: &Common) -> Value {
    if !item.contains_key("at") {
        item.insert("at".into(), common.at.to_string().into());
        item.insert("at_precision".into(), common.precision.name().into());
    }
    Value::Object(item)
}

fn under(at: &str, mut problem: Problem) -> Problem {
    for fault in &mut problem.faults {
        fault.pointer = format!("{at}{}", fault.pointer);
    }
    problem
}

async fn standing_children(tx: &mut WriteTx, kind: &str, parent: Seq, member: &str) -> Result<Vec<(Seq, Uuid)>, Problem> {
    let rows = tx
        .fetch(
            "SELECT r.seq, r.id FROM link l JOIN record r ON r.seq = l.record_seq \
             WHERE l.target_seq = ? AND l.member = ? AND r.kind = ? AND r.void_ms IS NULL ORDER BY r.seq",
            vec![Cell::Int(parent), member.into(), kind.into()],
        )
        .await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.uuid(1)?))).collect()
}
