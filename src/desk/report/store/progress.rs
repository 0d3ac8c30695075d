//! Names of what metal is being worked in.

use crate::db::Read;
use crate::kernel::{Problem, Seq};
use serde_json::json;
use uuid::Uuid;

/// Number or tag, alloy and id of a heat or a shell.
#[derive(Clone, Debug)]
pub struct Named {
    /// Which.
    pub seq: Seq,
    /// Its id.
    pub id: Uuid,
    /// Its number or tag.
    pub name: String,
}

/// The numbers of some heats.
///
/// # Errors
/// As the database says.
pub async fn heats<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<Named>, Problem> {
    let sql = "SELECT h.seq, r.id, h.number FROM json_each(?) k CROSS JOIN heat h ON h.seq = k.value CROSS JOIN record r ON r.seq = h.seq";
    named(read, sql, seqs).await
}

/// The tags of some shells.
///
/// # Errors
/// As the database says.
pub async fn shells<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<Named>, Problem> {
    let sql = "SELECT s.seq, r.id, s.tag FROM json_each(?) k CROSS JOIN shell s ON s.seq = k.value CROSS JOIN record r ON r.seq = s.seq";
    named(read, sql, seqs).await
}

/// The commissions of some pieces: by piece its id, and the commission's number.
///
/// # Errors
/// As the database says.
pub async fn pieces<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<Named>, Problem> {
    let sql = "SELECT p.seq, r.id, c.number FROM json_each(?) k CROSS JOIN piece p ON p.seq = k.value CROSS JOIN record r ON r.seq = p.seq \
               CROSS JOIN commission c ON c.seq = p.commission_seq";
    named(read, sql, seqs).await
}

async fn named<R: Read>(read: &mut R, sql: &str, seqs: &[Seq]) -> Result<Vec<Named>, Problem> {
    let rows = read.fetch(sql, vec![json!(seqs).to_string().into()]).await?;
    rows.iter().map(|row| Ok(Named { seq: row.int(0)?, id: row.uuid(1)?, name: row.text(2)? })).collect()
}
