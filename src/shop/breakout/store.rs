//! SQL of breakouts.

use crate::book::api::ListFilter;
use crate::db::{Ask, Cell, Read, Row};
use crate::kernel::{Kind, Problem, Seq};
use uuid::Uuid;

/// Filters of the list of findings.
pub const FINDING_FILTERS: &[ListFilter] = &[
    ListFilter::Found {
        name: "casting_id",
        kind: Kind::Casting,
        sql: "r.seq IN (SELECT record_seq FROM bearing WHERE on_seq = ?)",
    },
    ListFilter::Text { name: "code", sql: "r.seq IN (SELECT seq FROM finding WHERE code = ?)" },
];

/// A casting in a shell.
#[derive(Clone, Copy, Debug)]
pub struct Inside {
    /// Which.
    pub seq: Seq,
    /// Its id.
    pub id: Uuid,
    /// Whether its net is on record.
    pub netted: bool,
}

/// Asks for the castings in a shell.
#[must_use]
pub fn in_shell(shell: Seq) -> Ask {
    Ask {
        sql: "SELECT r.seq, r.id, \
              EXISTS (SELECT 1 FROM breakout k JOIN record q ON q.seq = k.seq AND q.void_ms IS NULL \
                WHERE k.casting_seq = r.seq AND k.net_mg IS NOT NULL) \
              OR EXISTS (SELECT 1 FROM cut_off k JOIN record q ON q.seq = k.seq AND q.void_ms IS NULL WHERE k.casting_seq = r.seq) \
              FROM bearing b JOIN record r ON r.seq = b.on_seq AND r.kind = 'casting' WHERE b.record_seq = ? ORDER BY r.seq",
        args: vec![Cell::Int(shell)],
    }
}

/// Reads the answer of [`in_shell`].
pub fn read_inside(rows: &[Row]) -> Result<Vec<Inside>, Problem> {
    rows.iter().map(|row| Ok(Inside { seq: row.int(0)?, id: row.uuid(1)?, netted: row.int(2)? != 0 })).collect()
}

/// Asks for the shell a casting is in, how many castings are in it, and whether the casting
/// has a net on record other than of one record.
#[must_use]
pub fn place(casting: Seq, but: Seq) -> Ask {
    Ask {
        sql: "WITH s(seq) AS (SELECT r.seq FROM bearing b CROSS JOIN record r ON r.seq = b.record_seq AND r.kind = 'shell' \
                AND r.void_ms IS NULL WHERE b.on_seq = ? ORDER BY r.at_ms DESC LIMIT 1) \
              SELECT (SELECT seq FROM s), \
              (SELECT count(*) FROM bearing b CROSS JOIN record o ON o.seq = b.on_seq AND o.kind = 'casting' WHERE b.record_seq IN (SELECT seq FROM s)), \
              EXISTS (SELECT 1 FROM breakout k JOIN record r ON r.seq = k.seq AND r.void_ms IS NULL \
                WHERE k.casting_seq = ? AND k.net_mg IS NOT NULL AND k.seq <> ?) \
              OR EXISTS (SELECT 1 FROM cut_off k JOIN record r ON r.seq = k.seq AND r.void_ms IS NULL WHERE k.casting_seq = ? AND k.seq <> ?)",
        args: vec![casting.into(), casting.into(), but.into(), casting.into(), but.into()],
    }
}

/// Reads the answer of [`place`].
pub fn read_place(rows: &[Row]) -> Result<(Option<Seq>, usize, bool), Problem> {
    let row = rows.first().ok_or_else(|| Problem::internal("no row"))?;
    Ok((row.opt_int(0)?, usize::try_from(row.int(1)?).map_err(Problem::internal)?, row.int(2)? != 0))
}

/// The shell of a whole tree's breakout, and the castings judged with it.
pub async fn of_tree<R: Read>(read: &mut R, tree: Seq) -> Result<(Option<Seq>, Vec<Seq>), Problem> {
    let rows = read
        .fetch(
            "SELECT t.shell_seq, (SELECT json_group_array(k.casting_seq) FROM link l \
               JOIN record r ON r.seq = l.record_seq AND r.void_ms IS NULL JOIN breakout k ON k.seq = r.seq \
               WHERE l.target_seq = t.seq AND l.member = 'shell_breakout_id') FROM shell_breakout t WHERE t.seq = ?",
            vec![Cell::Int(tree)],
        )
        .await?;
    let Some(row) = rows.first() else { return Ok((None, Vec::new())) };
    Ok((Some(row.int(0)?), serde_json::from_str(&row.text(1)?).map_err(Problem::internal)?))
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
