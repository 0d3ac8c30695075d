//! Closed heats in the order of their closing.

use crate::db::{Cell, Read, Row};
use crate::kernel::{Instant, Mass, Problem, Seq};
use uuid::Uuid;

/// A named thing of the shop.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Thing {
    /// Its id.
    pub id: Uuid,
    /// Its name.
    pub name: String,
}

/// A closed heat with its figures.
#[derive(Clone, Debug)]
pub struct ClosedHeat {
    /// Its number among records.
    pub seq: Seq,
    /// Its id.
    pub id: Uuid,
    /// Its number.
    pub number: String,
    /// When it was closed.
    pub at: Instant,
    /// The record of its closing.
    pub closing: Seq,
    /// What it was poured as.
    pub alloy: String,
    /// The furnace.
    pub furnace: Thing,
    /// The crucible.
    pub crucible: Option<Thing>,
    /// Charged, a heel taken over among it.
    pub charged: Mass,
    /// Into shells.
    pub poured: Mass,
    /// Into ingot moulds.
    pub pigged: Mass,
    /// Skimmed.
    pub dross: Mass,
    /// Spilled.
    pub spilled: Mass,
    /// Left in the crucible.
    pub heel: Mass,
    /// Not explained.
    pub unexplained: Mass,
    /// Whether some pour is known only by difference.
    pub by_difference: bool,
    /// The kinds of lots it was charged from; a heel counts as returns.
    pub kinds: Vec<String>,
}

/// Which closed heats.
#[derive(Clone, Debug, Default)]
pub struct Which {
    /// Closed from here, inclusive.
    pub from: Option<Instant>,
    /// Closed up to here, exclusive.
    pub to: Option<Instant>,
    /// Poured as that.
    pub alloy: Option<String>,
    /// In that furnace.
    pub furnace: Option<Seq>,
    /// In that crucible.
    pub crucible: Option<Seq>,
}

/// The query of some closed heats, oldest first.
#[must_use]
pub fn query(which: &Which) -> (String, Vec<Cell>) {
    let mut sql = String::from(
        "SELECT h.heat_seq, r.id, g.number, q.at_ms, q.seq, h.alloy, f.name, fr.id, k.name, kr.id, h.charged_mg, h.poured_mg, \
         h.pigged_mg, h.dross_mg, h.spilled_mg, h.heel_mg, h.unexplained_mg, h.by_difference, \
         (SELECT group_concat(DISTINCT coalesce(l.kind, 'returns')) FROM movement m \
            LEFT JOIN metal_lot l ON m.from_kind = 1 AND l.seq = m.from_seq \
          WHERE m.to_kind = 2 AND m.to_seq = h.heat_seq AND m.from_kind IN (1, 2)) \
         FROM record q CROSS JOIN closing c ON c.seq = q.seq CROSS JOIN ledger_heat h ON h.heat_seq = c.heat_seq AND h.closed = 1 \
         CROSS JOIN record r ON r.seq = h.heat_seq AND r.void_ms IS NULL CROSS JOIN heat g ON g.seq = r.seq \
         CROSS JOIN thing f ON f.seq = g.furnace_seq CROSS JOIN record fr ON fr.seq = f.seq \
         LEFT JOIN thing k ON k.seq = g.crucible_seq LEFT JOIN record kr ON kr.seq = k.seq \
         WHERE q.kind = 'closing' AND q.void_ms IS NULL",
    );
    let mut args: Vec<Cell> = Vec::new();
    let mut add = |condition: &str, value: Option<Cell>| {
        if let Some(value) = value {
            sql.push_str(condition);
            args.push(value);
        }
    };
    add(" AND q.at_ms >= ?", which.from.map(Cell::from));
    add(" AND q.at_ms < ?", which.to.map(Cell::from));
    add(" AND h.alloy = ?", which.alloy.as_ref().map(Cell::from));
    add(" AND g.furnace_seq = ?", which.furnace.map(Cell::from));
    add(" AND g.crucible_seq = ?", which.crucible.map(Cell::from));
    sql.push_str(" ORDER BY q.at_ms, q.seq");
    (sql, args)
}

/// Some closed heats, oldest first.
///
/// # Errors
/// As the database says.
pub async fn heats<R: Read>(read: &mut R, which: &Which) -> Result<Vec<ClosedHeat>, Problem> {
    let (sql, args) = query(which);
    read.fetch(&sql, args).await?.iter().map(heat).collect()
}

fn heat(row: &Row) -> Result<ClosedHeat, Problem> {
    let mass = |i| row.int(i).map(Mass::from_mg);
    let crucible = row.opt_text(8)?.map(|name| Ok::<_, Problem>(Thing { id: row.uuid(9)?, name })).transpose()?;
    let kinds = row.opt_text(18)?.unwrap_or_default();
    Ok(ClosedHeat {
        seq: row.int(0)?,
        id: row.uuid(1)?,
        number: row.text(2)?,
        at: Instant::from_ms(row.int(3)?),
        closing: row.int(4)?,
        alloy: row.text(5)?,
        furnace: Thing { id: row.uuid(7)?, name: row.text(6)? },
        crucible,
        charged: mass(10)?,
        poured: mass(11)?,
        pigged: mass(12)?,
        dross: mass(13)?,
        spilled: mass(14)?,
        heel: mass(15)?,
        unexplained: mass(16)?,
        by_difference: row.int(17)? != 0,
        kinds: kinds.split(',').filter(|k| !k.is_empty()).map(str::to_owned).collect(),
    })
}
