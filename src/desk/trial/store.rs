//! SQL of trials: their own tables, and the book's.

use super::model::{Factor, Outcome, Stratum};
use crate::book::api::ListFilter;
use crate::db::{Cell, Read, Row};
use crate::kernel::{Instant, Kind, Problem, Seq};
use crate::science::statistics::trial::Arm;
use serde_json::json;
use uuid::Uuid;

/// Filters of the list of pairs.
pub const PAIRS: &[ListFilter] = &[
    ListFilter::Refers { member: "trial_id", kind: Kind::Trial },
    ListFilter::Refers { member: "shell_ids", kind: Kind::Shell },
];
/// Filters of the list of ends.
pub const ENDS: &[ListFilter] = &[ListFilter::Refers { member: "trial_id", kind: Kind::Trial }];

/// A trial as it stands.
#[derive(Clone, Debug)]
pub struct TrialRow {
    /// Its number.
    pub seq: Seq,
    /// What it is called.
    pub name: String,
    /// What is tried.
    pub factor: Factor,
    /// The first and the second way, as they were given.
    pub said: [String; 2],
    /// The recipes or versions that they are.
    pub level: [Option<Seq>; 2],
    /// What counts as failed.
    pub outcome: Outcome,
    /// The smallest difference worth knowing.
    pub worth: f64,
    /// The planned end.
    pub max_pairs: Option<u32>,
    /// What the shells of a pair agree in.
    pub strata: Vec<Stratum>,
    /// What the coin is tossed with.
    pub seed: u64,
    /// Its end, if it ended: when and why.
    pub ended: Option<(Instant, String)>,
}

fn bad(what: &str) -> Problem {
    Problem::internal(format!("trial: {what}"))
}

fn trial(row: &Row) -> Result<TrialRow, Problem> {
    let strata: Vec<String> = serde_json::from_str(&row.text(9)?).map_err(Problem::internal)?;
    let ended: Option<String> = row.opt_text(11)?;
    let ended = match ended {
        None => None,
        Some(text) => {
            let (at, why): (i64, Option<String>) = serde_json::from_str(&text).map_err(Problem::internal)?;
            Some((Instant::from_ms(at), why.unwrap_or_default()))
        }
    };
    Ok(TrialRow {
        seq: row.int(0)?,
        name: row.text(1)?,
        factor: Factor::parse(&row.text(2)?).ok_or_else(|| bad("factor"))?,
        said: [row.text(3)?, row.text(4)?],
        level: [row.opt_int(5)?, row.opt_int(6)?],
        outcome: Outcome::parse(&row.text(7)?).ok_or_else(|| bad("outcome"))?,
        worth: row.real(8)?,
        strata: strata.iter().filter_map(|s| Stratum::parse(s)).collect(),
        seed: row.text(10)?.parse().map_err(Problem::internal)?,
        ended,
        max_pairs: row.opt_int(12)?.and_then(|n| u32::try_from(n).ok()),
    })
}

/// Trials by number, void ones too.
///
/// # Errors
/// As the database says.
pub async fn trials<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<TrialRow>, Problem> {
    let sql = "SELECT t.seq, t.name, t.factor, t.a, t.b, t.a_seq, t.b_seq, t.outcome, t.worth_knowing, t.strata, t.seed, \
         (SELECT json_array(q.at_ms, j.body ->> 'reason') FROM trial_end e JOIN record q ON q.seq = e.seq AND q.void_ms IS NULL \
           JOIN journal j ON j.n = q.journal_n WHERE e.trial_seq = t.seq ORDER BY q.at_ms, q.seq LIMIT 1), t.max_pairs \
       FROM json_each(?) k CROSS JOIN trial t ON t.seq = k.value ORDER BY k.key";
    read.fetch(sql, vec![json!(seqs).to_string().into()]).await?.iter().map(trial).collect()
}

/// One trial.
///
/// # Errors
/// As the database says.
pub async fn one<R: Read>(read: &mut R, seq: Seq) -> Result<TrialRow, Problem> {
    trials(read, &[seq]).await?.pop().ok_or_else(|| bad("a record without its row"))
}

/// A pair.
#[derive(Clone, Debug)]
pub struct PairRow {
    /// Its number.
    pub seq: Seq,
    /// Its id.
    pub id: Uuid,
    /// Its trial.
    pub trial: Seq,
    /// Its number within the trial.
    pub n: u32,
    /// The two shells, A's first.
    pub shells: [Seq; 2],
    /// Whether A's was named first.
    pub a_first: bool,
    /// When it was assigned.
    pub at: Instant,
    /// When it was written down.
    pub recorded: Instant,
    /// When and why it was voided.
    pub void: Option<(Instant, String)>,
}

impl PairRow {
    /// The shells in the order in which they were named, each with its arm.
    #[must_use]
    pub const fn named(&self) -> [(Seq, Arm); 2] {
        let (a, b) = ((self.shells[0], Arm::A), (self.shells[1], Arm::B));
        if self.a_first { [a, b] } else { [b, a] }
    }
}

const PAIR: &str = "p.seq, r.id, p.trial_seq, p.n, p.first_seq, p.second_seq, p.first_arm = 'a', r.at_ms, r.recorded_ms, r.void_ms, \
     r.void_reason";

fn pair(row: &Row) -> Result<PairRow, Problem> {
    let (first, second, a_first) = (row.int(4)?, row.int(5)?, row.int(6)? != 0);
    let void = match row.opt_int(9)? {
        Some(ms) => Some((Instant::from_ms(ms), row.opt_text(10)?.unwrap_or_default())),
        None => None,
    };
    Ok(PairRow {
        seq: row.int(0)?,
        id: row.uuid(1)?,
        trial: row.int(2)?,
        n: u32::try_from(row.int(3)?).map_err(Problem::internal)?,
        shells: if a_first { [first, second] } else { [second, first] },
        a_first,
        at: Instant::from_ms(row.int(7)?),
        recorded: Instant::from_ms(row.int(8)?),
        void,
    })
}

/// All pairs of some trials, void ones too, in the order of their numbers.
///
/// # Errors
/// As the database says.
pub async fn pairs<R: Read>(read: &mut R, trials: &[Seq]) -> Result<Vec<PairRow>, Problem> {
    let sql = format!(
        "SELECT {PAIR} FROM json_each(?) k CROSS JOIN trial_pair p ON p.trial_seq = k.value CROSS JOIN record r ON r.seq = p.seq \
         ORDER BY p.trial_seq, p.n"
    );
    read.fetch(&sql, vec![json!(trials).to_string().into()]).await?.iter().map(pair).collect()
}

/// Pairs by number.
///
/// # Errors
/// As the database says.
pub async fn pairs_by<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<PairRow>, Problem> {
    let sql = format!(
        "SELECT {PAIR} FROM json_each(?) k CROSS JOIN trial_pair p ON p.seq = k.value CROSS JOIN record r ON r.seq = p.seq"
    );
    read.fetch(&sql, vec![json!(seqs).to_string().into()]).await?.iter().map(pair).collect()
}

/// Where some shells have a coin already: shell, trial, its name, whether that stands in the way of a pair
/// of trial `of`. In the way are the pairs of running trials, and of this one the void ones too, since
/// their coin was seen.
///
/// # Errors
/// As the database says.
pub async fn in_the_way<R: Read>(read: &mut R, shells: &[Seq], of: Seq) -> Result<Vec<(Seq, Seq, String)>, Problem> {
    let sql = "SELECT DISTINCT k.value, p.trial_seq, t.name FROM json_each(?) k CROSS JOIN link l ON l.target_seq = k.value \
         AND l.member = 'shell_ids' CROSS JOIN trial_pair p ON p.seq = l.record_seq CROSS JOIN record r ON r.seq = p.seq \
         CROSS JOIN trial t ON t.seq = p.trial_seq \
       WHERE p.trial_seq = ? OR (r.void_ms IS NULL AND NOT EXISTS (SELECT 1 FROM trial_end e JOIN record q ON q.seq = e.seq \
         AND q.void_ms IS NULL WHERE e.trial_seq = p.trial_seq)) ORDER BY 1, 2";
    let rows = read.fetch(sql, vec![json!(shells).to_string().into(), Cell::Int(of)]).await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.int(1)?, row.text(2)?))).collect()
}

/// A first coat or pour: shell, kind, and when it was, as far as that is known to the minute.
pub type FirstDone = (Seq, String, Option<Instant>);

/// Which of some shells were coated and poured, and when first.
///
/// # Errors
/// As the database says.
pub async fn first_done<R: Read>(read: &mut R, shells: &[Seq]) -> Result<Vec<FirstDone>, Problem> {
    let sql = "SELECT k.value, r.kind, min(CASE WHEN r.at_precision = 'minute' THEN r.at_ms END) FROM json_each(?) k \
         CROSS JOIN link l ON l.target_seq = k.value AND l.member = 'shell_id' \
         CROSS JOIN record r ON r.seq = l.record_seq AND r.void_ms IS NULL AND r.kind IN ('coat', 'pour') \
       GROUP BY k.value, r.kind";
    let rows = read.fetch(sql, vec![json!(shells).to_string().into()]).await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.text(1)?, row.opt_int(2)?.map(Instant::from_ms)))).collect()
}

/// A shell as the book has it: id, version of the record, recipe, version of the recipe.
#[derive(Clone, Debug)]
pub struct ShellRow {
    /// Its number.
    pub seq: Seq,
    /// Its id.
    pub id: Uuid,
    /// How often it was written.
    pub version: i64,
    /// Its recipe.
    pub recipe: Option<Seq>,
    /// The version of that.
    pub recipe_version: Option<Seq>,
}

/// Shells by number.
///
/// # Errors
/// As the database says.
pub async fn shells<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<ShellRow>, Problem> {
    let sql = "SELECT r.seq, r.id, r.version, \
         (SELECT l.target_seq FROM link l WHERE l.record_seq = r.seq AND l.member = 'recipe_id'), \
         (SELECT l.target_seq FROM link l WHERE l.record_seq = r.seq AND l.member = 'recipe_version_id') \
       FROM json_each(?) k CROSS JOIN record r ON r.seq = k.value";
    let rows = read.fetch(sql, vec![json!(seqs).to_string().into()]).await?;
    rows.iter()
        .map(|row| {
            Ok(ShellRow {
                seq: row.int(0)?,
                id: row.uuid(1)?,
                version: row.int(2)?,
                recipe: row.opt_int(3)?,
                recipe_version: row.opt_int(4)?,
            })
        })
        .collect()
}
