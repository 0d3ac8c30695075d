//! Records as they are answered: envelope, body, what the room adds, children.

use crate::db::{Cell, Read, ReadTx, Row};
use crate::kernel::{Instant, Kind, Problem, ProblemType, Seq};
use serde_json::{Map, Value, json};
use std::collections::HashMap;
use std::future::Future;
use std::pin::Pin;
use uuid::Uuid;

/// Members that a room adds, by record.
pub type Added = HashMap<Seq, Map<String, Value>>;

/// The future of what a room adds.
pub type Adding<'a> = Pin<Box<dyn Future<Output = Result<Added, Problem>> + Send + 'a>>;

/// What a room adds to each of some records.
pub type Extras = for<'a> fn(&'a mut ReadTx, &'a [Seq]) -> Adding<'a>;

/// Children embedded in a record.
#[derive(Clone, Copy, Debug)]
pub struct ChildSpec {
    /// Whose children.
    pub parent: Kind,
    /// Under which name they stand in the parent.
    pub name: &'static str,
    /// What they are.
    pub child: Kind,
    /// The member of the child that refers to the parent.
    pub member: &'static str,
}

/// What `app.rs` says of the kinds: extras and children.
#[derive(Clone)]
pub struct Catalogue {
    /// What rooms add.
    pub extras: Vec<(Kind, Extras)>,
    /// What is embedded in what.
    pub children: Vec<ChildSpec>,
    /// How a record of each kind is corrected, for what corrects records of many kinds.
    pub correctors: std::sync::Arc<[(Kind, super::merging::Corrector)]>,
}

/// The etag of a record at a version.
#[must_use]
pub fn etag(id: Uuid, version: i64) -> String {
    let tail = id.as_u128() & 0xffff_ffff;
    format!("{tail:08x}-{version}")
}

/// One record.
///
/// # Errors
/// `not-found`.
pub async fn render_one(read: &mut ReadTx, catalogue: &Catalogue, seq: Seq) -> Result<Value, Problem> {
    render(read, catalogue, &[seq]).await?.pop().ok_or_else(|| Problem::new(ProblemType::NotFound, "There is no such record."))
}

/// Records in the order given, with their children.
///
/// # Errors
/// As the database says.
pub async fn render(read: &mut ReadTx, catalogue: &Catalogue, seqs: &[Seq]) -> Result<Vec<Value>, Problem> {
    // Level by level down: first what there is, then its children, to the leaves.
    let mut levels: Vec<Vec<Level>> = vec![plain(read, catalogue, seqs).await?];
    while let Some(last) = levels.last().filter(|l| !l.is_empty()) {
        let children = children_of(read, catalogue, last).await?;
        if children.is_empty() {
            break;
        }
        let seqs: Vec<Seq> = children.iter().map(|(seq, ..)| *seq).collect();
        let mut rendered = plain(read, catalogue, &seqs).await?;
        for level in &mut rendered {
            if let Some((_, parent, name)) = children.iter().find(|(seq, ..)| *seq == level.seq) {
                level.parent = Some((*parent, name));
            }
        }
        levels.push(rendered);
    }
    while levels.len() > 1 {
        let (Some(low), Some(high)) = (levels.pop(), levels.last_mut()) else { break };
        for child in low {
            let Some((parent, name)) = child.parent else { continue };
            if let Some(parent) = high.iter_mut().find(|l| l.seq == parent) {
                let slot = parent.value.entry(name.to_owned()).or_insert_with(|| json!([]));
                if let Value::Array(items) = slot {
                    items.push(Value::Object(child.value));
                }
            }
        }
    }
    Ok(levels.pop().unwrap_or_default().into_iter().map(|l| Value::Object(l.value)).collect())
}

/// Records in the order given, without their children.
///
/// # Errors
/// As the database says.
pub async fn render_bare(read: &mut ReadTx, catalogue: &Catalogue, seqs: &[Seq]) -> Result<Vec<Value>, Problem> {
    Ok(plain(read, catalogue, seqs).await?.into_iter().map(|l| Value::Object(l.value)).collect())
}

struct Level {
    seq: Seq,
    kind: Kind,
    value: Map<String, Value>,
    parent: Option<(Seq, &'static str)>,
}

async fn plain(read: &mut ReadTx, catalogue: &Catalogue, seqs: &[Seq]) -> Result<Vec<Level>, Problem> {
    if seqs.is_empty() {
        return Ok(Vec::new());
    }
    let rows = read
        .fetch(
            "SELECT r.seq, r.id, r.kind, r.at_ms, r.at_precision, r.recorded_ms, r.by, r.version, r.void_ms, \
             r.void_reason, j.body, \
             (SELECT json_group_array(json_object('code', f.code, 'limit', f.limit_text, 'was', f.was_text) \
              ORDER BY f.code, f.limit_text, f.was_text) FROM practice_flag f WHERE f.record_seq = r.seq) \
             FROM json_each(?) k JOIN record r ON r.seq = k.value JOIN journal j ON j.n = r.journal_n \
             ORDER BY k.key",
            vec![json!(seqs).to_string().into()],
        )
        .await?;
    let mut out = rows.iter().map(level).collect::<Result<Vec<_>, _>>()?;
    for (kind, extras) in &catalogue.extras {
        let of_kind: Vec<Seq> = out.iter().filter(|l| l.kind == *kind).map(|l| l.seq).collect();
        if of_kind.is_empty() {
            continue;
        }
        let mut added = extras(read, &of_kind).await?;
        for level in &mut out {
            for (name, member) in added.remove(&level.seq).into_iter().flatten() {
                // Nothing takes away what the record itself has of that name.
                if member.is_null() {
                    level.value.shift_remove(&name);
                } else {
                    level.value.insert(name, member);
                }
            }
        }
    }
    Ok(out)
}

fn level(row: &Row) -> Result<Level, Problem> {
    let kind = row.text(2)?;
    let kind = Kind::parse(&kind).ok_or_else(|| Problem::internal(format!("record kind {kind}")))?;
    let (id, version) = (row.uuid(1)?, row.int(7)?);
    let body = row.opt_text(10)?.unwrap_or_else(|| "{}".into());
    let body: Map<String, Value> = serde_json::from_str(&body).map_err(Problem::internal)?;
    let flags: Vec<Map<String, Value>> = serde_json::from_str(&row.text(11)?).map_err(Problem::internal)?;
    let flags: Vec<Value> =
        flags.into_iter().map(|f| Value::Object(f.into_iter().filter(|(_, v)| !v.is_null()).collect())).collect();
    let mut value = Map::new();
    value.insert("id".into(), id.to_string().into());
    value.insert("at".into(), Instant::from_ms(row.int(3)?).to_string().into());
    value.insert("at_precision".into(), row.text(4)?.into());
    value.insert("recorded_at".into(), Instant::from_ms(row.int(5)?).to_string().into());
    value.insert("by".into(), row.text(6)?.into());
    value.insert("hands".into(), body.get("hands").cloned().unwrap_or_else(|| json!([])));
    value.insert("practice_flags".into(), flags.into());
    value.insert("version".into(), version.into());
    value.insert("etag".into(), etag(id, version).into());
    if let Some(void_ms) = row.opt_int(8)? {
        let at = Instant::from_ms(void_ms).to_string();
        value.insert("void".into(), json!({"at": at, "reason": row.opt_text(9)?}));
    }
    for (name, member) in body {
        if !matches!(name.as_str(), "at" | "at_precision" | "hands") {
            value.insert(name, member);
        }
    }
    Ok(Level { seq: row.int(0)?, kind, value, parent: None })
}

/// Live children of some records: (child, parent, name), in order.
async fn children_of(
    read: &mut ReadTx,
    catalogue: &Catalogue,
    parents: &[Level],
) -> Result<Vec<(Seq, Seq, &'static str)>, Problem> {
    let mut out = Vec::new();
    let mut kinds: Vec<Kind> = parents.iter().map(|l| l.kind).collect();
    kinds.sort_unstable();
    kinds.dedup();
    for spec in catalogue.children.iter().filter(|s| kinds.contains(&s.parent)) {
        let of_kind: Vec<Seq> = parents.iter().filter(|l| l.kind == spec.parent).map(|l| l.seq).collect();
        let rows = read
            .fetch(
                "SELECT r.seq, l.target_seq FROM json_each(?) p \
                 CROSS JOIN link l ON l.target_seq = p.value AND l.member = ? \
                 CROSS JOIN record r ON r.seq = l.record_seq AND r.kind = ? AND r.void_ms IS NULL \
                 ORDER BY r.at_ms, r.seq LIMIT 20000",
                vec![json!(of_kind).to_string().into(), Cell::from(spec.member), Cell::from(spec.child.name())],
            )
            .await?;
        for row in rows {
            out.push((row.int(0)?, row.int(1)?, spec.name));
        }
    }
    Ok(out)
}
