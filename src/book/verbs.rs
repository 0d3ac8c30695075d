//! Recording and correcting, the same for every kind of record.

use super::common::{Common, Draft, MEMBERS};
use super::resolve::Asks;
use super::room::{Entry, Room};
use super::{children, journal, thing};
use crate::db::{Cell, Read as _, WriteTx};
use crate::kernel::field::Body;
use crate::kernel::{Kind, Problem, ProblemType, Role, Seq, json};
use serde_json::{Map, Value};
use uuid::Uuid;

/// How long a hand may correct or void what it recorded.
pub const HANDS_OWN_MS: i64 = 24 * 3_600_000;

/// What recording answers: the record, and the things made on first use.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Created {
    /// Its number.
    pub seq: Seq,
    /// Its id.
    pub id: Uuid,
    /// Things made because their names were new.
    pub first_use: Vec<(Kind, String, Uuid)>,
}

/// Records something whose references are known.
///
/// # Errors
/// What the room refuses.
pub async fn create<R: Room>(tx: &mut WriteTx, mut draft: Draft<R::Body>) -> Result<Created, Problem> {
    let first_use = Box::pin(thing::make_missing(tx, &mut draft)).await?;
    let seq = tx.deal_seq();
    let id = draft.common.id.unwrap_or_else(|| tx.clock.mint());
    let Draft { common, body } = draft;
    let mut entry = Entry { seq, id, common, body, correcting: false, columns: Vec::new(), bearing: Vec::new(), first_use };
    tx.note_acting(R::KIND, seq, false);
    tx.note_acting_at(entry.common.at);
    R::enter(tx, &mut entry).await?;
    write_new::<R>(tx, &mut entry);
    R::along(tx, &mut entry).await?;
    Ok(Created { seq, id, first_use: entry.first_use })
}

/// Records something and answers its number and id.
///
/// # Errors
/// What the room refuses.
pub async fn create_as<R: Room>(tx: &mut WriteTx, draft: Draft<R::Body>) -> Result<(Seq, Uuid), Problem> {
    create::<R>(tx, draft).await.map(|made| (made.seq, made.id))
}

/// Records something sent along with another record, of the same time and hands.
///
/// # Errors
/// What the room refuses.
pub async fn create_along<R: Room>(tx: &mut WriteTx, common: &Common, body: R::Body) -> Result<(Seq, Uuid), Problem> {
    create_as::<R>(tx, Draft { common: common.along(), body }).await
}

fn write_new<R: Room>(tx: &mut WriteTx, entry: &mut Entry<R::Body>) {
    let body = body_text(&entry.common, &entry.body);
    let n = journal::append(tx, entry.seq, journal::Action::Create, 1, None, Some(&body));
    let (now, by) = (tx.now(), tx.actor.name.clone());
    tx.push(
        "INSERT INTO record (seq, id, kind, at_ms, at_precision, recorded_ms, by, version, journal_n, act_n) \
         VALUES (?, ?, ?, ?, ?, ?, ?, 1, ?, ?)",
        vec![
            entry.seq.into(),
            entry.id.into(),
            R::KIND.name().into(),
            entry.common.at.into(),
            entry.common.precision.name().into(),
            now.into(),
            by.into(),
            n.into(),
            tx.act().into(),
        ],
    );
    project::<R>(tx, entry);
}

/// The body as the journal keeps it.
fn body_text<B: Body>(common: &Common, body: &B) -> String {
    let mut out = Map::new();
    common.write_into(&mut out);
    body.write_members(&mut out);
    Value::Object(out).to_string()
}

/// Writes the projections of a record: its table's row, links, bearings, hands.
fn project<R: Room>(tx: &mut WriteTx, entry: &mut Entry<R::Body>) {
    if !R::TABLE.is_empty() {
        tx.put(R::TABLE, entry.seq, &entry.columns);
    }
    tx.flush_late();
    let mut links: Vec<Value> = Vec::new();
    let mut see = |slot: &mut crate::kernel::field::Slot, at: &str| {
        if let Some((target, _)) = slot.found {
            let member = at.trim_start_matches('/').split('/').next().unwrap_or("").to_owned();
            links.push(serde_json::json!([target, member]));
        }
    };
    entry.body.each_ref("", &mut see);
    if !links.is_empty() {
        tx.push(
            "INSERT OR IGNORE INTO link (record_seq, target_seq, member) \
             SELECT ?, value ->> 0, value ->> 1 FROM json_each(?)",
            vec![entry.seq.into(), Value::Array(links).to_string().into()],
        );
    }
    if !entry.bearing.is_empty() {
        tx.push(
            "INSERT OR IGNORE INTO bearing (on_seq, record_seq) SELECT value, ? FROM json_each(?)",
            vec![entry.seq.into(), serde_json::json!(entry.bearing).to_string().into()],
        );
    }
    let despite: Vec<&'static str> = entry.common.despite.0.iter().map(|d| d.name()).collect();
    super::flags::write_despite(tx, entry.seq, &despite, entry.correcting);
    let hands: Vec<Seq> = entry.common.hands.0.iter().map(|h| h.0.seq()).collect();
    if !hands.is_empty() {
        tx.push(
            "INSERT OR IGNORE INTO record_hand (record_seq, hand_seq) SELECT ?, value FROM json_each(?)",
            vec![entry.seq.into(), serde_json::json!(hands).to_string().into()],
        );
    }
}

/// A record as it stands, before it is corrected or voided.
#[derive(Clone, Debug)]
pub struct Standing {
    /// Its number.
    pub seq: Seq,
    /// Its id.
    pub id: Uuid,
    /// Its kind.
    pub kind: Kind,
    /// Its version.
    pub version: i64,
    /// Who typed it.
    pub by: String,
    /// When it was recorded, in milliseconds.
    pub recorded_ms: i64,
    /// Whether it is void.
    pub void: bool,
    /// Its body as the journal has it.
    pub body: Value,
    /// What it bears on, with kinds.
    pub bearing: Vec<(Kind, Seq)>,
}

/// Reads a record as it stands. One driver call.
///
/// # Errors
/// `not-found` when there is none of that kind.
pub async fn standing(tx: &mut WriteTx, kind: Kind, seq: Seq) -> Result<Standing, Problem> {
    let row = tx
        .fetch_one(
            "SELECT r.seq, r.id, r.kind, r.version, r.by, r.recorded_ms, r.void_ms IS NOT NULL, j.body, \
             (SELECT json_group_array(json_array(o.kind, b.on_seq)) FROM bearing b JOIN record o ON o.seq = b.on_seq \
              WHERE b.record_seq = r.seq) \
             FROM record r JOIN journal j ON j.n = r.journal_n WHERE r.seq = ? AND r.kind = ?",
            vec![seq.into(), kind.name().into()],
        )
        .await?
        .ok_or_else(|| Problem::new(ProblemType::NotFound, "There is no such record."))?;
    let body = row.opt_text(7)?.unwrap_or_else(|| "{}".into());
    let bearing: Vec<(String, Seq)> = serde_json::from_str(&row.text(8)?).map_err(Problem::internal)?;
    Ok(Standing {
        seq: row.int(0)?,
        id: row.uuid(1)?,
        kind,
        version: row.int(3)?,
        by: row.text(4)?,
        recorded_ms: row.int(5)?,
        void: row.int(6)? != 0,
        body: serde_json::from_str(&body).map_err(Problem::internal)?,
        bearing: bearing.into_iter().filter_map(|(k, s)| Kind::parse(&k).map(|k| (k, s))).collect(),
    })
}

impl Standing {
    /// Whether this actor may correct or void it.
    ///
    /// # Errors
    /// `not-allowed` for a hand, of what another typed or of more than a day ago.
    pub fn may_change(&self, tx: &WriteTx) -> Result<(), Problem> {
        let own = self.by == tx.actor.name && tx.now().ms() - self.recorded_ms <= HANDS_OWN_MS;
        if tx.actor.role == Role::Owner || own {
            Ok(())
        } else {
            Err(Problem::new(
                ProblemType::NotAllowed,
                "A hand corrects and voids its own records for 24 hours; after that, or for another's, ask the owner.",
            ))
        }
    }
    /// Checks `If-Match`.
    ///
    /// # Errors
    /// `stale`, with the current etag, when the record has moved on.
    pub fn matches(&self, if_match: Option<&str>) -> Result<(), Problem> {
        let Some(given) = if_match else { return Ok(()) };
        let current = super::render::etag(self.id, self.version);
        if given.trim() == "*" || given.split(',').any(|tag| tag.trim().trim_matches('"') == current) {
            return Ok(());
        }
        Err(Problem::new(ProblemType::Stale, "The record has been changed since it was read.").with("etag", current))
    }
    /// Touches everything it bears on.
    pub fn touch(&self, tx: &mut WriteTx) {
        tx.touch(self.kind, self.seq);
        for (kind, seq) in &self.bearing {
            tx.touch(*kind, *seq);
        }
    }
}

/// Corrects a record by a merge patch. `reason` goes to the journal.
///
/// # Errors
/// `already-void`, `stale`, `not-allowed`, `invalid`, and what the room refuses.
pub async fn correct<R: Room>(
    tx: &mut WriteTx,
    seq: Seq,
    mut patch: Map<String, Value>,
    if_match: Option<&str>,
) -> Result<Created, Problem> {
    let standing = standing(tx, R::KIND, seq).await?;
    if standing.void {
        return Err(Problem::new(ProblemType::AlreadyVoid, "The record is void; a void is final."));
    }
    // What nobody had said yet may be said by anyone who logs: the kiln that another loaded comes
    // out, a casting that another broke out is judged.
    if !completes(&standing.body, &patch) {
        standing.may_change(tx)?;
    }
    standing.matches(if_match)?;
    let reason = take_reason(&mut patch)?;
    let arrays: Map<String, Value> = R::Body::child_members()
        .into_iter()
        .filter_map(|name| patch.shift_remove(name).map(|value| (name.to_owned(), value)))
        .collect();
    if patch.contains_key("id") {
        return Err(Problem::field("/id", "fixed", "An id does not change."));
    }
    let mut target = standing.body.clone();
    json::merge_patch(&mut target, &Value::Object(patch));
    let mut draft = Draft::<R::Body>::read(&target, tx.now(), R::AT_REQUIRED)?;
    let mut asks = Asks::default();
    asks.add_draft(&mut draft);
    let answers = asks.look(tx, None).await?;
    let mut faults = Vec::new();
    answers.fill(&mut draft, &mut faults);
    if !faults.is_empty() {
        return Err(Problem::invalid(faults));
    }
    let first_use = thing::make_missing(tx, &mut draft).await?;
    standing.touch(tx);
    let Draft { common, body } = draft;
    let mut entry =
        Entry { seq, id: standing.id, common, body, correcting: true, columns: Vec::new(), bearing: Vec::new(), first_use };
    tx.note_acting(R::KIND, seq, false);
    tx.note_acting_at(entry.common.at);
    R::enter(tx, &mut entry).await?;
    rewrite::<R>(tx, &mut entry, standing.version + 1, reason.as_deref());
    tx.remember(children::Moved::from(&standing.body, &entry));
    R::corrected(tx, &mut entry).await?;
    if !arrays.is_empty() {
        R::amend_children(tx, &mut entry, arrays).await?;
    }
    Ok(Created { seq, id: standing.id, first_use: entry.first_use })
}

fn rewrite<R: Room>(tx: &mut WriteTx, entry: &mut Entry<R::Body>, version: i64, reason: Option<&str>) {
    let text = body_text(&entry.common, &entry.body);
    let n = journal::append(tx, entry.seq, journal::Action::Correct, version, reason, Some(&text));
    for sql in [
        "DELETE FROM link WHERE record_seq = ?",
        "DELETE FROM bearing WHERE record_seq = ?",
        "DELETE FROM record_hand WHERE record_seq = ?",
    ] {
        tx.push(sql, vec![Cell::Int(entry.seq)]);
    }
    tx.push(
        "UPDATE record SET at_ms = ?, at_precision = ?, version = ?, journal_n = ? WHERE seq = ?",
        vec![entry.common.at.into(), entry.common.precision.name().into(), version.into(), n.into(), entry.seq.into()],
    );
    project::<R>(tx, entry);
}

/// Whether a patch only says what the record left open: members that are not there or not judged,
/// new children beside those that stand, and that what was assumed was so.
fn completes(body: &Value, patch: &Map<String, Value>) -> bool {
    patch.iter().all(|(name, value)| match name.as_str() {
        "reason" => true,
        "assumed" => value.is_null(),
        name if MEMBERS.contains(&name) => false,
        name => fills(&body[name], value),
    })
}

fn fills(was: &Value, is: &Value) -> bool {
    match (was, is) {
        (_, Value::Null) => was.is_null(),
        // Children stand apart: those named are kept, further ones are new; that none is left out
        // is looked at where they are.
        (Value::Null, Value::Array(items)) => {
            items.iter().all(|item| item.get("id").is_none() || item.as_object().is_some_and(|o| o.len() == 1))
        }
        (Value::Null, _) => true,
        (Value::String(word), _) if word == "not_judged" => true,
        (Value::Object(was), Value::Object(is)) => {
            is.iter().all(|(name, value)| fills(was.get(name).unwrap_or(&Value::Null), value))
        }
        (Value::Array(was), Value::Array(is)) => was.len() == is.len() && was.iter().zip(is).all(|(was, is)| fills(was, is)),
        (was, is) => was == is,
    }
}

/// Takes `reason` out of the body of a correction or void.
///
/// # Errors
/// `invalid` when it is not text of 1 to 500 characters.
pub fn take_reason(patch: &mut Map<String, Value>) -> Result<Option<String>, Problem> {
    match patch.shift_remove("reason") {
        None | Some(Value::Null) => Ok(None),
        Some(Value::String(text)) if !text.trim().is_empty() && text.chars().count() <= 500 => Ok(Some(text.trim().to_owned())),
        Some(_) => Err(Problem::field("/reason", "wrong-type", "Give the reason in up to 500 characters.")),
    }
}

/// The names that a correction may bear: those of the record, and `reason`.
#[must_use]
pub fn correctable<B: Body>() -> Vec<&'static str> {
    MEMBERS.iter().chain(B::members()).copied().collect()
}
