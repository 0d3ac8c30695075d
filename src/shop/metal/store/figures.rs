//! The figures of heats, shells and castings, as the ledger settles them.

use crate::db::{Ask, Read, Row, WriteTx};
use crate::kernel::{Instant, Mass, Money, Problem, Seq};
use crate::science::ledger::{Figures, State};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use uuid::Uuid;

/// Writes the figures of heats, shells and castings.
pub fn write_figures(tx: &mut WriteTx, figures: &Figures, shell_estimates: &[(Seq, Mass)]) {
    let heats: Vec<Value> = figures
        .heats
        .iter()
        .map(|(seq, h)| {
            let m = &h.masses;
            json!([
                seq,
                m.charged.mg(),
                m.poured.mg(),
                m.pigged.mg(),
                m.dross.mg(),
                m.spilled.mg(),
                m.heel.mg(),
                m.unexplained.mg(),
                i64::from(m.closed.is_some()),
                i64::from(m.closed_by_difference),
                h.value.minor(),
                h.standing.minor()
            ])
        })
        .collect();
    tx.push(
        "UPDATE ledger_heat SET charged_mg = j.value ->> 1, poured_mg = j.value ->> 2, pigged_mg = j.value ->> 3, \
         dross_mg = j.value ->> 4, spilled_mg = j.value ->> 5, heel_mg = j.value ->> 6, unexplained_mg = j.value ->> 7, \
         closed = j.value ->> 8, by_difference = j.value ->> 9, value_minor = j.value ->> 10, standing_minor = j.value ->> 11 \
         FROM json_each(?) j WHERE heat_seq = j.value ->> 0",
        vec![Value::Array(heats).to_string().into()],
    );
    let estimate = |list: &[(Seq, Mass)], seq: Seq| list.iter().find(|(s, _)| *s == seq).map_or(0, |(_, m)| m.mg());
    let shells: Vec<Value> = figures
        .shells
        .iter()
        .map(|(seq, s)| {
            json!([
                seq,
                estimate(shell_estimates, *seq),
                s.poured.mg(),
                s.leaked.mg(),
                s.gross.map(Mass::mg),
                i64::from(s.complete.is_some()),
                s.standing.minor()
            ])
        })
        .collect();
    tx.push(
        "UPDATE ledger_shell SET estimate_mg = j.value ->> 1, poured_mg = j.value ->> 2, leaked_mg = j.value ->> 3, \
         gross_mg = j.value ->> 4, complete = j.value ->> 5, standing_minor = j.value ->> 6 \
         FROM json_each(?) j WHERE shell_seq = j.value ->> 0",
        vec![Value::Array(shells).to_string().into()],
    );
    let castings: Vec<Value> = figures
        .castings
        .iter()
        .map(|(seq, c)| {
            let state = match c.state {
                State::Open => "open",
                State::Good => "good",
                State::Failed => "failed",
            };
            json!([
                seq,
                c.mass.mg(),
                c.net.map(Mass::mg),
                c.poured.mg(),
                c.resting.minor(),
                c.share.minor(),
                c.net_at_unit.minor(),
                state,
                i64::from(c.provisional)
            ])
        })
        .collect();
    tx.push(
        "UPDATE ledger_casting SET mass_mg = j.value ->> 1, net_mg = j.value ->> 2, \
         poured_mg = j.value ->> 3, resting_minor = j.value ->> 4, share_minor = j.value ->> 5, \
         at_unit_minor = j.value ->> 6, state = j.value ->> 7, provisional = j.value ->> 8 \
         FROM json_each(?) j WHERE casting_seq = j.value ->> 0",
        vec![Value::Array(castings).to_string().into()],
    );
}

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

/// A pour with what its shell took of it, as the ledger has it: 0 while nobody can say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Taken {
    /// The pour.
    pub pour: Seq,
    /// Its id.
    pub id: Uuid,
    /// When.
    pub at: Instant,
    /// From which heat.
    pub heat: Seq,
    /// Into which shell.
    pub shell: Seq,
    /// How much.
    pub mass: Mass,
}

const TAKEN: &str = "e.record_seq, r.at_ms, e.heat_seq, e.shell_seq, (SELECT coalesce(sum(m.mass_mg), 0) FROM movement m \
     WHERE m.source_seq = e.record_seq AND m.from_kind = 2 AND m.to_kind = 3), r.id";

/// The pours of some heats.
///
/// # Errors
/// As the database says.
pub async fn taken_from<R: Read>(read: &mut R, heats: &[Seq]) -> Result<Vec<Taken>, Problem> {
    let sql = format!(
        "SELECT {TAKEN} FROM json_each(?) k CROSS JOIN ledger_line e ON e.heat_seq = k.value AND e.event = 'pour' \
         CROSS JOIN record r ON r.seq = e.record_seq AND r.void_ms IS NULL ORDER BY r.at_ms, r.seq"
    );
    read.fetch(&sql, vec![json!(heats).to_string().into()]).await?.iter().map(taken).collect()
}

/// The pours within some spans of time, each from an instant up to another.
///
/// # Errors
/// As the database says.
pub async fn taken_within<R: Read>(read: &mut R, spans: &[(Instant, Instant)]) -> Result<Vec<Taken>, Problem> {
    let spans: Vec<Value> = spans.iter().map(|(from, to)| json!([from.ms(), to.ms()])).collect();
    let sql = format!(
        "SELECT {TAKEN} FROM json_each(?) s CROSS JOIN record r ON r.kind = 'pour' AND r.at_ms >= s.value ->> 0 \
         AND r.at_ms < s.value ->> 1 AND r.void_ms IS NULL \
         CROSS JOIN ledger_line e ON e.record_seq = r.seq AND e.event = 'pour' ORDER BY r.at_ms, r.seq"
    );
    read.fetch(&sql, vec![Value::Array(spans).to_string().into()]).await?.iter().map(taken).collect()
}

/// When the last pour was from an instant up to another.
///
/// # Errors
/// As the database says.
pub async fn last_pour<R: Read>(read: &mut R, from: Instant, to: Instant) -> Result<Option<Instant>, Problem> {
    let sql = "SELECT max(r.at_ms) FROM record r WHERE r.kind = 'pour' AND r.at_ms >= ? AND r.at_ms < ? AND r.void_ms IS NULL";
    let row = read.fetch_one(sql, vec![from.into(), to.into()]).await?;
    Ok(row.map(|row| row.opt_int(0)).transpose()?.flatten().map(Instant::from_ms))
}

fn taken(row: &Row) -> Result<Taken, Problem> {
    Ok(Taken {
        pour: row.int(0)?,
        at: Instant::from_ms(row.int(1)?),
        heat: row.int(2)?,
        shell: row.int(3)?,
        mass: Mass::from_mg(row.int(4)?),
        id: row.uuid(5)?,
    })
}

/// The crucibles in use that have at most so many heats left of those they are given: name, heats they had
/// before the book and by it, heats they are given, nothing.
#[must_use]
pub fn worn(left: i64) -> Ask {
    // The crucibles of a shop are few.
    Ask {
        sql: "SELECT name, heats, life, NULL FROM (SELECT j.body ->> 'name' AS name, j.body ->> 'life_heats' AS life, \
                coalesce(j.body ->> 'heats_before', 0) + (SELECT count(*) FROM ledger_heat h INDEXED BY ledger_heat_by_crucible \
                  CROSS JOIN record q ON q.seq = h.heat_seq AND q.void_ms IS NULL WHERE h.crucible_seq = r.seq) AS heats \
              FROM record r CROSS JOIN journal j ON j.n = r.journal_n \
              WHERE r.kind = 'crucible' AND r.void_ms IS NULL AND j.body ->> 'life_heats' IS NOT NULL AND j.body ->> 'retired_on' IS NULL) \
              WHERE heats + ? >= life ORDER BY life - heats, name LIMIT 20",
        args: vec![left.into()],
    }
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

/// The metal that some shells are expected to take, by alloy ordered: castings and gating.
///
/// # Errors
/// As the database says.
pub async fn expected<R: Read>(read: &mut R, shells: &[Seq]) -> Result<Vec<(Seq, String, Mass)>, Problem> {
    let sql = "SELECT s.shell_seq, min(c.alloy), s.gating_mg + sum(c.estimate_mg) FROM json_each(?) k \
               CROSS JOIN ledger_shell s ON s.shell_seq = k.value CROSS JOIN ledger_casting c ON c.shell_seq = s.shell_seq \
               GROUP BY s.shell_seq";
    let rows = read.fetch(sql, vec![serde_json::json!(shells).to_string().into()]).await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.text(1)?, Mass::from_mg(row.int(2)?)))).collect()
}

/// The shop's own metal on hand, by alloy.
///
/// # Errors
/// As the database says.
pub async fn on_hand<R: Read>(read: &mut R) -> Result<Vec<(String, Mass)>, Problem> {
    let sql = "SELECT l.alloy, sum(a.mass_mg) FROM account a CROSS JOIN metal_lot l ON l.seq = a.seq \
               WHERE a.kind = 1 AND a.mass_mg <> 0 AND l.owner_client_seq IS NULL GROUP BY l.alloy ORDER BY l.alloy";
    read.fetch(sql, vec![]).await?.iter().map(|row| Ok((row.text(0)?, Mass::from_mg(row.int(1)?)))).collect()
}

/// What a kg of the shop's own metal on hand stands in the book at, by alloy, in minor units.
///
/// # Errors
/// As the database says.
pub async fn book_prices<R: Read>(read: &mut R) -> Result<Vec<(String, f64)>, Problem> {
    let sql = "SELECT l.alloy, sum(a.value_minor) * 1e6 / sum(a.mass_mg) FROM account a CROSS JOIN metal_lot l ON l.seq = a.seq \
               WHERE a.kind = 1 AND a.mass_mg > 0 AND l.owner_client_seq IS NULL GROUP BY l.alloy ORDER BY l.alloy";
    read.fetch(sql, vec![]).await?.iter().map(|row| Ok((row.text(0)?, row.real(1)?))).collect()
}

/// A heat that stands open.
#[derive(Clone, Debug)]
pub struct OpenHeat {
    /// Its number in the book.
    pub heat: Seq,
    /// What it is poured as.
    pub alloy: String,
    /// Metal charged.
    pub charged: Mass,
    /// Metal poured as far as it was weighed.
    pub poured: Mass,
}

/// The heats that stand open, newest first.
///
/// # Errors
/// As the database says.
pub async fn open_heats<R: Read>(read: &mut R) -> Result<Vec<OpenHeat>, Problem> {
    let sql = "SELECT h.heat_seq, h.alloy, h.charged_mg, h.poured_mg FROM ledger_heat h INDEXED BY ledger_heat_open \
               CROSS JOIN record r ON r.seq = h.heat_seq AND r.void_ms IS NULL WHERE h.closed = 0 ORDER BY r.at_ms DESC, r.seq DESC LIMIT 20";
    let rows = read.fetch(sql, vec![]).await?;
    rows.iter()
        .map(|row| {
            let (charged, poured) = (Mass::from_mg(row.int(2)?), Mass::from_mg(row.int(3)?));
            Ok(OpenHeat { heat: row.int(0)?, alloy: row.text(1)?, charged, poured })
        })
        .collect()
}
