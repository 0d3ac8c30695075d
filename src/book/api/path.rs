//! Records named in paths and bodies.

use crate::book::common::Draft;
use crate::book::resolve::{Answers, Found, handle_of};
use crate::book::verbs;
use crate::db::{Cell, Read, WriteTx};
use crate::kernel::field::Body;
use crate::kernel::{Kind, Problem, ProblemType, Seq};
use crate::web::Ctx;
use serde_json::Value;
use uuid::Uuid;

/// The record that a part of a path names, by id, tag, number or name.
///
/// # Errors
/// `not-found`.
pub async fn find<R: Read>(read: &mut R, kind: Kind, text: &str) -> Result<Seq, Problem> {
    let row = if let Ok(id) = Uuid::parse_str(text) {
        read.fetch_one("SELECT seq FROM record WHERE id = ? AND kind = ?", vec![id.into(), kind.name().into()]).await?
    } else if let Some((space, key)) = handle_of(kind, text) {
        read.fetch_one(
            "SELECT h.record_seq FROM handle h JOIN record r ON r.seq = h.record_seq \
             WHERE h.space = ? AND h.key = ? AND r.kind = ?",
            vec![space.into(), key.into(), kind.name().into()],
        )
        .await?
    } else {
        None
    };
    row.ok_or_else(|| no_such(kind, text))?.int(0)
}

/// The id of a record.
///
/// # Errors
/// `not-found`.
pub async fn id_of<R: Read>(read: &mut R, seq: Seq) -> Result<Uuid, Problem> {
    let row = read.fetch_one("SELECT id FROM record WHERE seq = ?", vec![Cell::Int(seq)]).await?;
    row.ok_or_else(|| Problem::new(ProblemType::NotFound, "There is no such record."))?.uuid(0)
}

pub(super) fn no_such(kind: Kind, text: &str) -> Problem {
    let shown: String = text.chars().take(64).collect();
    Problem::new(ProblemType::NotFound, format!("There is no {} {shown}.", kind.name().replace('_', " ")))
}

/// The record of a path in the answers of a look-up, alive.
///
/// # Errors
/// `not-found`; `already-void` for one that is void.
pub fn in_path(answers: &Answers, kind: Kind, text: &str) -> Result<Found, Problem> {
    let found = answers.find(kind, text).ok_or_else(|| no_such(kind, text))?;
    if found.void {
        return Err(Problem::new(
            ProblemType::AlreadyVoid,
            format!("That {} is void; nothing more is recorded on it.", kind.name().replace('_', " ")),
        ));
    }
    Ok(found)
}

/// Reads a draft whose parent stands in the path.
///
/// # Errors
/// `invalid`, also when the body names the parent itself.
pub fn read_draft<B: Body>(ctx: &Ctx, at_required: bool, parent: Option<(&str, &str)>) -> Result<Draft<B>, Problem> {
    let Some((member, text)) = parent else { return Draft::read(&ctx.body, ctx.now, at_required) };
    let mut value = ctx.body.clone();
    if let Value::Object(object) = &mut value {
        if object.contains_key(member) {
            return Err(Problem::field(&format!("/{member}"), "in-path", "The path says that already; leave it out."));
        }
        object.insert(member.to_owned(), text.into());
    }
    Draft::read(&value, ctx.now, at_required)
}

/// Fills a draft's references from a look-up and checks its id.
///
/// # Errors
/// `invalid` naming every reference to nothing; `id-taken`.
pub fn fill_draft<B: Body>(answers: &Answers, draft: &mut Draft<B>) -> Result<(), Problem> {
    let mut faults = Vec::new();
    answers.fill(draft, &mut faults);
    if let Some(id) = draft.common.id
        && answers.taken(id)
    {
        return Err(Problem::new(ProblemType::IdTaken, format!("The id {id} is taken.")));
    }
    if faults.is_empty() { Ok(()) } else { Err(Problem::invalid(faults)) }
}

/// Checks `If-Match` on the record that an action is about, when it was sent.
///
/// # Errors
/// `stale`.
pub async fn check_match(tx: &mut WriteTx, kind: Kind, seq: Seq, if_match: Option<&str>) -> Result<(), Problem> {
    if if_match.is_none() {
        return Ok(());
    }
    verbs::standing(tx, kind, seq).await?.matches(if_match)
}
