//! SQL of costs: the book's links and journal alone.

use crate::db::{Read as _, ReadTx};
use crate::kernel::{Problem, Seq};

/// The pieces of a commission in order: number, id, edition mark.
pub async fn pieces(read: &mut ReadTx, commission: Seq) -> Result<Vec<(Seq, String, Option<String>)>, Problem> {
    let rows = read
        .fetch(
            "SELECT r.seq, r.id, j.body ->> 'edition_mark' FROM link l \
             JOIN record r ON r.seq = l.record_seq AND r.kind = 'piece' AND r.void_ms IS NULL JOIN journal j ON j.n = r.journal_n \
             WHERE l.target_seq = ? AND l.member = 'commission_id' ORDER BY r.seq",
            vec![commission.into()],
        )
        .await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.uuid(1)?.to_string(), row.opt_text(2)?))).collect()
}
