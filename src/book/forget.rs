//! Forgetting what may not be kept: members of a record's bodies are taken out of every line
//! of the journal. The chain holds, since a line's hash covers its body only by a salted
//! digest, and the salt goes too, so that nothing can be guessed back from the digest.

use super::journal::{self, Action};
use super::verbs::standing;
use crate::db::WriteTx;
use crate::kernel::{Kind, Problem, ProblemType, Seq};
use serde_json::Value;

/// Takes members out of all that was ever said of a record.
///
/// # Errors
/// `not-found`, `already-void` when there is nothing left to correct.
pub async fn forget(tx: &mut WriteTx, kind: Kind, seq: Seq, members: &[&str], reason: &str) -> Result<(), Problem> {
    let standing = standing(tx, kind, seq).await?;
    if standing.void {
        return Err(Problem::new(ProblemType::AlreadyVoid, "The record is void."));
    }
    let mut body = standing.body.clone();
    if let Value::Object(object) = &mut body {
        for member in members {
            object.shift_remove(*member);
        }
    }
    for member in members {
        tx.push(
            "UPDATE journal SET body = json_remove(body, ?), salt = NULL \
             WHERE record_seq = ? AND body IS NOT NULL AND json_type(body, ?) IS NOT NULL",
            vec![format!("$.{member}").into(), seq.into(), format!("$.{member}").into()],
        );
    }
    let version = standing.version + 1;
    let n = journal::append(tx, seq, Action::Forget, version, Some(reason), Some(&body.to_string()));
    tx.push("UPDATE record SET version = ?, journal_n = ? WHERE seq = ?", vec![version.into(), n.into(), seq.into()]);
    Ok(())
}
