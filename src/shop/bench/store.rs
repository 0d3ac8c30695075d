//! SQL of the bench.

use crate::db::{Ask, Cell, Read};
use crate::kernel::{Instant, Problem, Seq};

/// The most that are answered.
const MOST: i64 = 50;

/// What is away and was due back before a day: the record's id, what is done to it, with whom, the
/// day; the longest due first.
#[must_use]
pub fn overdue(today: &str) -> Ask {
    Ask {
        sql: "SELECT r.id, j.body ->> 'what', coalesce((SELECT t.name FROM link l JOIN thing t ON t.seq = l.target_seq \
                WHERE l.record_seq = o.seq AND l.member = 'supplier'), ''), o.due_back_on \
              FROM outside_work o INDEXED BY outside_work_away CROSS JOIN record r ON r.seq = o.seq AND r.void_ms IS NULL \
              CROSS JOIN journal j ON j.n = r.journal_n WHERE o.back_ms IS NULL AND o.due_back_on < ? ORDER BY o.due_back_on LIMIT ?",
        args: vec![today.into(), Cell::Int(MOST)],
    }
}

/// The patina and the number that a version has already.
pub async fn patina_of<R: Read>(read: &mut R, seq: Seq) -> Result<Option<(Seq, i64)>, Problem> {
    let row = read.fetch_one("SELECT patina_seq, version FROM patina_version WHERE seq = ?", vec![Cell::Int(seq)]).await?;
    row.map(|row| Ok((row.int(0)?, row.int(1)?))).transpose()
}

/// The highest version number a patina ever had, void ones too.
pub async fn last_patina_version<R: Read>(read: &mut R, patina: Seq) -> Result<i64, Problem> {
    let sql = "SELECT coalesce(max(version), 0) FROM patina_version WHERE patina_seq = ?";
    read.fetch_one(sql, vec![Cell::Int(patina)]).await?.map_or(Ok(0), |row| row.int(0))
}

/// The live versions of a patina with their times, oldest first.
pub async fn patina_versions<R: Read>(read: &mut R, patina: Seq) -> Result<Vec<(i64, Instant)>, Problem> {
    let sql = "SELECT v.version, r.at_ms FROM patina_version v JOIN record r ON r.seq = v.seq AND r.void_ms IS NULL \
               WHERE v.patina_seq = ? ORDER BY r.at_ms, v.seq";
    let rows = read.fetch(sql, vec![Cell::Int(patina)]).await?;
    rows.iter().map(|row| Ok((row.int(0)?, Instant::from_ms(row.int(1)?)))).collect()
}

/// The numbers of some versions.
pub async fn patina_numbers<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<(Seq, i64)>, Problem> {
    let sql = "SELECT v.seq, v.version FROM json_each(?) k JOIN patina_version v ON v.seq = k.value";
    let rows = read.fetch(sql, vec![serde_json::json!(seqs).to_string().into()]).await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.int(1)?))).collect()
}
