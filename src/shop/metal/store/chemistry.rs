//! The movements that a lot's chemistry follows from.

use super::movement;
use crate::db::Read;
use crate::kernel::{Problem, Seq};
use crate::science::ledger::{Account, Analysis, Movement};
use serde_json::json;
use std::collections::{BTreeMap, BTreeSet};

/// What went into a lot, into the heats whose returns it took, and into the lots that those
/// were charged from, and so on; and what left those lots.
const UPSTREAM: &str = "WITH RECURSIVE up(kind, seq) AS ( \
   SELECT 1, ? \
   UNION SELECT CASE WHEN m.unit_heat IS NULL THEN m.from_kind ELSE 2 END, coalesce(m.unit_heat, m.from_seq) \
     FROM up x CROSS JOIN movement m ON m.to_kind = x.kind AND m.to_seq = x.seq \
     WHERE m.unit_heat IS NOT NULL OR m.from_kind IN (1, 2)), \
 touched(source_seq, line) AS ( \
   SELECT m.source_seq, m.line FROM up x CROSS JOIN movement m ON m.to_kind = x.kind AND m.to_seq = x.seq \
   UNION SELECT m.source_seq, m.line FROM up x CROSS JOIN movement m ON m.from_kind = x.kind AND m.from_seq = x.seq WHERE x.kind = 1) \
 SELECT 5, m.source_seq, m.at_ms, m.line, m.order_seq, m.from_kind, m.from_seq, m.to_kind, m.to_seq, m.mass_mg, m.value_minor, \
   m.unit_heat, m.stock, m.scrap_minor FROM touched t CROSS JOIN movement m ON m.source_seq = t.source_seq AND m.line = t.line";

/// Those movements, and the analyses of the lots among them by their record.
///
/// # Errors
/// As the database says.
pub async fn upstream<R: Read>(read: &mut R, lot: Seq) -> Result<(Vec<Movement>, BTreeMap<Seq, Analysis>), Problem> {
    let rows = read.fetch(UPSTREAM, vec![lot.into()]).await?;
    let movements = rows.iter().map(|row| Ok(movement(row)?.0)).collect::<Result<Vec<_>, Problem>>()?;
    let sources: BTreeSet<Seq> = movements.iter().filter(|m| m.from == Account::Outside).map(|m| m.source).collect();
    let sql = "SELECT r.seq, j.body -> 'composition' FROM json_each(?) k CROSS JOIN record r ON r.seq = k.value \
               CROSS JOIN journal j ON j.n = r.journal_n WHERE j.body -> 'composition' IS NOT NULL";
    let rows = read.fetch(sql, vec![json!(sources).to_string().into()]).await?;
    let brought = rows
        .iter()
        .map(|row| Ok((row.int(0)?, serde_json::from_str(&row.text(1)?).map_err(Problem::internal)?)))
        .collect::<Result<_, Problem>>()?;
    Ok((movements, brought))
}
