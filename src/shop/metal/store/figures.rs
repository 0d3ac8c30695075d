//! Figures of heats and castings, as the ledger derived them.

use crate::db::Read;
use crate::kernel::{Mass, Money, Problem, Seq};
use serde_json::json;
use std::collections::BTreeMap;

/// The figures of a heat.
#[derive(Clone, Debug)]
pub struct HeatFigures {
    /// Which.
    pub seq: Seq,
    /// Charged, poured, pigged, dross, spilled, heel, unexplained.
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
    /// Whether it is closed.
    pub closed: bool,
    /// Whether some pour is known only by difference.
    pub by_difference: bool,
    /// What was charged was worth this.
    pub value: Money,
    /// Whether nothing of it was ever charged.
    pub standing: Money,
}

/// The figures of some heats.
///
/// # Errors
/// As the database says.
pub async fn heat_figures<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<HeatFigures>, Problem> {
    let rows = read
        .fetch(
            "SELECT h.heat_seq, h.charged_mg, h.poured_mg, h.pigged_mg, h.dross_mg, h.spilled_mg, h.heel_mg, h.unexplained_mg, \
             h.closed, h.by_difference, h.value_minor, h.standing_minor FROM json_each(?) k JOIN ledger_heat h ON h.heat_seq = k.value",
            vec![json!(seqs).to_string().into()],
        )
        .await?;
    rows.iter()
        .map(|row| {
            let mass = |i| row.int(i).map(Mass::from_mg);
            Ok(HeatFigures {
                seq: row.int(0)?,
                charged: mass(1)?,
                poured: mass(2)?,
                pigged: mass(3)?,
                dross: mass(4)?,
                spilled: mass(5)?,
                heel: mass(6)?,
                unexplained: mass(7)?,
                closed: row.int(8)? != 0,
                by_difference: row.int(9)? != 0,
                value: Money::from_minor(row.int(10)?),
                standing: Money::from_minor(row.int(11)?),
            })
        })
        .collect()
}

/// How often metal was weighed for each of some heats: its charge lines, its weighed pours, its
/// closing.
///
/// # Errors
/// As the database says.
pub async fn weighings<R: Read>(read: &mut R, heats: &[Seq]) -> Result<BTreeMap<Seq, i64>, Problem> {
    let sql = "SELECT k.value, 1 + (SELECT count(*) FROM ledger_line e CROSS JOIN record r ON r.seq = e.record_seq AND r.void_ms IS NULL \
                 WHERE e.heat_seq = k.value AND (e.event = 'charge' OR e.event = 'pour' AND e.word = 'weighed')) FROM json_each(?) k";
    let rows = read.fetch(sql, vec![json!(heats).to_string().into()]).await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.int(1)?))).collect()
}

/// The figures of a casting.
#[derive(Clone, Debug)]
pub struct CastingFigures {
    /// Which.
    pub seq: Seq,
    /// Estimated metal.
    pub estimate: Mass,
    /// The mass on it now.
    pub mass: Mass,
    /// Its net.
    pub net: Option<Mass>,
    /// Its share of what was poured.
    pub poured: Mass,
    /// Its resting value.
    pub resting: Money,
    /// Its share of the value on its shell.
    pub share: Money,
    /// Its net at its heats' unit values.
    pub at_unit: Money,
    /// `open`, `good`, `failed`.
    pub state: String,
    /// Whether this may still change.
    pub provisional: bool,
}

/// The figures of some castings; none for those that never were in a shell.
///
/// # Errors
/// As the database says.
pub async fn casting_figures<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<CastingFigures>, Problem> {
    let rows = read
        .fetch(
            "SELECT c.casting_seq, c.estimate_mg, c.mass_mg, c.net_mg, c.poured_mg, c.resting_minor, c.share_minor, c.at_unit_minor, \
             c.state, c.provisional FROM json_each(?) k JOIN ledger_casting c ON c.casting_seq = k.value",
            vec![json!(seqs).to_string().into()],
        )
        .await?;
    rows.iter()
        .map(|row| {
            Ok(CastingFigures {
                seq: row.int(0)?,
                estimate: Mass::from_mg(row.int(1)?),
                mass: Mass::from_mg(row.int(2)?),
                net: row.opt_int(3)?.map(Mass::from_mg),
                poured: Mass::from_mg(row.int(4)?),
                resting: Money::from_minor(row.int(5)?),
                share: Money::from_minor(row.int(6)?),
                at_unit: Money::from_minor(row.int(7)?),
                state: row.text(8)?,
                provisional: row.int(9)? != 0,
            })
        })
        .collect()
}
