//! SQL of heats.

use crate::book::api::ListFilter;
use crate::db::{Cell, Read};
use crate::kernel::{Instant, Kind, Problem, Seq};
use serde_json::{Value, json};

/// Filters of the list of heats.
pub const FILTERS: &[ListFilter] = &[
    ListFilter::Text { name: "alloy", sql: "r.seq IN (SELECT seq FROM heat WHERE alloy = ?)" },
    ListFilter::Refers { member: "furnace", kind: Kind::Furnace },
    ListFilter::Refers { member: "crucible", kind: Kind::Crucible },
];

/// Number and alloy of heats that are on file already.
pub async fn numbers<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<(Seq, String, String)>, Problem> {
    let rows = read
        .fetch(
            "SELECT h.seq, h.number, h.alloy FROM json_each(?) k JOIN heat h ON h.seq = k.value",
            vec![json!(seqs).to_string().into()],
        )
        .await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.text(1)?, row.text(2)?))).collect()
}

/// The number of another heat that stands open in a crucible at an instant.
pub async fn open_in_crucible<R: Read>(read: &mut R, crucible: Seq, at: Instant, but: Seq) -> Result<Option<String>, Problem> {
    let row = read
        .fetch_one(
            "SELECT h.number FROM heat h JOIN record r ON r.seq = h.seq AND r.void_ms IS NULL \
             WHERE h.crucible_seq = ? AND h.seq <> ? AND r.at_ms <= ? AND NOT EXISTS ( \
               SELECT 1 FROM closing c JOIN record q ON q.seq = c.seq AND q.void_ms IS NULL \
               WHERE c.heat_seq = h.seq AND q.at_ms <= ?) LIMIT 1",
            vec![crucible.into(), but.into(), at.into(), at.into()],
        )
        .await?;
    row.map(|row| row.text(0)).transpose()
}

/// The shell and heat of a pour.
pub async fn shell_of_pour<R: Read>(read: &mut R, pour: Seq) -> Result<Option<(Seq, Seq)>, Problem> {
    let row = read.fetch_one("SELECT shell_seq, heat_seq FROM pour WHERE seq = ?", vec![Cell::Int(pour)]).await?;
    row.map(|row| Ok((row.int(0)?, row.int(1)?))).transpose()
}

/// What a heat is poured as, and when it was closed (lit, while open).
pub async fn alloy_and_closing<R: Read>(read: &mut R, heat: Seq) -> Result<(String, Instant), Problem> {
    let row = read
        .fetch_one(
            "SELECT h.alloy, coalesce((SELECT r.at_ms FROM closing c JOIN record r ON r.seq = c.seq AND r.void_ms IS NULL \
               WHERE c.heat_seq = h.seq ORDER BY r.at_ms LIMIT 1), (SELECT at_ms FROM record WHERE seq = h.seq)) \
             FROM heat h WHERE h.seq = ?",
            vec![Cell::Int(heat)],
        )
        .await?;
    row.map_or_else(|| Err(Problem::internal(format!("heat {heat}"))), |row| Ok((row.text(0)?, Instant::from_ms(row.int(1)?))))
}

/// The shells that were poured from a heat.
pub async fn shells_of<R: Read>(read: &mut R, heat: Seq) -> Result<Vec<Seq>, Problem> {
    let rows = read.fetch("SELECT DISTINCT shell_seq FROM pour WHERE heat_seq = ?", vec![Cell::Int(heat)]).await?;
    rows.iter().map(|row| row.int(0)).collect()
}

/// A pour of a heat, as far as a page of pours needs it.
#[derive(Clone, Debug)]
pub struct PouredShell {
    /// The pour's id.
    pub pour: uuid::Uuid,
    /// The shell.
    pub shell: Seq,
    /// What went in, where it was weighed or told by eye.
    pub mass: Option<crate::kernel::Mass>,
    /// Whether it is the first stream into that shell.
    pub first: bool,
}

/// The pours of a heat in their order.
///
/// # Errors
/// As the database says.
pub async fn pours_of<R: Read>(read: &mut R, heat: Seq) -> Result<Vec<PouredShell>, Problem> {
    let sql = "SELECT r.id, p.shell_seq, p.poured_mg, p.continues_seq IS NULL FROM pour p \
               CROSS JOIN record r ON r.seq = p.seq AND r.void_ms IS NULL \
               WHERE p.heat_seq = ? ORDER BY r.at_ms, r.seq";
    let rows = read.fetch(sql, vec![Cell::Int(heat)]).await?;
    rows.iter()
        .map(|row| {
            let mass = row.opt_int(2)?.map(crate::kernel::Mass::from_mg);
            Ok(PouredShell { pour: row.uuid(0)?, shell: row.int(1)?, mass, first: row.int(3)? != 0 })
        })
        .collect()
}

/// What was poured into some shells, as it was poured.
///
/// # Errors
/// As the database says.
pub async fn poured_as<R: Read>(read: &mut R, shells: &[Seq]) -> Result<Vec<String>, Problem> {
    let sql = "SELECT DISTINCT h.alloy FROM json_each(?) k CROSS JOIN pour p ON p.shell_seq = k.value \
               CROSS JOIN record r ON r.seq = p.seq AND r.void_ms IS NULL JOIN heat h ON h.seq = p.heat_seq";
    read.fetch(sql, vec![Cell::Text(json!(shells).to_string())]).await?.iter().map(|row| row.text(0)).collect()
}

/// A heat in a crucible.
#[derive(Clone, Debug)]
pub struct InCrucible {
    /// The heat.
    pub heat: Seq,
    /// Its crucible; none where it has none any more.
    pub crucible: Option<Seq>,
    /// What it is poured as.
    pub alloy: String,
    /// What the crucible's record says of it, at its first heat.
    pub said: Value,
}

/// Some heats that had a crucible and have none, and all live heats of some crucibles and of those that the
/// heats have or had, by crucible and time.
///
/// # Errors
/// As the database says.
pub async fn in_crucibles<R: Read>(read: &mut R, crucibles: &[Seq], heats: &[Seq]) -> Result<Vec<InCrucible>, Problem> {
    let sql = "WITH reached(crucible) AS MATERIALIZED (SELECT value FROM json_each(?) UNION \
                 SELECT c.seq FROM json_each(?) k CROSS JOIN journal j ON j.record_seq = k.value AND j.body ->> 'crucible' IS NOT NULL \
                 CROSS JOIN record c ON c.id = unhex(replace(j.body ->> 'crucible', '-', ''))) \
               SELECT h.seq, h.crucible_seq, h.alloy, NULL, 0 FROM json_each(?) k CROSS JOIN heat h ON h.seq = k.value \
                 AND h.crucible_seq IS NULL \
               UNION ALL SELECT h.seq, h.crucible_seq, h.alloy, CASE WHEN row_number() OVER (PARTITION BY h.crucible_seq ORDER BY r.at_ms, r.seq) = 1 THEN j.body END, r.at_ms FROM reached CROSS JOIN heat h ON h.crucible_seq = reached.crucible \
                 CROSS JOIN record r ON r.seq = h.seq AND r.void_ms IS NULL CROSS JOIN record c ON c.seq = h.crucible_seq \
                 CROSS JOIN journal j ON j.n = c.journal_n ORDER BY 2, 5, 1";
    let list = |seqs: &[Seq]| Cell::Text(json!(seqs).to_string());
    let rows = read.fetch(sql, vec![list(crucibles), list(heats), list(heats)]).await?;
    rows.iter()
        .map(|row| {
            let said = row.opt_text(3)?.unwrap_or_else(|| "{}".into());
            let said = serde_json::from_str(&said).map_err(Problem::internal)?;
            Ok(InCrucible { heat: row.int(0)?, crucible: row.opt_int(1)?, alloy: row.text(2)?, said })
        })
        .collect()
}
