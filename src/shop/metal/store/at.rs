//! What accounts hold at an instant: what they hold now less what moved since, or all that
//! moved up to then, whichever is nearer.

use crate::db::{Cell, Read};
use crate::kernel::{Instant, Mass, Money, Problem, Seq};
use uuid::Uuid;

/// What one account holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Held {
    /// The kind of account, as `science::ledger` numbers them.
    pub kind: i64,
    /// The record; 0 where there is one account of a kind, or of all of a kind.
    pub seq: Seq,
    /// Mass.
    pub mass: Mass,
    /// Value.
    pub value: Money,
}

/// What moved since an instant, turned back, on what is held now.
const BACKWARDS: &str = "moved(kind, seq, mass, value) AS ( \
   SELECT kind, seq, mass_mg, value_minor FROM account \
   UNION ALL SELECT from_kind, from_seq, mass_mg, value_minor FROM movement WHERE at_ms > ? \
   UNION ALL SELECT to_kind, to_seq, -mass_mg, -value_minor FROM movement WHERE at_ms > ?)";

/// What moved up to an instant.
const FORWARDS: &str = "moved(kind, seq, mass, value) AS ( \
   SELECT from_kind, from_seq, -mass_mg, -value_minor FROM movement WHERE at_ms <= ? \
   UNION ALL SELECT to_kind, to_seq, mass_mg, value_minor FROM movement WHERE at_ms <= ?)";

/// What is held now.
const NOW: &str = "moved(kind, seq, mass, value) AS (SELECT kind, seq, mass_mg, value_minor FROM account)";

/// The moving to add up for an instant, with its values.
///
/// # Errors
/// As the database says.
async fn moved<R: Read>(read: &mut R, at: Option<Instant>) -> Result<(&'static str, Vec<Cell>), Problem> {
    let Some(at) = at else { return Ok((NOW, Vec::new())) };
    // Both ends of the index alone.
    let ends = read.fetch_one("SELECT (SELECT min(at_ms) FROM movement), (SELECT max(at_ms) FROM movement)", vec![]).await?;
    let (first, last) = match ends {
        Some(row) => (row.opt_int(0)?.unwrap_or(0), row.opt_int(1)?.unwrap_or(0)),
        None => (0, 0),
    };
    if at.ms() >= last {
        return Ok((NOW, Vec::new()));
    }
    let nearer_the_end = last - at.ms() <= at.ms() - first;
    Ok((if nearer_the_end { BACKWARDS } else { FORWARDS }, vec![at.into(), at.into()]))
}

/// What every lot, heat, shell and casting holds that holds something, now or at an instant,
/// what happened at that instant among it.
///
/// # Errors
/// As the database says.
pub async fn held<R: Read>(read: &mut R, at: Option<Instant>) -> Result<Vec<Held>, Problem> {
    let (moved, args) = moved(read, at).await?;
    let sql = format!(
        "WITH {moved} SELECT kind, seq, sum(mass), sum(value) FROM moved WHERE kind <= 4 GROUP BY kind, seq \
         HAVING sum(mass) <> 0 OR sum(value) <> 0 ORDER BY kind, seq"
    );
    read_held(read, &sql, args).await
}

/// What all accounts of a kind hold together, now or at an instant.
///
/// # Errors
/// As the database says.
pub async fn totals<R: Read>(read: &mut R, at: Option<Instant>) -> Result<Vec<Held>, Problem> {
    let (moved, args) = moved(read, at).await?;
    let sql = format!("WITH {moved} SELECT kind, 0, sum(mass), sum(value) FROM moved GROUP BY kind ORDER BY kind");
    read_held(read, &sql, args).await
}

async fn read_held<R: Read>(read: &mut R, sql: &str, args: Vec<Cell>) -> Result<Vec<Held>, Problem> {
    let rows = read.fetch(sql, args).await?;
    rows.iter()
        .map(|row| {
            let (mass, value) = (Mass::from_mg(row.int(2)?), Money::from_minor(row.int(3)?));
            Ok(Held { kind: row.int(0)?, seq: row.int(1)?, mass, value })
        })
        .collect()
}

/// A lot as its record has it.
#[derive(Clone, Debug)]
pub struct LotRow {
    /// Its id.
    pub id: Uuid,
    /// Its alloy.
    pub alloy: String,
    /// Ingot, returns, addition.
    pub kind: String,
    /// The client it belongs to: id and name.
    pub owner: Option<(Uuid, String)>,
}

/// Some lots, in the order asked for.
///
/// # Errors
/// As the database says.
pub async fn lots<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<(Seq, LotRow)>, Problem> {
    let sql = "SELECT l.seq, r.id, l.alloy, l.kind, c.id, j.body ->> 'name' FROM json_each(?) k CROSS JOIN metal_lot l ON l.seq = k.value \
               CROSS JOIN record r ON r.seq = l.seq LEFT JOIN record c ON c.seq = l.owner_client_seq \
               LEFT JOIN journal j ON j.n = c.journal_n ORDER BY k.key";
    let rows = read.fetch(sql, vec![serde_json::json!(seqs).to_string().into()]).await?;
    rows.iter()
        .map(|row| {
            let owner = match row.opt_blob(4)? {
                Some(_) => Some((row.uuid(4)?, row.opt_text(5)?.unwrap_or_default())),
                None => None,
            };
            Ok((row.int(0)?, LotRow { id: row.uuid(1)?, alloy: row.text(2)?, kind: row.text(3)?, owner }))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::db::{Db, Options};
    use crate::kernel::Clock;

    /// Looking back goes by the index of time; only what is older than half of the book is
    /// added up from its beginning.
    #[tokio::test]
    async fn an_instant_is_found_by_the_index_of_time() {
        let dir = tempfile::tempdir().unwrap();
        let clock = Clock::fixed(Instant::parse("2026-06-01T12:00:00Z").unwrap(), 5);
        let db = Db::open(dir.path(), Options::default(), clock, &[]).await.unwrap();
        let mut read = db.read().await.unwrap();
        for moved in [BACKWARDS, FORWARDS] {
            let sql =
                format!("EXPLAIN QUERY PLAN WITH {moved} SELECT kind, seq, sum(mass), sum(value) FROM moved GROUP BY kind, seq");
            let steps = read.fetch(&sql, vec![Cell::Int(1), Cell::Int(1)]).await.unwrap();
            let steps: Vec<String> = steps.iter().map(|row| row.text(3).unwrap()).collect();
            let by_time = steps.iter().filter(|s| s.starts_with("SEARCH movement USING INDEX movement_by_time (at_ms")).count();
            assert_eq!(by_time, 2, "{steps:?}");
            assert!(!steps.iter().any(|s| s.starts_with("SCAN movement")), "{steps:?}");
        }
        // What later steps of stock the ledger walks is found by it too.
        let sql = "EXPLAIN QUERY PLAN SELECT * FROM movement WHERE stock = 1 AND (at_ms, order_seq) >= (?, ?)";
        let steps = read.fetch(sql, vec![Cell::Int(1), Cell::Int(1)]).await.unwrap();
        let step = steps[0].text(3).unwrap();
        assert!(step.starts_with("SEARCH movement USING INDEX movement_by_time"), "{step}");
    }
}
