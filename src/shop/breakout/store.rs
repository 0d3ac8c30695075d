//! SQL of breakouts.

use crate::book::api::ListFilter;
use crate::db::{Cell, Read};
use crate::kernel::{Kind, Problem, Seq};
use uuid::Uuid;

/// Filters of the list of findings.
pub const FINDING_FILTERS: &[ListFilter] = &[
    ListFilter::Found { name: "casting_id", kind: Kind::Casting, sql: "r.seq IN (SELECT record_seq FROM bearing WHERE on_seq = ?)" },
    ListFilter::Text { name: "code", sql: "r.seq IN (SELECT seq FROM finding WHERE code = ?)" },
];

/// The castings in a shell.
pub async fn in_shell<R: Read>(read: &mut R, shell: Seq) -> Result<Vec<(Seq, Uuid)>, Problem> {
    let rows = read
        .fetch(
            "SELECT r.seq, r.id FROM bearing b JOIN record r ON r.seq = b.on_seq AND r.kind = 'casting' \
             WHERE b.record_seq = ? ORDER BY r.seq",
            vec![Cell::Int(shell)],
        )
        .await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.uuid(1)?))).collect()
}

/// The shell a casting is in, how many castings are in it, and whether the casting has a net
/// on record other than of one record.
pub async fn place<R: Read>(read: &mut R, casting: Seq, but: Seq) -> Result<(Option<Seq>, i64, bool), Problem> {
    let row = read
        .fetch_one(
            "WITH s(seq) AS (SELECT r.seq FROM bearing b JOIN record r ON r.seq = b.record_seq AND r.kind = 'shell' \
               AND r.void_ms IS NULL WHERE b.on_seq = ? ORDER BY r.at_ms DESC LIMIT 1) \
             SELECT (SELECT seq FROM s), \
             (SELECT count(*) FROM bearing b JOIN record o ON o.seq = b.on_seq AND o.kind = 'casting' WHERE b.record_seq IN (SELECT seq FROM s)), \
             EXISTS (SELECT 1 FROM breakout k JOIN record r ON r.seq = k.seq AND r.void_ms IS NULL \
               WHERE k.casting_seq = ? AND k.net_mg IS NOT NULL AND k.seq <> ?) \
             OR EXISTS (SELECT 1 FROM cut_off k JOIN record r ON r.seq = k.seq AND r.void_ms IS NULL WHERE k.casting_seq = ? AND k.seq <> ?)",
            vec![casting.into(), casting.into(), but.into(), casting.into(), but.into()],
        )
        .await?
        .ok_or_else(|| Problem::internal("no row"))?;
    Ok((row.opt_int(0)?, row.int(1)?, row.int(2)? != 0))
}

/// The casting that a finding's breakout is of.
pub async fn casting_of<R: Read>(read: &mut R, record: Seq) -> Result<Option<Seq>, Problem> {
    let row = read
        .fetch_one(
            "SELECT l.target_seq FROM link l JOIN record r ON r.seq = l.target_seq AND r.kind = 'casting' \
             WHERE l.record_seq = ? AND l.member = 'casting_id'",
            vec![Cell::Int(record)],
        )
        .await?;
    row.map(|row| row.int(0)).transpose()
}
