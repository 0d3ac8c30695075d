//! SQL of clients' property.

use crate::book::render::{Added, Adding};
use crate::db::{Cell, Read as _, ReadTx};
use crate::kernel::{Kind, Problem, Seq};
use serde_json::{Map, json};

/// Only what is here (`yes`), or only what went out again (`no`).
pub const HERE: &str = "r.seq IN (SELECT seq FROM property WHERE out_ms IS NULL) = (? = 'yes')";

/// Whose each thing is, by name.
pub fn extras<'a>(read: &'a mut ReadTx, seqs: &'a [Seq]) -> Adding<'a> {
    Box::pin(async move {
        let sql = "SELECT p.seq, c.name FROM json_each(?) k CROSS JOIN property p ON p.seq = k.value JOIN client c ON c.seq = p.client_seq";
        let rows = read.fetch(sql, vec![Cell::Text(json!(seqs).to_string())]).await?;
        rows.iter()
            .map(|row| {
                let mut added = Map::new();
                added.insert("client".into(), row.text(1)?.into());
                Ok((row.int(0)?, added))
            })
            .collect::<Result<Added, Problem>>()
    })
}

/// The things on record of a client.
///
/// # Errors
/// As the database says.
pub async fn of_client<R: crate::db::Read>(read: &mut R, client: Seq) -> Result<Vec<Seq>, Problem> {
    let sql = "SELECT r.seq FROM link l CROSS JOIN record r ON r.seq = l.record_seq AND r.void_ms IS NULL AND r.kind = ? \
               WHERE l.target_seq = ? AND l.member = 'client_id'";
    read.fetch(sql, vec![Kind::Property.name().into(), Cell::Int(client)]).await?.iter().map(|row| row.int(0)).collect()
}
