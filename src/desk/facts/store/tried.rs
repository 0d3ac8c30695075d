//! What came of some shells, and what was poured of late: for trials.

use crate::db::{Cell, Read};
use crate::kernel::{Instant, Problem, Seq};
use serde_json::json;

/// What came of a shell that was poured, lost or given up.
#[derive(Clone, Debug, PartialEq)]
pub struct CameOf {
    /// The shell.
    pub shell: Seq,
    /// Its pour, else its loss.
    pub at: Instant,
    /// Whether it was poured.
    pub poured: bool,
    /// Whether it never can be: all that was in it was given up.
    pub lost: bool,
    /// Whether metal escaped.
    pub leaked: bool,
    /// Whether it filled short or was stopped.
    pub short: bool,
    /// What held it at its pour, where somebody said so.
    pub support: Option<String>,
    /// Whether a casting of it has a finding.
    pub found: bool,
    /// Whether a casting of it is still in it.
    pub unopened: bool,
    /// The last time a casting of it was broken out.
    pub opened_at: Option<Instant>,
}

/// What came of some shells; those of which nothing came yet are left out.
///
/// # Errors
/// As the database says.
pub async fn came_of<R: Read>(read: &mut R, shells: &[Seq]) -> Result<Vec<CameOf>, Problem> {
    let sql = "SELECT f.shell_seq, f.at_ms, f.poured, \
         NOT f.poured AND NOT EXISTS (SELECT 1 FROM casting c JOIN record r ON r.seq = c.seq AND r.void_ms IS NULL \
           WHERE c.shell_seq = f.shell_seq AND c.stage <> 'scrapped'), \
         f.leaked, f.short, f.support, \
         EXISTS (SELECT 1 FROM fact_casting c JOIN fact_finding n ON n.casting_seq = c.casting_seq \
           WHERE c.shell_seq = f.shell_seq AND c.poured), \
         EXISTS (SELECT 1 FROM casting c JOIN record r ON r.seq = c.seq AND r.void_ms IS NULL \
           WHERE c.shell_seq = f.shell_seq AND c.stage = 'pour'), \
         (SELECT max(q.at_ms) FROM casting c JOIN breakout b ON b.casting_seq = c.seq \
           JOIN record q ON q.seq = b.seq AND q.void_ms IS NULL WHERE c.shell_seq = f.shell_seq) \
       FROM json_each(?) k CROSS JOIN fact_shell f ON f.shell_seq = k.value";
    let rows = read.fetch(sql, vec![json!(shells).to_string().into()]).await?;
    rows.iter()
        .map(|row| {
            Ok(CameOf {
                shell: row.int(0)?,
                at: Instant::from_ms(row.int(1)?),
                poured: row.int(2)? != 0,
                lost: row.int(3)? != 0,
                leaked: row.int(4)? != 0,
                short: row.int(5)? != 0,
                support: row.opt_text(6)?,
                found: row.int(7)? != 0,
                unopened: row.int(8)? != 0,
                opened_at: row.opt_int(9)?.map(Instant::from_ms),
            })
        })
        .collect()
}

/// Shells that were poured in a time and are alike in what a trial may pair by.
#[derive(Clone, Debug, PartialEq)]
pub struct Alike {
    /// What was poured into them.
    pub alloy: String,
    /// The thinnest section in them, in mm.
    pub section_mm: Option<f64>,
    /// Their pattern; none where several are in one.
    pub pattern: Option<Seq>,
    /// Their recipe.
    pub recipe: Seq,
    /// How many.
    pub shells: i64,
    /// Of how many the outcome is known.
    pub seen: i64,
    /// And of those, how many failed.
    pub failed: i64,
}

/// The shells poured from an instant up to another, in groups of like ones, with how many failed by
/// `leak`, `short` or `defect`.
///
/// # Errors
/// As the database says.
pub async fn poured_alike<R: Read>(read: &mut R, from: Instant, to: Instant, outcome: &str) -> Result<Vec<Alike>, Problem> {
    let (seen, failed) = match outcome {
        "leak" => ("1", "f.leaked"),
        "short" => ("1", "f.short"),
        _ => (
            "EXISTS (SELECT 1 FROM fact_casting c WHERE c.shell_seq = f.shell_seq AND c.opened)",
            "EXISTS (SELECT 1 FROM fact_casting c JOIN fact_finding n ON n.casting_seq = c.casting_seq \
               WHERE c.shell_seq = f.shell_seq AND c.opened)",
        ),
    };
    let sql = format!(
        "SELECT coalesce(f.alloy, ''), f.section_low, CASE WHEN f.pattern_low = f.pattern_high THEN f.pattern_low END AS pattern, \
           f.recipe_seq, count(*), sum({seen}), sum({failed}) \
         FROM fact_shell f INDEXED BY fact_shell_by_time WHERE f.poured = 1 AND f.at_ms >= ? AND f.at_ms < ? \
         GROUP BY f.alloy, f.section_low, pattern, f.recipe_seq ORDER BY 1, 2, 3, 4"
    );
    let rows = read.fetch(&sql, vec![Cell::from(from), to.into()]).await?;
    rows.iter()
        .map(|row| {
            Ok(Alike {
                alloy: row.text(0)?,
                section_mm: row.opt_real(1)?,
                pattern: row.opt_int(2)?,
                recipe: row.int(3)?,
                shells: row.int(4)?,
                seen: row.int(5)?,
                failed: row.int(6)?,
            })
        })
        .collect()
}
