//! Deriving everything anew and comparing: stages, movements, accounts, figures, flags, facts.

use crate::book::{flags, list};
use crate::db::{Db, Read as _};
use crate::desk::facts;
use crate::kernel::{Actor, Kind, Problem, Role};
use crate::shop::{casting, metal};

/// Records that, touched, bring everything derived into line. Pours are not among them: what
/// was decided of one when it was recorded is not decided anew.
const KINDS: &[Kind] =
    &[Kind::Casting, Kind::Shell, Kind::Heat, Kind::MetalLot, Kind::Receipt, Kind::Count, Kind::Out, Kind::Transfer];

/// Derives everything anew and puts right what differs; answers what did.
///
/// # Errors
/// As the database says; then nothing was changed.
pub async fn run(db: &Db) -> Result<Vec<String>, Problem> {
    let before = snapshot(db).await?;
    let mut tx = db.write(Actor::new("check", Role::Owner)).await?;
    for sql in metal::WIPE.iter().chain(flags::WIPE).chain(facts::WIPE) {
        tx.push(sql, vec![]);
    }
    facts::months::keep(&mut tx).await?;
    tx.remember(metal::Decided);
    let seqs = list::live(&mut tx, KINDS).await?;
    for (kind, seq) in seqs {
        tx.touch(kind, seq);
        tx.note_acting(kind, seq, false);
    }
    for (_, piece) in list::live(&mut tx, &[Kind::Piece]).await? {
        casting::refit_piece(&mut tx, piece).await?;
    }
    tx.settle().await?;
    tx.save(()).await?;
    let after = snapshot(db).await?;
    let mut differs = Vec::new();
    for ((name, was), (_, is)) in before.iter().zip(&after) {
        let gone: Vec<&String> = was.iter().filter(|row| is.binary_search(row).is_err()).collect();
        let come: Vec<&String> = is.iter().filter(|row| was.binary_search(row).is_err()).collect();
        if !gone.is_empty() || !come.is_empty() {
            let named = named(db, &gone, &come).await?;
            differs.push(format!("{name}: {} rows stood otherwise, {} rows follow; {named}", gone.len(), come.len()));
        }
    }
    Ok(differs)
}

/// How many rows are named where they differ.
const NAMED: usize = 3;

/// The first rows that differ: the record that each begins with, and what it says.
async fn named(db: &Db, gone: &[&String], come: &[&String]) -> Result<String, Problem> {
    let mut read = db.read().await?;
    let mut out = Vec::new();
    for (rows, how) in [(gone, "stood"), (come, "follows")] {
        for row in rows.iter().take(NAMED) {
            let seq = serde_json::from_str::<Vec<serde_json::Value>>(row).ok().and_then(|row| row.first()?.as_i64());
            let record = list::named(&mut read, seq.unwrap_or_default()).await?;
            out.push(record.map_or_else(|| format!("{how} {row}"), |(kind, id)| format!("{how} of {kind} {id} {row}")));
        }
    }
    Ok(out.join(", "))
}

async fn snapshot(db: &Db) -> Result<Vec<(&'static str, Vec<String>)>, Problem> {
    let mut read = db.read().await?;
    let mut out = Vec::new();
    let derived = casting::DERIVED.iter().chain(metal::DERIVED).chain(flags::DERIVED).chain(facts::DERIVED);
    for (name, sql) in derived {
        let mut rows = read.fetch(sql, Vec::new()).await?.iter().map(|row| row.text(0)).collect::<Result<Vec<_>, _>>()?;
        rows.sort_unstable();
        out.push((*name, rows));
    }
    Ok(out)
}
