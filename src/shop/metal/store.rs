//! SQL of the metal ledger.

use super::lines::LedgerLine;
use crate::book::api::ListFilter;
use crate::db::{Ask, Cell, Read, Row, WriteTx};
use crate::kernel::{Kind, Mass, Money, Order, Problem, Seq};
use crate::science::ledger::{Account, Figures, Movement, State};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// Filters of the list of lots.
pub const FILTERS: &[ListFilter] = &[
    ListFilter::Text { name: "alloy", sql: "r.seq IN (SELECT seq FROM metal_lot WHERE alloy = ?)" },
    ListFilter::Text { name: "kind", sql: "r.seq IN (SELECT seq FROM metal_lot WHERE kind = ?)" },
    ListFilter::Refers { member: "owner_client_id", kind: Kind::Client },
];

/// Kind, alloy and owner of a lot.
pub async fn lot<R: Read>(read: &mut R, seq: Seq) -> Result<Option<(String, String, Option<Seq>)>, Problem> {
    let row = read.fetch_one("SELECT kind, alloy, owner_client_seq FROM metal_lot WHERE seq = ?", vec![Cell::Int(seq)]).await?;
    row.map(|row| Ok((row.text(0)?, row.text(1)?, row.opt_int(2)?))).transpose()
}

/// What metal goes back as: the alloy poured, and its default pool, the oldest live returns
/// lot that is not a client's.
pub type Pool = (String, Option<(Seq, Uuid)>);

/// Asks what metal out of castings goes back as.
#[must_use]
pub fn pools_of_castings(castings: &[Seq]) -> Ask {
    Ask {
        sql: "SELECT k.value, h.alloy, p.seq, p.id FROM json_each(?) k JOIN ledger_casting c ON c.casting_seq = k.value \
              JOIN ledger_line e ON e.shell_seq = c.shell_seq AND e.event = 'pour' \
              JOIN record r ON r.seq = e.record_seq AND r.void_ms IS NULL JOIN ledger_heat h ON h.heat_seq = e.heat_seq \
              LEFT JOIN record p ON p.seq = (SELECT l.seq FROM metal_lot l JOIN record lr ON lr.seq = l.seq \
                WHERE l.alloy = h.alloy AND l.kind = 'returns' AND l.owner_client_seq IS NULL AND lr.void_ms IS NULL \
                ORDER BY lr.at_ms, lr.seq LIMIT 1) \
              ORDER BY k.key, r.at_ms, r.seq",
        args: vec![json!(castings).to_string().into()],
    }
}

/// Asks what metal out of a heat goes back as.
#[must_use]
pub fn pool_of_heat(heat: Seq) -> Ask {
    Ask {
        sql: "SELECT h.heat_seq, h.alloy, p.seq, p.id FROM ledger_heat h \
              LEFT JOIN record p ON p.seq = (SELECT l.seq FROM metal_lot l JOIN record lr ON lr.seq = l.seq \
                WHERE l.alloy = h.alloy AND l.kind = 'returns' AND l.owner_client_seq IS NULL AND lr.void_ms IS NULL \
                ORDER BY lr.at_ms, lr.seq LIMIT 1) WHERE h.heat_seq = ?",
        args: vec![Cell::Int(heat)],
    }
}

/// Asks for the pool of an alloy, in the name of something.
#[must_use]
pub fn pool_of_alloy(of: Seq, alloy: &str) -> Ask {
    Ask {
        sql: "SELECT k.of, k.alloy, p.seq, p.id FROM (SELECT ? AS of, ? AS alloy) k \
              LEFT JOIN record p ON p.seq = (SELECT l.seq FROM metal_lot l JOIN record lr ON lr.seq = l.seq \
                WHERE l.alloy = k.alloy AND l.kind = 'returns' AND l.owner_client_seq IS NULL AND lr.void_ms IS NULL \
                ORDER BY lr.at_ms, lr.seq LIMIT 1)",
        args: vec![Cell::Int(of), alloy.into()],
    }
}

/// Reads the answer of [`pools_of_castings`] or [`pool_of_heat`]: of each the first pour.
pub fn read_pools(rows: &[Row]) -> Result<BTreeMap<Seq, Pool>, Problem> {
    let mut out = BTreeMap::new();
    for row in rows {
        let pool = row.opt_int(2)?.map(|seq| Ok::<_, Problem>((seq, row.uuid(3)?))).transpose()?;
        out.entry(row.int(0)?).or_insert((row.text(1)?, pool));
    }
    Ok(out)
}

/// Writes what the ledger knows of castings: tag, alloy ordered, client, estimated metal.
pub fn write_estimates(tx: &mut WriteTx, castings: &[Value], gatings: &[Value]) {
    tx.push(
        "UPDATE ledger_casting SET tag = j.value ->> 1, alloy = j.value ->> 2, client_seq = j.value ->> 3, estimate_mg = j.value ->> 4 \
         FROM json_each(?) j WHERE casting_seq = j.value ->> 0",
        vec![Value::Array(castings.to_vec()).to_string().into()],
    );
    tx.push(
        "UPDATE ledger_shell SET gating_mg = j.value ->> 1 FROM json_each(?) j WHERE shell_seq = j.value ->> 0",
        vec![Value::Array(gatings.to_vec()).to_string().into()],
    );
}

/// Everything of the clusters that touch some heats, shells and castings; see `load`.
pub const CLUSTER: &str = "WITH RECURSIVE net(kind, seq) AS ( \
   SELECT 2, value FROM json_each(?) \
   UNION SELECT 3, value FROM json_each(?) \
   UNION SELECT 3, c.shell_seq FROM json_each(?) k CROSS JOIN ledger_casting c ON c.casting_seq = k.value \
   UNION SELECT 2, e.heat_seq FROM net n CROSS JOIN ledger_line e ON e.shell_seq = n.seq AND e.event = 'pour' \
     CROSS JOIN record r ON r.seq = e.record_seq AND r.void_ms IS NULL WHERE n.kind = 3 \
   UNION SELECT 3, e.shell_seq FROM net n CROSS JOIN ledger_line e ON e.heat_seq = n.seq AND e.event = 'pour' \
     CROSS JOIN record r ON r.seq = e.record_seq AND r.void_ms IS NULL WHERE n.kind = 2), \
 source(seq) AS MATERIALIZED ( \
   SELECT e.record_seq FROM net n CROSS JOIN ledger_line e ON e.heat_seq = n.seq WHERE n.kind = 2 \
   UNION SELECT e.record_seq FROM net n CROSS JOIN ledger_line e ON e.shell_seq = n.seq WHERE n.kind = 3 \
   UNION SELECT e.record_seq FROM net n CROSS JOIN ledger_casting c ON c.shell_seq = n.seq \
     CROSS JOIN ledger_line e ON e.casting_seq = c.casting_seq WHERE n.kind = 3 \
   UNION SELECT e.record_seq FROM json_each(?) k CROSS JOIN ledger_line e ON e.casting_seq = k.value \
   UNION SELECT value FROM json_each(?) \
   UNION SELECT seq FROM net WHERE kind = 2) \
 SELECT 1, r.seq, r.at_ms, h.crucible_seq, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, h.alloy, \
   json_array(json((SELECT json_group_array(DISTINCT l.owner_client_seq) FROM ledger_line e CROSS JOIN metal_lot l ON l.seq = e.lot_seq \
    CROSS JOIN record q ON q.seq = e.record_seq AND q.void_ms IS NULL WHERE e.heat_seq = n.seq AND e.event = 'charge' AND l.owner_client_seq IS NOT NULL)), \
    (SELECT group_concat(f.code) FROM practice_flag f WHERE f.record_seq = n.seq AND f.on_seq = -1)) \
   FROM net n CROSS JOIN ledger_heat h ON h.heat_seq = n.seq CROSS JOIN record r ON r.seq = n.seq AND r.void_ms IS NULL WHERE n.kind = 2 \
 UNION ALL SELECT 2, s.shell_seq, s.gating_wax_mg, s.gating_mg, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, s.gating_cm3, s.gating_material, NULL \
   FROM net n CROSS JOIN ledger_shell s ON s.shell_seq = n.seq CROSS JOIN record r ON r.seq = n.seq AND r.void_ms IS NULL WHERE n.kind = 3 \
 UNION ALL SELECT 3, c.casting_seq, c.shell_seq, c.estimate_mg, c.client_seq, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, c.alloy, c.tag \
   FROM net n CROSS JOIN ledger_casting c ON c.shell_seq = n.seq WHERE n.kind = 3 \
 UNION ALL SELECT 4, e.record_seq, r.at_ms, e.part, e.heat_seq, e.shell_seq, e.casting_seq, e.lot_seq, e.pour_seq, e.m1_mg, e.m2_mg, e.m3_mg, e.m4_mg, NULL, e.event, \
   json_array(e.word, e.value_minor, p.at_ms, (SELECT group_concat(f.code) FROM practice_flag f WHERE f.record_seq = e.record_seq AND f.on_seq = -1), r.at_precision) \
   FROM source s CROSS JOIN ledger_line e ON e.record_seq = s.seq CROSS JOIN record r ON r.seq = e.record_seq AND r.void_ms IS NULL \
   LEFT JOIN record p ON p.seq = e.pour_seq \
 UNION ALL SELECT 5, m.source_seq, m.at_ms, m.line, m.order_seq, m.from_kind, m.from_seq, m.to_kind, m.to_seq, m.mass_mg, m.value_minor, m.unit_heat, m.stock, NULL, NULL, NULL \
   FROM source s CROSS JOIN movement m ON m.source_seq = s.seq \
 UNION ALL SELECT 6, p.heat_seq, r.at_ms, r.seq, e.m4_mg, n.seq, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL \
   FROM net n CROSS JOIN ledger_heat h ON h.heat_seq = n.seq AND h.crucible_seq IS NOT NULL \
   CROSS JOIN ledger_heat p ON p.crucible_seq = h.crucible_seq AND p.heat_seq <> h.heat_seq \
   CROSS JOIN ledger_line e ON e.heat_seq = p.heat_seq AND e.event = 'closing' AND e.m4_mg > 0 \
   CROSS JOIN record r ON r.seq = e.record_seq AND r.void_ms IS NULL WHERE n.kind = 2 \
 UNION ALL SELECT 7, r.seq, r.at_ms, h.crucible_seq, n.seq, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL \
   FROM net n CROSS JOIN ledger_heat h0 ON h0.heat_seq = n.seq AND h0.crucible_seq IS NOT NULL \
   CROSS JOIN ledger_heat h ON h.crucible_seq = h0.crucible_seq AND h.heat_seq <> n.seq \
   CROSS JOIN record r ON r.seq = h.heat_seq AND r.void_ms IS NULL WHERE n.kind = 2 \
     AND EXISTS (SELECT 1 FROM ledger_line e JOIN ledger_heat q ON q.heat_seq = e.heat_seq \
       WHERE e.event = 'closing' AND e.m4_mg > 0 AND q.crucible_seq = h0.crucible_seq) \
 UNION ALL SELECT 8, m.to_seq, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL \
   FROM net n CROSS JOIN movement m ON m.from_kind = 2 AND m.from_seq = n.seq AND m.to_kind = 2 WHERE n.kind = 2";

/// Those of some records that were said in spite of a refusal.
pub async fn said<R: Read>(read: &mut R, records: &[Seq], code: &str) -> Result<BTreeSet<Seq>, Problem> {
    let sql = "SELECT f.record_seq FROM json_each(?) k CROSS JOIN practice_flag f ON f.record_seq = k.value \
               WHERE f.on_seq = -1 AND f.code = ?";
    let rows = read.fetch(sql, vec![json!(records).to_string().into(), code.into()]).await?;
    rows.iter().map(|row| row.int(0)).collect()
}

/// Reads a movement out of columns `at`, `line`, `order_seq`, … as `CLUSTER` gives them.
pub fn movement(row: &Row) -> Result<(Movement, bool), Problem> {
    let account = |kind: usize, seq: usize| -> Result<Account, Problem> {
        let (code, number) = (row.int(kind)?, row.int(seq)?);
        let number = (code <= 4).then_some(number);
        u8::try_from(code)
            .ok()
            .and_then(|code| Account::from_code(code, number))
            .ok_or_else(|| Problem::internal(format!("account kind {code}")))
    };
    let movement = Movement {
        order: Order::new(row.int(2)?, row.int(4)?),
        source: row.int(1)?,
        line: u32::try_from(row.int(3)?).map_err(Problem::internal)?,
        from: account(5, 6)?,
        to: account(7, 8)?,
        mass: Mass::from_mg(row.int(9)?),
        value: Money::from_minor(row.int(10)?),
        unit_heat: row.opt_int(11)?,
    };
    Ok((movement, row.int(12)? != 0))
}

/// Movements of stock from an instant on, what the lots they touch hold now, and what the
/// heats they touch had been charged with before.
pub const LATER: &str = "WITH later AS MATERIALIZED ( \
   SELECT * FROM movement WHERE stock = 1 AND (at_ms, order_seq) >= (?, ?)), \
 counted AS MATERIALIZED ( \
   SELECT c.seq, r.at_ms, c.lot_seq, e.m1_mg FROM count c CROSS JOIN record r ON r.seq = c.seq AND r.void_ms IS NULL \
     CROSS JOIN ledger_line e ON e.record_seq = c.seq AND e.part = 0 WHERE (r.at_ms, r.seq) >= (?, ?)), \
 lots(seq) AS (SELECT value FROM json_each(?) UNION SELECT from_seq FROM later WHERE from_kind = 1 \
   UNION SELECT to_seq FROM later WHERE to_kind = 1 UNION SELECT lot_seq FROM counted), \
 heats(seq) AS (SELECT value FROM json_each(?) UNION SELECT unit_heat FROM later WHERE unit_heat IS NOT NULL \
   UNION SELECT from_seq FROM later WHERE from_kind = 2 UNION SELECT to_seq FROM later WHERE to_kind = 2) \
 SELECT 5, source_seq, at_ms, line, order_seq, from_kind, from_seq, to_kind, to_seq, mass_mg, value_minor, unit_heat, stock FROM later \
 UNION ALL SELECT 8, l.seq, coalesce(a.mass_mg, 0), coalesce(a.value_minor, 0), NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL \
   FROM lots l LEFT JOIN account a ON a.kind = 1 AND a.seq = l.seq \
 UNION ALL SELECT 9, h.seq, coalesce(sum(m.mass_mg), 0), coalesce(sum(m.value_minor), 0), NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL \
   FROM heats h LEFT JOIN movement m ON m.to_kind = 2 AND m.to_seq = h.seq AND m.from_kind IN (1, 2) \
     AND (m.at_ms, m.order_seq) < (?, ?) GROUP BY h.seq \
 UNION ALL SELECT 10, seq, at_ms, lot_seq, m1_mg, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL FROM counted";

/// Replaces the movements of some sources.
pub fn write_movements(tx: &mut WriteTx, sources: &[Seq], movements: &[Movement]) {
    tx.push("DELETE FROM movement WHERE source_seq IN (SELECT value FROM json_each(?))", vec![json!(sources).to_string().into()]);
    if movements.is_empty() {
        return;
    }
    let rows: Vec<Value> = movements
        .iter()
        .map(|m| {
            let ((fk, fs), (tk, ts)) = (m.from.code(), m.to.code());
            json!([
                m.source,
                m.line,
                m.order.at.ms(),
                m.order.seq,
                fk,
                fs.unwrap_or(0),
                tk,
                ts.unwrap_or(0),
                m.mass.mg(),
                m.value.minor(),
                m.unit_heat,
                i64::from(is_stock(m))
            ])
        })
        .collect();
    tx.push(
        "INSERT INTO movement (source_seq, line, at_ms, order_seq, from_kind, from_seq, to_kind, to_seq, mass_mg, value_minor, unit_heat, stock) \
         SELECT value ->> 0, value ->> 1, value ->> 2, value ->> 3, value ->> 4, value ->> 5, value ->> 6, value ->> 7, \
         value ->> 8, value ->> 9, value ->> 10, value ->> 11 FROM json_each(?)",
        vec![Value::Array(rows).to_string().into()],
    );
}

/// Whether a movement goes in or out of stock, or from heat to heat: what the walk over
/// lots must see.
#[must_use]
pub fn is_stock(m: &Movement) -> bool {
    let lot = |a: Account| matches!(a, Account::Lot(_));
    lot(m.from) || lot(m.to) || matches!((m.from, m.to), (Account::Heat(_), Account::Heat(_))) || m.unit_heat.is_some()
}

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

/// What lots hold now, and what came in when they were taken into stock.
pub async fn holdings<R: Read>(read: &mut R, lots: &[Seq]) -> Result<Vec<(Seq, Mass, Money, Mass)>, Problem> {
    let rows = read
        .fetch(
            "SELECT k.value, coalesce(a.mass_mg, 0), coalesce(a.value_minor, 0), \
             coalesce((SELECT e.m1_mg FROM ledger_line e WHERE e.record_seq = k.value AND e.part = 0), 0) FROM json_each(?) k \
             LEFT JOIN account a ON a.kind = 1 AND a.seq = k.value",
            vec![json!(lots).to_string().into()],
        )
        .await?;
    rows.iter()
        .map(|row| Ok((row.int(0)?, Mass::from_mg(row.int(1)?), Money::from_minor(row.int(2)?), Mass::from_mg(row.int(3)?))))
        .collect()
}

/// The movements in and out of a lot, oldest first: instant, source id and kind, from, to,
/// mass, value, whether it came in.
pub async fn lot_movements<R: Read>(read: &mut R, lot: Seq, after: i64, limit: i64) -> Result<Vec<Value>, Problem> {
    let rows = read
        .fetch(
            "SELECT json_array(m.at_ms, r.kind, hex(r.id), m.from_kind, m.to_kind, m.mass_mg, m.value_minor, m.to_kind = 1 AND m.to_seq = ?, \
             (SELECT json_array(o.kind, hex(o.id)) FROM record o WHERE o.seq = CASE WHEN m.to_kind = 1 AND m.to_seq = ? THEN m.from_seq ELSE m.to_seq END)) \
             FROM (SELECT * FROM movement WHERE from_kind = 1 AND from_seq = ? UNION ALL SELECT * FROM movement WHERE to_kind = 1 AND to_seq = ?) m \
             JOIN record r ON r.seq = m.source_seq ORDER BY m.at_ms, m.order_seq, m.source_seq, m.line LIMIT ? OFFSET ?",
            vec![lot.into(), lot.into(), lot.into(), lot.into(), Cell::Int(limit), Cell::Int(after)],
        )
        .await?;
    rows.iter().map(|row| serde_json::from_str(&row.text(0)?).map_err(Problem::internal)).collect()
}

/// What all accounts of a kind hold together.
pub async fn totals<R: Read>(read: &mut R) -> Result<Vec<(i64, Mass, Money)>, Problem> {
    let rows = read.fetch("SELECT kind, sum(mass_mg), sum(value_minor) FROM account GROUP BY kind", Vec::<Cell>::new()).await?;
    rows.iter().map(|row| Ok((row.int(0)?, Mass::from_mg(row.int(1)?), Money::from_minor(row.int(2)?)))).collect()
}

/// Kind and id of some records.
pub async fn named<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<(Seq, String, Uuid)>, Problem> {
    let rows = read
        .fetch(
            "SELECT r.seq, r.kind, r.id FROM json_each(?) k JOIN record r ON r.seq = k.value",
            vec![json!(seqs).to_string().into()],
        )
        .await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.text(1)?, row.uuid(2)?))).collect()
}

/// Takes away what a record said of metal.
pub fn forget_lines(tx: &mut WriteTx, record: Seq) {
    tx.push("DELETE FROM ledger_line WHERE record_seq = ?", vec![Cell::Int(record)]);
}

/// Writes one line of what a record says of metal.
pub fn write_line(tx: &mut WriteTx, record: Seq, part: i64, line: &LedgerLine) {
    let [m1, m2, m3, m4] = line.masses;
    tx.push_late(
        "INSERT INTO ledger_line (record_seq, part, event, heat_seq, shell_seq, casting_seq, lot_seq, pour_seq, \
         m1_mg, m2_mg, m3_mg, m4_mg, value_minor, word) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        vec![
            record.into(),
            part.into(),
            line.event.into(),
            line.heat.into(),
            line.shell.into(),
            line.casting.into(),
            line.lot.into(),
            line.pour.into(),
            m1.into(),
            m2.into(),
            m3.into(),
            m4.into(),
            line.value.into(),
            line.word.into(),
        ],
    );
}

/// Writes what the ledger knows of a heat.
pub fn write_heat(tx: &mut WriteTx, heat: Seq, crucible: Option<Seq>, alloy: &str) {
    tx.push_late(
        "INSERT INTO ledger_heat (heat_seq, crucible_seq, alloy) VALUES (?, ?, ?) \
         ON CONFLICT (heat_seq) DO UPDATE SET crucible_seq = excluded.crucible_seq, alloy = excluded.alloy",
        vec![heat.into(), crucible.into(), alloy.into()],
    );
}

/// Writes what the ledger knows of a shell, and which castings are in it.
pub fn write_shell(tx: &mut WriteTx, shell: Seq, gating: (Option<Mass>, Option<f64>), material: &str, castings: &[Seq]) {
    tx.push_late(
        "INSERT INTO ledger_shell (shell_seq, gating_wax_mg, gating_cm3, gating_material) VALUES (?, ?, ?, ?) \
         ON CONFLICT (shell_seq) DO UPDATE SET gating_wax_mg = excluded.gating_wax_mg, \
         gating_cm3 = excluded.gating_cm3, gating_material = excluded.gating_material",
        vec![shell.into(), gating.0.into(), gating.1.into(), material.into()],
    );
    tx.push_late("DELETE FROM ledger_casting WHERE shell_seq = ?", vec![shell.into()]);
    tx.push_late(
        "INSERT INTO ledger_casting (casting_seq, shell_seq) SELECT value, ? FROM json_each(?) WHERE true \
         ON CONFLICT (casting_seq) DO UPDATE SET shell_seq = excluded.shell_seq",
        vec![shell.into(), json!(castings).to_string().into()],
    );
}

/// What is derived here: a name, and a select of all its rows as text, for comparing with what
/// follows when it is derived anew.
pub const DERIVED: &[(&str, &str)] = &[
    (
        "movements",
        "SELECT json_array(source_seq, line, at_ms, order_seq, from_kind, from_seq, to_kind, to_seq, mass_mg, \
         value_minor, unit_heat, stock) FROM movement ORDER BY source_seq, line",
    ),
    (
        "accounts",
        "SELECT json_array(kind, seq, mass_mg, value_minor) FROM account WHERE mass_mg <> 0 OR value_minor <> 0 \
         ORDER BY kind, seq",
    ),
    (
        "heats' figures",
        "SELECT json_array(heat_seq, charged_mg, poured_mg, pigged_mg, dross_mg, spilled_mg, heel_mg, \
         unexplained_mg, closed, by_difference, value_minor, standing_minor) FROM ledger_heat h JOIN record r ON \
         r.seq = h.heat_seq AND r.void_ms IS NULL ORDER BY heat_seq",
    ),
    (
        "shells' figures",
        "SELECT json_array(shell_seq, gating_mg, estimate_mg, poured_mg, leaked_mg, gross_mg, complete, \
         standing_minor) FROM ledger_shell s JOIN record r ON r.seq = s.shell_seq AND r.void_ms IS NULL ORDER BY \
         shell_seq",
    ),
    (
        "castings' figures",
        "SELECT json_array(casting_seq, shell_seq, tag, alloy, client_seq, estimate_mg, mass_mg, net_mg, \
         poured_mg, resting_minor, share_minor, at_unit_minor, state, provisional) FROM ledger_casting c JOIN \
         record r ON r.seq = c.casting_seq AND r.void_ms IS NULL ORDER BY casting_seq",
    ),
];

/// Empties what is derived here.
pub const WIPE: &[&str] = &["DELETE FROM movement", "DELETE FROM account"];
