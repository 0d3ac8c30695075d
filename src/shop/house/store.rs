//! SQL of the house.

use crate::db::{Cell, Read};
use crate::kernel::{Kind, Problem, Seq};

/// Every setting in force at some time, in order of its date.
pub async fn settings<R: Read>(read: &mut R) -> Result<Vec<(String, String, String)>, Problem> {
    let rows = read
        .fetch(
            "SELECT s.name, s.from_on, s.value FROM setting s JOIN record r ON r.seq = s.seq \
             WHERE r.void_ms IS NULL ORDER BY s.name, s.from_on, s.seq",
            vec![],
        )
        .await?;
    rows.iter().map(|row| Ok((row.text(0)?, row.text(1)?, row.text(2)?))).collect()
}

/// The shop's own trade entries: section, code, body.
pub async fn trade_entries<R: Read>(read: &mut R) -> Result<Vec<(String, String, String)>, Problem> {
    let rows = read
        .fetch(
            "SELECT t.section, t.code, j.body FROM trade_entry t JOIN record r ON r.seq = t.seq \
             JOIN journal j ON j.n = r.journal_n WHERE r.void_ms IS NULL ORDER BY t.seq",
            vec![],
        )
        .await?;
    rows.iter().map(|row| Ok((row.text(0)?, row.text(1)?, row.text(2)?))).collect()
}

/// Whether any record bears money.
pub async fn money_exists<R: Read>(read: &mut R) -> Result<bool, Problem> {
    let row = read
        .fetch_one(
            "SELECT EXISTS (SELECT 1 FROM record WHERE kind IN ('metal_lot', 'receipt', 'cost', 'payment') LIMIT 1)",
            Vec::<Cell>::new(),
        )
        .await?;
    row.map_or(Ok(false), |row| Ok(row.int(0)? != 0))
}

/// Every live record that something is derived from.
pub async fn derived_from<R: Read>(read: &mut R) -> Result<Vec<(Kind, Seq)>, Problem> {
    let rows = read
        .fetch(
            "SELECT kind, seq FROM record WHERE void_ms IS NULL \
             AND kind IN ('casting', 'shell', 'heat', 'metal_lot', 'receipt', 'pour') ORDER BY seq",
            Vec::<Cell>::new(),
        )
        .await?;
    rows.iter()
        .map(|row| {
            let kind = row.text(0)?;
            Ok((Kind::parse(&kind).ok_or_else(|| Problem::internal(kind))?, row.int(1)?))
        })
        .collect()
}
