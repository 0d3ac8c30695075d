//! Records found by what they refer to, or by when they happened: for those who gather from many
//! kinds at once. The body is the journal's.

use crate::db::{Cell, Read, Row};
use crate::kernel::{Instant, Kind, Problem, Seq};
use serde_json::{Value, json};
use uuid::Uuid;

/// A live record as it is found.
#[derive(Clone, Debug)]
pub struct Found {
    /// Its number.
    pub seq: Seq,
    /// Its id.
    pub id: Uuid,
    /// Its kind.
    pub kind: Kind,
    /// When it happened.
    pub at: Instant,
    /// What it says.
    pub body: Value,
}

/// A record and one that it refers to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reference {
    /// The record.
    pub record: Seq,
    /// Its kind.
    pub kind: Kind,
    /// What it refers to.
    pub target: Seq,
    /// By which member.
    pub member: String,
}

const COLUMNS: &str = "r.seq, r.id, r.kind, r.at_ms, j.body";

fn kind_of(text: String) -> Result<Kind, Problem> {
    Kind::parse(&text).ok_or_else(|| Problem::internal(format!("record kind {text}")))
}

fn found(row: &Row) -> Result<Found, Problem> {
    let body = row.opt_text(4)?.unwrap_or_else(|| "{}".into());
    Ok(Found {
        seq: row.int(0)?,
        id: row.uuid(1)?,
        kind: kind_of(row.text(2)?)?,
        at: Instant::from_ms(row.int(3)?),
        body: serde_json::from_str(&body).map_err(Problem::internal)?,
    })
}

fn names(kinds: &[Kind]) -> Cell {
    Cell::Text(json!(kinds.iter().map(|k| k.name()).collect::<Vec<_>>()).to_string())
}

fn list(seqs: &[Seq]) -> Cell {
    Cell::Text(json!(seqs).to_string())
}

/// Which live records of some kinds refer to some records, by which member; by record.
///
/// # Errors
/// As the database says.
pub async fn referring<R: Read>(read: &mut R, targets: &[Seq], kinds: &[Kind]) -> Result<Vec<Reference>, Problem> {
    let sql = "SELECT r.seq, r.kind, l.target_seq, l.member FROM json_each(?) t CROSS JOIN link l ON l.target_seq = t.value \
               CROSS JOIN record r ON r.seq = l.record_seq AND r.void_ms IS NULL \
               WHERE r.kind IN (SELECT value FROM json_each(?)) ORDER BY r.seq, l.target_seq";
    let rows = read.fetch(sql, vec![list(targets), names(kinds)]).await?;
    rows.iter()
        .map(|row| Ok(Reference { record: row.int(0)?, kind: kind_of(row.text(1)?)?, target: row.int(2)?, member: row.text(3)? }))
        .collect()
}

/// What some records refer to, by which member; by record.
///
/// # Errors
/// As the database says.
pub async fn referred<R: Read>(read: &mut R, records: &[Seq]) -> Result<Vec<Reference>, Problem> {
    let sql = "SELECT r.seq, r.kind, l.target_seq, l.member FROM json_each(?) s CROSS JOIN link l ON l.record_seq = s.value \
               CROSS JOIN record r ON r.seq = l.record_seq ORDER BY r.seq, l.target_seq";
    let rows = read.fetch(sql, vec![list(records)]).await?;
    rows.iter()
        .map(|row| Ok(Reference { record: row.int(0)?, kind: kind_of(row.text(1)?)?, target: row.int(2)?, member: row.text(3)? }))
        .collect()
}

/// Some records, those of them that are live, in the order of time.
///
/// # Errors
/// As the database says.
pub async fn by_seqs<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<Found>, Problem> {
    let sql = format!(
        "SELECT {COLUMNS} FROM json_each(?) s CROSS JOIN record r ON r.seq = s.value AND r.void_ms IS NULL \
         JOIN journal j ON j.n = r.journal_n ORDER BY r.at_ms, r.seq"
    );
    read.fetch(&sql, vec![list(seqs)]).await?.iter().map(found).collect()
}

/// The live records of some kinds from an instant up to another, that itself left out.
///
/// # Errors
/// As the database says.
pub async fn between<R: Read>(read: &mut R, kinds: &[Kind], from: Instant, to: Instant) -> Result<Vec<Found>, Problem> {
    let sql = format!(
        "SELECT {COLUMNS} FROM json_each(?) k CROSS JOIN record r ON r.kind = k.value AND r.at_ms >= ? AND r.at_ms < ? \
         AND r.void_ms IS NULL JOIN journal j ON j.n = r.journal_n ORDER BY r.at_ms, r.seq"
    );
    read.fetch(&sql, vec![names(kinds), from.into(), to.into()]).await?.iter().map(found).collect()
}
