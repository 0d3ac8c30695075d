//! Lists of records: newest first, filtered, with a cursor.

use crate::db::{Cell, Read, ReadTx};
use crate::kernel::{Instant, Kind, Problem, ProblemType, Seq};
use uuid::Uuid;

/// The most a list answers at once.
pub const LIMIT_MAX: i64 = 200;
/// What it answers when not told.
pub const LIMIT_DEFAULT: i64 = 50;

/// A filter of a list: an SQL condition on `r` (the record) with its values. The SQL is
/// ours; only the values come from a caller.
#[derive(Clone, Debug)]
pub struct Filter {
    /// The condition.
    pub sql: &'static str,
    /// Its values.
    pub args: Vec<Cell>,
}

/// A page asked for.
#[derive(Clone, Debug)]
pub struct Page {
    /// How many.
    pub limit: i64,
    /// After which (at, seq) of the page before.
    pub after: Option<(i64, Seq)>,
    /// Whether void records are shown too.
    pub void: bool,
    /// Observed from here, inclusive.
    pub from: Option<Instant>,
    /// Observed up to here, exclusive.
    pub to: Option<Instant>,
}

/// A page answered.
#[derive(Clone, Debug)]
pub struct Listed {
    /// The records, newest first.
    pub seqs: Vec<Seq>,
    /// Where the next page begins.
    pub next: Option<String>,
}

impl Page {
    /// Reads a cursor.
    ///
    /// # Errors
    /// `malformed` for a text that no list gave out.
    pub fn cursor(text: &str) -> Result<(i64, Seq), Problem> {
        text.split_once('.')
            .and_then(|(at, seq)| Some((i64::from_str_radix(at, 36).ok()?, i64::from_str_radix(seq, 36).ok()?)))
            .ok_or_else(|| Problem::new(ProblemType::Malformed, "The cursor is not one that a list gave out."))
    }
    /// The cursor after a record: the inverse of [`Page::cursor`].
    #[must_use]
    pub fn mark(at: i64, seq: Seq) -> String {
        format!("{}.{}", base36(at), base36(seq))
    }
}

fn base36(n: i64) -> String {
    let mut digits = Vec::new();
    let mut rest = n.unsigned_abs();
    loop {
        let digit = u32::try_from(rest % 36).unwrap_or(0);
        digits.push(char::from_digit(digit, 36).unwrap_or('0'));
        rest /= 36;
        if rest == 0 {
            break;
        }
    }
    if n < 0 {
        digits.push('-');
    }
    digits.iter().rev().collect()
}

/// The records of a page.
///
/// # Errors
/// As the database says.
pub async fn list(read: &mut ReadTx, kind: Kind, page: &Page, filters: &[Filter]) -> Result<Listed, Problem> {
    let mut sql = String::from("SELECT r.seq, r.at_ms FROM record r WHERE r.kind = ?");
    let mut args = vec![Cell::from(kind.name())];
    if !page.void {
        sql.push_str(" AND r.void_ms IS NULL");
    }
    if let Some(from) = page.from {
        sql.push_str(" AND r.at_ms >= ?");
        args.push(from.into());
    }
    if let Some(to) = page.to {
        sql.push_str(" AND r.at_ms < ?");
        args.push(to.into());
    }
    if let Some((at, seq)) = page.after {
        sql.push_str(" AND (r.at_ms, r.seq) < (?, ?)");
        args.extend([Cell::Int(at), Cell::Int(seq)]);
    }
    for filter in filters {
        sql.push_str(" AND ");
        sql.push_str(filter.sql);
        args.extend(filter.args.iter().cloned());
    }
    sql.push_str(" ORDER BY r.at_ms DESC, r.seq DESC LIMIT ?");
    args.push(Cell::Int(page.limit + 1));
    let rows = read.fetch(&sql, args).await?;
    let more = i64::try_from(rows.len()).unwrap_or(i64::MAX) > page.limit;
    let kept = rows.len() - usize::from(more);
    let mut seqs = Vec::with_capacity(kept);
    let mut last = None;
    for row in &rows[..kept] {
        seqs.push(row.int(0)?);
        last = Some((row.int(1)?, row.int(0)?));
    }
    let next = last.filter(|_| more).map(|(at, seq)| Page::mark(at, seq));
    Ok(Listed { seqs, next })
}

/// The kind and id of a record, if there is one of that number.
///
/// # Errors
/// As the database says.
pub async fn named<R: Read>(read: &mut R, seq: Seq) -> Result<Option<(String, Uuid)>, Problem> {
    let row = read.fetch_one("SELECT kind, id FROM record WHERE seq = ?", vec![Cell::Int(seq)]).await?;
    row.map(|row| Ok((row.text(0)?, row.uuid(1)?))).transpose()
}

/// The live records of some kinds, in the order of their recording.
///
/// # Errors
/// As the database says.
pub async fn live<R: Read>(read: &mut R, kinds: &[Kind]) -> Result<Vec<(Kind, Seq)>, Problem> {
    let names: Vec<&str> = kinds.iter().map(|k| k.name()).collect();
    let rows = read
        .fetch(
            "SELECT r.kind, r.seq FROM json_each(?) k JOIN record r ON r.kind = k.value WHERE r.void_ms IS NULL ORDER BY r.seq",
            vec![serde_json::json!(names).to_string().into()],
        )
        .await?;
    rows.iter()
        .map(|row| {
            let kind = row.text(0)?;
            Ok((Kind::parse(&kind).ok_or_else(|| Problem::internal(kind))?, row.int(1)?))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cursors_read_back() {
        for (at, seq) in [(0, 1), (-5, 7), (1_764_000_000_000, 123_456_789)] {
            assert_eq!(Page::cursor(&Page::mark(at, seq)), Ok((at, seq)));
        }
        assert!(Page::cursor("nonsense").is_err());
    }
}
