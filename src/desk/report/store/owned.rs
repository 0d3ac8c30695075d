//! The movements that a client's metal may be in.

use crate::db::Read;
use crate::kernel::{Problem, Seq};
use crate::science::ledger::{Movement, Owner, SHOP};
use crate::shop::metal::movement;
use serde_json::json;
use std::collections::BTreeMap;
use uuid::Uuid;

/// Every movement of the client's lots, and of the heats, shells and castings that are
/// connected with them by metal, in either direction: whose metal is in a heat depends on
/// the heel it took, and on what else was poured into its shells.
const CONNECTED: &str = "WITH RECURSIVE reach(kind, seq) AS ( \
   SELECT 1, seq FROM metal_lot WHERE owner_client_seq = ? \
   UNION SELECT m.to_kind, m.to_seq FROM reach x CROSS JOIN movement m ON m.from_kind = x.kind AND m.from_seq = x.seq \
     WHERE m.to_kind IN (2, 3, 4) \
   UNION SELECT m.from_kind, m.from_seq FROM reach x CROSS JOIN movement m ON m.to_kind = x.kind AND m.to_seq = x.seq \
     WHERE m.from_kind IN (2, 3, 4)), \
 touched(source_seq, line) AS ( \
   SELECT m.source_seq, m.line FROM reach x CROSS JOIN movement m ON m.from_kind = x.kind AND m.from_seq = x.seq \
   UNION SELECT m.source_seq, m.line FROM reach x CROSS JOIN movement m ON m.to_kind = x.kind AND m.to_seq = x.seq) \
 SELECT 5, m.source_seq, m.at_ms, m.line, m.order_seq, m.from_kind, m.from_seq, m.to_kind, m.to_seq, m.mass_mg, m.value_minor, \
   m.unit_heat, m.stock, m.scrap_minor FROM touched t CROSS JOIN movement m ON m.source_seq = t.source_seq AND m.line = t.line \
 ORDER BY m.at_ms, m.order_seq, m.source_seq, m.line";

/// The movements that a client's metal may be in, in order.
///
/// # Errors
/// As the database says.
pub async fn movements<R: Read>(read: &mut R, client: Seq) -> Result<Vec<Movement>, Problem> {
    let rows = read.fetch(CONNECTED, vec![client.into()]).await?;
    rows.iter().map(|row| Ok(movement(row)?.0)).collect()
}

/// The owners of some lots.
///
/// # Errors
/// As the database says.
pub async fn owners<R: Read>(read: &mut R, lots: &[Seq]) -> Result<BTreeMap<Seq, Owner>, Problem> {
    let sql = "SELECT l.seq, l.owner_client_seq FROM json_each(?) k CROSS JOIN metal_lot l ON l.seq = k.value";
    let rows = read.fetch(sql, vec![json!(lots).to_string().into()]).await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.opt_int(1)?.unwrap_or(SHOP)))).collect()
}

/// The clients whose work some castings are.
///
/// # Errors
/// As the database says.
pub async fn workers<R: Read>(read: &mut R, castings: &[Seq]) -> Result<BTreeMap<Seq, Owner>, Problem> {
    let sql = "SELECT c.casting_seq, c.client_seq FROM json_each(?) k CROSS JOIN ledger_casting c ON c.casting_seq = k.value";
    let rows = read.fetch(sql, vec![json!(castings).to_string().into()]).await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.opt_int(1)?.unwrap_or(SHOP)))).collect()
}

/// Kind, id, and number or tag of some records.
///
/// # Errors
/// As the database says.
pub async fn records<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<BTreeMap<Seq, (String, Uuid, Option<String>)>, Problem> {
    let sql = "SELECT r.seq, r.kind, r.id, coalesce((SELECT number FROM heat WHERE seq = r.seq), (SELECT tag FROM casting WHERE seq = r.seq), \
               (SELECT tag FROM shell WHERE seq = r.seq)) FROM json_each(?) k CROSS JOIN record r ON r.seq = k.value";
    let rows = read.fetch(sql, vec![json!(seqs).to_string().into()]).await?;
    rows.iter().map(|row| Ok((row.int(0)?, (row.text(1)?, row.uuid(2)?, row.opt_text(3)?)))).collect()
}

/// The steps in which the movements are found.
#[cfg(test)]
pub async fn plan<R: Read>(read: &mut R) -> Vec<String> {
    super::plan(read, (CONNECTED.to_owned(), vec![crate::db::Cell::Int(1)])).await
}
