//! SQL of deliveries.

use crate::db::{Cell, Read};
use crate::kernel::{Problem, Seq};

/// Another delivered piece of the same pattern that bears the same edition mark, if any; by
/// the piece's own links and body, as the journal has them.
pub async fn mark_taken<R: Read>(read: &mut R, piece: Seq, delivery: Seq) -> Result<Option<String>, Problem> {
    let row = read
        .fetch_one(
            "SELECT j.body ->> 'edition_mark' FROM record p JOIN journal j ON j.n = p.journal_n \
             CROSS JOIN link mine ON mine.record_seq = p.seq AND mine.member = 'pattern_id' \
             CROSS JOIN link other ON other.target_seq = mine.target_seq AND other.member = 'pattern_id' AND other.record_seq <> p.seq \
             CROSS JOIN record o ON o.seq = other.record_seq AND o.kind = 'piece' AND o.void_ms IS NULL \
             JOIN journal oj ON oj.n = o.journal_n AND oj.body ->> 'edition_mark' = j.body ->> 'edition_mark' \
             JOIN delivery d ON d.piece_seq = o.seq AND d.seq <> ? JOIN record dr ON dr.seq = d.seq AND dr.void_ms IS NULL \
             WHERE p.seq = ? AND j.body ->> 'edition_mark' IS NOT NULL LIMIT 1",
            vec![delivery.into(), Cell::Int(piece)],
        )
        .await?;
    row.map(|row| row.text(0)).transpose()
}

/// Whether another certificate bears a number.
pub async fn number_taken<R: Read>(read: &mut R, number: &str, but: Seq) -> Result<bool, Problem> {
    let sql = "SELECT 1 FROM certificate c JOIN record r ON r.seq = c.seq AND r.void_ms IS NULL WHERE c.number = ? AND c.seq <> ? LIMIT 1";
    Ok(read.fetch_one(sql, vec![number.into(), Cell::Int(but)]).await?.is_some())
}
