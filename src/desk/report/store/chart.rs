//! SQL of the chart of a rate over time: shells by month, and one by one.

use super::super::ask::Ask;
use super::super::factor::Factor;
use super::super::outcome::Outcome;
use super::{Base, FINDINGS, FINDINGS_OF, Parts, Rests, parts};
use crate::db::{Cell, Read};
use crate::kernel::{Instant, Problem, Seq};
use std::fmt::Write as _;

/// What joins to the shells whether they have the outcome (`hit`), with its values: a defect is
/// seen on the castings broken out that the report is of, and a shell without any is in nothing.
pub(super) fn hits(outcome: Outcome, ask: &Ask) -> (String, String, Vec<Cell>) {
    match outcome {
        Outcome::Leak => ("f.leaked".into(), String::new(), Vec::new()),
        Outcome::Short => ("f.short".into(), String::new(), Vec::new()),
        Outcome::Defect => {
            let mut args: Vec<Cell> = ask.code.iter().map(Cell::from).collect();
            let mut only = String::new();
            for (column, value) in [("pattern_seq", ask.pattern), ("commission_seq", ask.commission)] {
                if let Some(value) = value {
                    let _ = write!(only, " AND c.{column} = ?");
                    args.push(value.into());
                }
            }
            let found = if ask.code.is_some() { FINDINGS_OF } else { FINDINGS };
            let join = format!(
                " JOIN (SELECT c.shell_seq, max(n.casting_seq IS NOT NULL) AS hit FROM fact_casting c{found} \
                 WHERE c.poured = 1 AND c.opened = 1{only} GROUP BY c.shell_seq) o ON o.shell_seq = f.shell_seq"
            );
            ("o.hit".into(), join, args)
        }
    }
}

/// Shells by month, and how many of them had it.
#[must_use]
pub fn by_month(ask: &Ask, outcome: Outcome, rests: &Rests) -> (String, Vec<Cell>) {
    let (hit, join, join_args) = hits(outcome, ask);
    let Parts { level, from, condition, args } = parts(ask, Base::Shells, Some(Factor::Month), rests, &join, &join_args);
    (format!("SELECT CAST({level} AS TEXT), count(*), sum({hit}) FROM {from}{condition} GROUP BY {level}"), args)
}

/// The first and the last pour that a chart tells of.
///
/// # Errors
/// As the database says.
pub async fn reach<R: Read>(read: &mut R, ask: &Ask, outcome: Outcome) -> Result<Option<(Instant, Instant)>, Problem> {
    let (_, join, join_args) = hits(outcome, ask);
    let Parts { from, condition, args, .. } = parts(ask, Base::Shells, None, &Rests::default(), &join, &join_args);
    let row = read.fetch_one(&format!("SELECT min(f.at_ms), max(f.at_ms) FROM {from}{condition}"), args).await?;
    let Some(row) = row else { return Ok(None) };
    Ok(row.opt_int(0)?.zip(row.opt_int(1)?).map(|(a, b)| (Instant::from_ms(a), Instant::from_ms(b))))
}

/// One shell poured.
#[derive(Clone, Debug)]
pub struct Poured {
    /// When.
    pub at: Instant,
    /// Whether it had it.
    pub hit: bool,
    /// Its tag.
    pub tag: String,
}

/// The newest so many shells, oldest first.
///
/// # Errors
/// As the database says.
pub async fn newest<R: Read>(read: &mut R, ask: &Ask, outcome: Outcome, most: i64) -> Result<Vec<Poured>, Problem> {
    let (hit, join, join_args) = hits(outcome, ask);
    let Parts { from, condition, mut args, .. } = parts(ask, Base::Shells, None, &Rests::default(), &join, &join_args);
    args.push(Cell::Int(most));
    let sql = format!(
        "SELECT z.at_ms, z.hit, s.tag FROM (SELECT f.at_ms, f.shell_seq, {hit} AS hit FROM {from}{condition} \
         ORDER BY f.at_ms DESC, f.shell_seq DESC LIMIT ?) z CROSS JOIN shell s ON s.seq = z.shell_seq ORDER BY z.at_ms, z.shell_seq"
    );
    let rows = read.fetch(&sql, args).await?;
    rows.iter().map(|row| Ok(Poured { at: Instant::from_ms(row.int(0)?), hit: row.int(1)? != 0, tag: row.text(2)? })).collect()
}

/// How many shells there are, and how many had it.
///
/// # Errors
/// As the database says.
pub async fn all<R: Read>(read: &mut R, ask: &Ask, outcome: Outcome) -> Result<(Seq, Seq), Problem> {
    let (hit, join, join_args) = hits(outcome, ask);
    let Parts { from, condition, args, .. } = parts(ask, Base::Shells, None, &Rests::default(), &join, &join_args);
    let row = read.fetch_one(&format!("SELECT count(*), coalesce(sum({hit}), 0) FROM {from}{condition}"), args).await?;
    row.map_or(Ok((0, 0)), |row| Ok((row.int(0)?, row.int(1)?)))
}
