//! SQL of finding: what bears a name.

use crate::db::{Cell, Read};
use crate::kernel::{Problem, Seq};

/// Commissions, clients and patterns whose name or number has a text in it; of a client, the
/// commissions. Newest first.
///
/// # Errors
/// As the database says.
pub async fn named<R: Read>(read: &mut R, text: &str, most: i64) -> Result<Vec<Seq>, Problem> {
    let like = format!("%{}%", text.replace('\\', "\\\\").replace('%', "\\%").replace('_', "\\_"));
    let sql = "WITH hit AS MATERIALIZED ( \
         SELECT r.seq, r.kind FROM json_each('[\"commission\",\"client\",\"pattern\"]') k CROSS JOIN record r ON r.kind = k.value \
           AND r.void_ms IS NULL CROSS JOIN journal j ON j.n = r.journal_n \
         WHERE coalesce(j.body ->> 'name', j.body ->> 'title') LIKE ? ESCAPE '\\' \
         UNION SELECT h.record_seq, 'commission' FROM handle h WHERE h.space = 'commission' AND h.key LIKE ? ESCAPE '\\') \
       SELECT seq FROM hit WHERE kind <> 'client' \
       UNION SELECT l.record_seq FROM hit CROSS JOIN link l ON l.target_seq = hit.seq AND l.member = 'client_id' WHERE hit.kind = 'client' \
       ORDER BY 1 DESC LIMIT ?";
    let rows = read.fetch(sql, vec![like.as_str().into(), like.as_str().into(), Cell::Int(most)]).await?;
    rows.iter().map(|row| row.int(0)).collect()
}
