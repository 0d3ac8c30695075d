//! SQL of the metal ledger.

pub mod at;
pub mod chemistry;
mod figures;
pub mod pools;

pub use figures::{
    CastingFigures, HeatFigures, OpenHeat, Taken, book_prices, casting_figures, expected, heat_figures, last_pour, on_hand,
    open_heats, taken_from, taken_within, weighings, worn, write_figures,
};

use super::lines::LedgerLine;
use crate::book::api::ListFilter;
use crate::db::{Cell, Read, Row, WriteTx};
use crate::kernel::{Instant, Kind, Mass, Money, Order, Problem, Seq};
use crate::science::ledger::{Account, Movement};
use serde_json::{Value, json};
use std::collections::BTreeSet;
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
   UNION SELECT seq FROM net WHERE kind = 2), \
 crucible(seq) AS MATERIALIZED ( \
   SELECT h.crucible_seq FROM net n CROSS JOIN ledger_heat h ON h.heat_seq = n.seq AND h.crucible_seq IS NOT NULL WHERE n.kind = 2 \
   UNION SELECT h.crucible_seq FROM net n CROSS JOIN movement m ON m.to_kind = 2 AND m.to_seq = n.seq AND m.from_kind = 2 \
     CROSS JOIN ledger_heat h ON h.heat_seq = m.from_seq AND h.crucible_seq IS NOT NULL WHERE n.kind = 2) \
 SELECT 1, r.seq, r.at_ms, h.crucible_seq, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, h.alloy, \
   json_array(json((SELECT json_group_array(DISTINCT l.owner_client_seq) FROM ledger_line e CROSS JOIN metal_lot l ON l.seq = e.lot_seq \
    CROSS JOIN record q ON q.seq = e.record_seq AND q.void_ms IS NULL WHERE e.heat_seq = n.seq AND e.event = 'charge' AND l.owner_client_seq IS NOT NULL)), \
    (SELECT group_concat(f.code) FROM practice_flag f WHERE f.record_seq = n.seq AND f.on_seq = -1), \
    coalesce((SELECT min(l.kind = 'returns') OR max(l.alloy = 'unknown') FROM ledger_line e CROSS JOIN metal_lot l ON l.seq = e.lot_seq \
    CROSS JOIN record q ON q.seq = e.record_seq AND q.void_ms IS NULL WHERE e.heat_seq = n.seq AND e.event = 'charge'), 0)) \
   FROM net n CROSS JOIN ledger_heat h ON h.heat_seq = n.seq CROSS JOIN record r ON r.seq = n.seq AND r.void_ms IS NULL WHERE n.kind = 2 \
 UNION ALL SELECT 2, s.shell_seq, s.gating_wax_mg, s.gating_mg, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, s.gating_cm3, s.gating_material, NULL \
   FROM net n CROSS JOIN ledger_shell s ON s.shell_seq = n.seq CROSS JOIN record r ON r.seq = n.seq AND r.void_ms IS NULL WHERE n.kind = 3 \
 UNION ALL SELECT 3, c.casting_seq, c.shell_seq, c.estimate_mg, c.client_seq, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, c.alloy, c.tag \
   FROM net n CROSS JOIN ledger_casting c ON c.shell_seq = n.seq WHERE n.kind = 3 \
 UNION ALL SELECT 4, e.record_seq, r.at_ms, e.part, e.heat_seq, e.shell_seq, e.casting_seq, e.lot_seq, e.pour_seq, e.m1_mg, e.m2_mg, e.m3_mg, e.m4_mg, NULL, e.event, \
   json_array(e.word, e.value_minor, p.at_ms, (SELECT group_concat(f.code) FROM practice_flag f WHERE f.record_seq = e.record_seq AND f.on_seq = -1), r.at_precision) \
   FROM source s CROSS JOIN ledger_line e ON e.record_seq = s.seq CROSS JOIN record r ON r.seq = e.record_seq AND r.void_ms IS NULL \
   LEFT JOIN record p ON p.seq = e.pour_seq \
 UNION ALL SELECT 5, m.source_seq, m.at_ms, m.line, m.order_seq, m.from_kind, m.from_seq, m.to_kind, m.to_seq, m.mass_mg, m.value_minor, m.unit_heat, m.stock, m.scrap_minor, NULL, NULL \
   FROM source s CROSS JOIN movement m ON m.source_seq = s.seq \
 UNION ALL SELECT 6, p.heat_seq, r.at_ms, r.seq, e.m4_mg, NULL, \
   (SELECT m.to_seq FROM movement m WHERE m.from_kind = 2 AND m.from_seq = p.heat_seq AND m.to_kind = 2), NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL \
   FROM crucible k CROSS JOIN ledger_heat p ON p.crucible_seq = k.seq AND p.heat_seq NOT IN (SELECT seq FROM net WHERE kind = 2) \
   CROSS JOIN ledger_line e ON e.heat_seq = p.heat_seq AND e.event = 'closing' AND e.m4_mg > 0 \
   CROSS JOIN record r ON r.seq = e.record_seq AND r.void_ms IS NULL \
 UNION ALL SELECT 7, r.seq, r.at_ms, h.crucible_seq, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL \
   FROM crucible k CROSS JOIN ledger_heat h ON h.crucible_seq = k.seq AND h.heat_seq NOT IN (SELECT seq FROM net WHERE kind = 2) \
   CROSS JOIN record r ON r.seq = h.heat_seq AND r.void_ms IS NULL \
   WHERE EXISTS (SELECT 1 FROM ledger_heat q JOIN ledger_line e ON e.heat_seq = q.heat_seq AND e.event = 'closing' AND e.m4_mg > 0 \
     WHERE q.crucible_seq = k.seq) \
 UNION ALL SELECT 8, m.to_seq, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL \
   FROM net n CROSS JOIN movement m ON m.from_kind = 2 AND m.from_seq = n.seq AND m.to_kind = 2 WHERE n.kind = 2";

/// Those of some heats that are a scrap charge: nothing but returns, or scrap that nobody knows.
///
/// # Errors
/// As the database says.
pub async fn scrap_charges<R: Read>(read: &mut R, heats: &[Seq]) -> Result<BTreeSet<Seq>, Problem> {
    let sql = "SELECT e.heat_seq FROM json_each(?) k CROSS JOIN ledger_line e ON e.heat_seq = k.value AND e.event = 'charge' \
               CROSS JOIN metal_lot l ON l.seq = e.lot_seq CROSS JOIN record r ON r.seq = e.record_seq AND r.void_ms IS NULL \
               GROUP BY 1 HAVING min(l.kind = 'returns') OR max(l.alloy = 'unknown')";
    let rows = read.fetch(sql, vec![json!(heats).to_string().into()]).await?;
    rows.iter().map(|row| row.int(0)).collect()
}

/// Those of some records that were said in spite of a refusal.
pub async fn said<R: Read>(read: &mut R, records: &[Seq], code: &str) -> Result<BTreeSet<Seq>, Problem> {
    let sql = "SELECT f.record_seq FROM json_each(?) k CROSS JOIN practice_flag f ON f.record_seq = k.value \
               WHERE f.on_seq = -1 AND f.code = ?";
    let rows = read.fetch(sql, vec![json!(records).to_string().into(), code.into()]).await?;
    rows.iter().map(|row| row.int(0)).collect()
}

/// Whether a line was written to the journal after one, before this turn, on which the ledger
/// may rest: on a record of one of these kinds, or on what holds for all.
pub async fn moved_since(tx: &mut WriteTx, journal: i64, kinds: &[Kind]) -> Result<bool, Problem> {
    let kinds: Vec<&str> = kinds.iter().chain(&[Kind::Setting, Kind::Rate, Kind::TradeEntry]).map(|kind| kind.name()).collect();
    let sql = "SELECT 1 FROM journal j CROSS JOIN record r ON r.seq = j.record_seq \
               WHERE j.n > ? AND j.n < ? AND r.kind IN (SELECT value FROM json_each(?)) LIMIT 1";
    let act = tx.act();
    Ok(tx.fetch_one(sql, vec![journal.into(), act.into(), json!(kinds).to_string().into()]).await?.is_some())
}

/// Reads a movement out of columns `at`, `line`, `order_seq`, … as `CLUSTER` gives them.
///
/// # Errors
/// As the row says.
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
        scrap: row.opt_int(13)?.map(Money::from_minor),
    };
    Ok((movement, row.int(12)? != 0))
}

/// Movements of stock from an instant on, what the lots they touch hold now, and what the
/// heats they touch had been charged with before.
pub const LATER: &str = "WITH later AS MATERIALIZED ( \
   SELECT * FROM movement WHERE stock = 1 AND (at_ms, order_seq) >= (?, ?) ORDER BY at_ms, order_seq LIMIT ?), \
 counted AS MATERIALIZED ( \
   SELECT c.seq, r.at_ms, c.lot_seq, e.m1_mg FROM count c CROSS JOIN record r ON r.seq = c.seq AND r.void_ms IS NULL \
     CROSS JOIN ledger_line e ON e.record_seq = c.seq AND e.part = 0 WHERE (r.at_ms, r.seq) >= (?, ?)), \
 lots(seq) AS (SELECT value FROM json_each(?) UNION SELECT from_seq FROM later WHERE from_kind = 1 \
   UNION SELECT to_seq FROM later WHERE to_kind = 1 UNION SELECT lot_seq FROM counted), \
 heats(seq) AS (SELECT value FROM json_each(?) UNION SELECT unit_heat FROM later WHERE unit_heat IS NOT NULL \
   UNION SELECT from_seq FROM later WHERE from_kind = 2 UNION SELECT to_seq FROM later WHERE to_kind = 2) \
 SELECT 5, source_seq, at_ms, line, order_seq, from_kind, from_seq, to_kind, to_seq, mass_mg, value_minor, unit_heat, stock, scrap_minor FROM later \
 UNION ALL SELECT 8, l.seq, coalesce(a.mass_mg, 0), coalesce(a.value_minor, 0), NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL \
   FROM lots l LEFT JOIN account a ON a.kind = 1 AND a.seq = l.seq \
 UNION ALL SELECT 9, h.seq, coalesce(sum(m.mass_mg), 0), coalesce(sum(m.value_minor), 0), NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL \
   FROM heats h LEFT JOIN movement m ON m.to_kind = 2 AND m.to_seq = h.seq AND m.from_kind IN (1, 2) \
     AND (m.at_ms, m.order_seq) < (?, ?) GROUP BY h.seq \
 UNION ALL SELECT 10, seq, at_ms, lot_seq, m1_mg, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL FROM counted";

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
                i64::from(is_stock(m)),
                m.scrap.map(Money::minor)
            ])
        })
        .collect();
    tx.push(
        "INSERT INTO movement (source_seq, line, at_ms, order_seq, from_kind, from_seq, to_kind, to_seq, mass_mg, value_minor, unit_heat, stock, scrap_minor) \
         SELECT value ->> 0, value ->> 1, value ->> 2, value ->> 3, value ->> 4, value ->> 5, value ->> 6, value ->> 7, \
         value ->> 8, value ->> 9, value ->> 10, value ->> 11, value ->> 12 FROM json_each(?)",
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

/// Kind, id and time of some records.
pub async fn named<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<(Seq, String, Uuid, Instant)>, Problem> {
    let rows = read
        .fetch(
            "SELECT r.seq, r.kind, r.id, r.at_ms FROM json_each(?) k JOIN record r ON r.seq = k.value",
            vec![json!(seqs).to_string().into()],
        )
        .await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.text(1)?, row.uuid(2)?, Instant::from_ms(row.int(3)?)))).collect()
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
         value_minor, unit_heat, stock, scrap_minor) FROM movement ORDER BY source_seq, line",
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
