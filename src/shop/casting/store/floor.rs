//! Castings as pages list them: with the names that people know them by.

use super::super::route::Stage;
use crate::db::{Cell, Read, Row};
use crate::kernel::actor::Right;
use crate::kernel::{Instant, Problem, Role, Seq};
use serde_json::json;

/// A casting as it stands in a list.
#[derive(Clone, Debug)]
pub struct Listed {
    /// Its number.
    pub seq: Seq,
    /// Its tag.
    pub tag: String,
    /// Where it stands.
    pub stage: String,
    /// Since when.
    pub since: Option<Instant>,
    /// The name of its pattern.
    pub pattern: String,
    /// Its part, where the piece has several.
    pub part: String,
    /// Which attempt.
    pub attempt: i64,
    /// `3/8`.
    pub mark: Option<String>,
    /// Who made it, in a class pour.
    pub maker: Option<String>,
    /// The number of its commission.
    pub number: String,
    /// Its commission.
    pub commission: Seq,
    /// Its shell, and the shell's tag.
    pub shell: Option<(Seq, String)>,
    /// What it is cast in.
    pub alloy: String,
    /// Whether it cannot be cast again.
    pub unique: bool,
    /// How many stand there.
    pub of: i64,
}

const LISTED: &str = "c.seq, c.tag, c.stage, c.stage_ms, p.body ->> 'name', c.part, c.attempt, i.edition_mark, i.maker, \
     (SELECT h.key FROM handle h WHERE h.record_seq = c.commission_seq AND h.space = 'commission'), c.commission_seq, c.shell_seq, \
     (SELECT h.key FROM handle h WHERE h.record_seq = c.shell_seq AND h.space = 'tag'), c.alloy, c.pattern_kind = 'unique'";
/// That a casting is not void. Joined to, the book would be read whole for a filter on it (a Bloom filter,
/// SQLite from 3.38) once there are many castings; asked of each, only theirs is.
const LIVE: &str = "(SELECT r.void_ms FROM record r WHERE r.seq = c.seq) IS NULL";
const NAMES: &str = "CROSS JOIN piece i ON i.seq = c.piece_seq CROSS JOIN record q ON q.seq = c.pattern_seq \
     CROSS JOIN journal p ON p.n = q.journal_n";

fn listed(row: &Row) -> Result<Listed, Problem> {
    let shell = match (row.opt_int(11)?, row.opt_text(12)?) {
        (Some(seq), Some(tag)) => Some((seq, tag)),
        _ => None,
    };
    Ok(Listed {
        seq: row.int(0)?,
        tag: row.text(1)?,
        stage: row.text(2)?,
        since: row.opt_int(3)?.map(Instant::from_ms),
        pattern: row.opt_text(4)?.unwrap_or_default(),
        part: row.text(5)?,
        attempt: row.int(6)?,
        mark: row.opt_text(7)?,
        maker: row.opt_text(8)?,
        number: row.opt_text(9)?.unwrap_or_default(),
        commission: row.int(10)?,
        shell,
        alloy: row.text(13)?,
        unique: row.int(14)? != 0,
        of: row.int(15)?,
    })
}

impl Listed {
    /// As someone may see it: the names of makers are not for those who only read.
    #[must_use]
    pub fn seen_by(mut self, role: Role) -> Self {
        if !role.may(Right::Log) {
            self.maker = None;
        }
        self
    }
}

/// Castings as someone may see them.
#[must_use]
pub fn seen_by(castings: Vec<Listed>, role: Role) -> Vec<Listed> {
    castings.into_iter().map(|casting| casting.seen_by(role)).collect()
}

/// The castings in the shop: of each stage up to the finished ones the oldest few, and how
/// many stand there.
///
/// # Errors
/// As the database says.
pub async fn in_the_shop<R: Read>(read: &mut R, of_each: i64) -> Result<Vec<Listed>, Problem> {
    standing_at(read, &IN_THE_SHOP, of_each).await
}

/// The castings at some stages, of each the oldest few, and how many stand there.
///
/// # Errors
/// As the database says.
pub async fn standing_at<R: Read>(read: &mut R, stages: &[Stage], of_each: i64) -> Result<Vec<Listed>, Problem> {
    let stages: Vec<&str> = stages.iter().map(|s| s.name()).collect();
    let sql = format!(
        "WITH here AS MATERIALIZED (SELECT c.seq, row_number() OVER (PARTITION BY c.stage ORDER BY coalesce(c.stage_ms, 0), c.seq) AS place, \
           count(*) OVER (PARTITION BY c.stage) AS n FROM json_each(?) s CROSS JOIN casting c ON c.stage = s.value WHERE {LIVE}) \
         SELECT {LISTED}, h.n FROM here h CROSS JOIN casting c ON c.seq = h.seq {NAMES} WHERE h.place <= ? ORDER BY h.place, c.seq"
    );
    let rows = read.fetch(&sql, vec![json!(stages).to_string().into(), Cell::Int(of_each)]).await?;
    rows.iter().map(listed).collect()
}

/// The stages between owed and handed over, in order.
pub const IN_THE_SHOP: [Stage; 8] =
    [Stage::Wax, Stage::Shell, Stage::Burnout, Stage::Preheat, Stage::Pour, Stage::Breakout, Stage::Bench, Stage::Done];

/// The castings of some commissions, patterns and shells, newest first, and some by number.
///
/// # Errors
/// As the database says.
pub async fn listed_of<R: Read>(read: &mut R, of: &[Seq], most: i64) -> Result<Vec<Listed>, Problem> {
    let sql = format!(
        "WITH k AS MATERIALIZED (SELECT value FROM json_each(?)), found AS MATERIALIZED ( \
           SELECT c.seq FROM k CROSS JOIN casting c ON c.commission_seq = k.value \
           UNION SELECT c.seq FROM k CROSS JOIN casting c ON c.pattern_seq = k.value \
           UNION SELECT c.seq FROM k CROSS JOIN casting c ON c.shell_seq = k.value \
           UNION SELECT c.seq FROM k CROSS JOIN casting c ON c.seq = k.value) \
         SELECT {LISTED}, count(*) OVER () FROM found f CROSS JOIN casting c ON c.seq = f.seq \
           CROSS JOIN record r ON r.seq = c.seq AND r.void_ms IS NULL {NAMES} ORDER BY c.seq DESC LIMIT ?"
    );
    let rows = read.fetch(&sql, vec![json!(of).to_string().into(), Cell::Int(most)]).await?;
    rows.iter().map(listed).collect()
}

/// How many castings each commission still has in the shop.
///
/// # Errors
/// As the database says.
pub async fn still_owed<R: Read>(read: &mut R) -> Result<Vec<(Seq, i64)>, Problem> {
    let stages: Vec<&str> = IN_THE_SHOP.iter().map(|s| s.name()).collect();
    let sql = format!(
        "SELECT c.commission_seq, count(*) FROM json_each(?) s CROSS JOIN casting c ON c.stage = s.value WHERE {LIVE} GROUP BY c.commission_seq"
    );
    let rows = read.fetch(&sql, vec![json!(stages).to_string().into()]).await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.int(1)?))).collect()
}

/// The shells that hold castings of some stages.
///
/// # Errors
/// As the database says.
pub async fn shells_at<R: Read>(read: &mut R, stages: &[Stage]) -> Result<Vec<Seq>, Problem> {
    let stages: Vec<&str> = stages.iter().map(|s| s.name()).collect();
    let sql = format!(
        "SELECT DISTINCT c.shell_seq FROM json_each(?) s CROSS JOIN casting c ON c.stage = s.value AND c.shell_seq IS NOT NULL \
         WHERE {LIVE} ORDER BY 1"
    );
    read.fetch(&sql, vec![json!(stages).to_string().into()]).await?.iter().map(|row| row.int(0)).collect()
}
