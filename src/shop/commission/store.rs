//! SQL of commissions.

use crate::db::{Cell, Read};
use crate::kernel::{Problem, Seq};
use serde_json::json;

/// The numbers of some commissions.
pub async fn numbers<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<(Seq, String)>, Problem> {
    let rows = read
        .fetch(
            "SELECT c.seq, c.number FROM json_each(?) k JOIN commission c ON c.seq = k.value",
            vec![Cell::Text(json!(seqs).to_string())],
        )
        .await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.text(1)?))).collect()
}

/// The client of each of some commissions; none for the shop's own work.
///
/// # Errors
/// As the database says.
pub async fn clients<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<(Seq, Option<Seq>)>, Problem> {
    let rows = read
        .fetch(
            "SELECT c.seq, c.client_seq FROM json_each(?) k JOIN commission c ON c.seq = k.value",
            vec![Cell::Text(json!(seqs).to_string())],
        )
        .await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.opt_int(1)?))).collect()
}
