//! SQL of burnouts.

use crate::book::api::ListFilter;
use crate::db::Read;
use crate::kernel::{Kind, Problem, Seq};
use serde_json::json;

/// Filters of the list.
pub const FILTERS: &[ListFilter] = &[
    ListFilter::Refers { member: "kiln", kind: Kind::Kiln },
    ListFilter::Found { name: "shell_id", kind: Kind::Shell, sql: "r.seq IN (SELECT record_seq FROM bearing WHERE on_seq = ?)" },
];

/// The flags on records that bear on some shells: shell and code, each once.
///
/// # Errors
/// As the database says.
pub async fn flags<R: Read>(read: &mut R, shells: &[Seq]) -> Result<Vec<(Seq, String)>, Problem> {
    let sql = "SELECT DISTINCT b.on_seq, f.code FROM json_each(?) k CROSS JOIN bearing b ON b.on_seq = k.value \
               CROSS JOIN record r ON r.seq = b.record_seq AND r.void_ms IS NULL \
               CROSS JOIN practice_flag f ON f.record_seq = r.seq AND (f.on_seq <= 0 OR f.on_seq = b.on_seq) ORDER BY 1, 2";
    let rows = read.fetch(sql, vec![json!(shells).to_string().into()]).await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.text(1)?))).collect()
}
