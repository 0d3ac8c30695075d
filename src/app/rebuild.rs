//! Deriving everything anew and comparing: stages, movements, accounts, figures, flags, facts.

use crate::db::{Cell, Db, Read as _};
use crate::desk::facts;
use crate::kernel::{Actor, Kind, Problem, Role, Seq};

/// Derived tables: a select of all their rows as text, in an order that depends on nothing
/// but their content.
const DERIVED: &[(&str, &str)] = &[
    ("stages of castings", "SELECT json_array(seq, stage, stage_ms, verdict, shell_seq, wax_mg) FROM casting ORDER BY seq"),
    ("movements", "SELECT json_array(source_seq, line, at_ms, order_seq, from_kind, from_seq, to_kind, to_seq, mass_mg, value_minor, unit_heat, stock) FROM movement ORDER BY source_seq, line"),
    ("accounts", "SELECT json_array(kind, seq, mass_mg, value_minor) FROM account WHERE mass_mg <> 0 OR value_minor <> 0 ORDER BY kind, seq"),
    ("heats' figures", "SELECT json_array(heat_seq, charged_mg, poured_mg, pigged_mg, dross_mg, spilled_mg, heel_mg, unexplained_mg, closed, by_difference, value_minor, standing_minor) FROM ledger_heat h JOIN record r ON r.seq = h.heat_seq AND r.void_ms IS NULL ORDER BY heat_seq"),
    ("shells' figures", "SELECT json_array(shell_seq, gating_mg, estimate_mg, poured_mg, leaked_mg, gross_mg, complete, standing_minor) FROM ledger_shell s JOIN record r ON r.seq = s.shell_seq AND r.void_ms IS NULL ORDER BY shell_seq"),
    ("castings' figures", "SELECT json_array(casting_seq, shell_seq, tag, alloy, client_seq, estimate_mg, mass_mg, net_mg, poured_mg, resting_minor, share_minor, at_unit_minor, state, provisional) FROM ledger_casting c JOIN record r ON r.seq = c.casting_seq AND r.void_ms IS NULL ORDER BY casting_seq"),
    ("flags", "SELECT json_array(f.record_seq, code, limit_text, was_text, on_seq) FROM practice_flag f JOIN record r ON r.seq = f.record_seq AND r.void_ms IS NULL WHERE on_seq <> -1 ORDER BY f.record_seq, code, on_seq"),
];

/// Derives everything anew and puts right what differs; answers what did.
///
/// # Errors
/// As the database says; then nothing was changed.
pub async fn run(db: &Db) -> Result<Vec<String>, Problem> {
    let before = snapshot(db).await?;
    let mut tx = db.write(Actor::new("check", Role::Owner)).await?;
    let derived = ["DELETE FROM movement", "DELETE FROM account", "DELETE FROM practice_flag WHERE on_seq <> -1"];
    for sql in derived.iter().chain(facts::WIPE) {
        tx.push(sql, vec![]);
    }
    let seqs: Vec<(Kind, Seq)> = tx
        .fetch(
            "SELECT kind, seq FROM record WHERE void_ms IS NULL AND kind IN ('casting', 'shell', 'heat', 'metal_lot', 'receipt') ORDER BY seq",
            Vec::<Cell>::new(),
        )
        .await?
        .iter()
        .filter_map(|row| Some((Kind::parse(&row.text(0).ok()?)?, row.int(1).ok()?)))
        .collect();
    for (kind, seq) in seqs {
        tx.touch(kind, seq);
        tx.note_acting(kind, seq, false);
    }
    tx.settle().await?;
    tx.save(()).await?;
    let after = snapshot(db).await?;
    let mut differs = Vec::new();
    for ((name, was), (_, is)) in before.iter().zip(&after) {
        let gone = was.iter().filter(|row| is.binary_search(row).is_err()).count();
        let come = is.iter().filter(|row| was.binary_search(row).is_err()).count();
        if gone + come > 0 {
            differs.push(format!("{name}: {gone} rows stood otherwise, {come} rows follow"));
        }
    }
    Ok(differs)
}

async fn snapshot(db: &Db) -> Result<Vec<(&'static str, Vec<String>)>, Problem> {
    let mut read = db.read().await?;
    let mut out = Vec::new();
    for (name, sql) in DERIVED.iter().chain(facts::DERIVED) {
        let mut rows = read.fetch(sql, Vec::new()).await?.iter().map(|row| row.text(0)).collect::<Result<Vec<_>, _>>()?;
        rows.sort_unstable();
        out.push((*name, rows));
    }
    Ok(out)
}
