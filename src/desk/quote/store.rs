//! SQL of quotes: their own tables, and the book's.

use super::model::Step;
use crate::book::api::ListFilter;
use crate::db::{Cell, Read, Row};
use crate::kernel::{Instant, Kind, Money, Problem, Seq};
use serde_json::json;
use std::collections::BTreeMap;
use uuid::Uuid;

/// Filters of the list of quotes.
pub const QUOTES: &[ListFilter] = &[
    ListFilter::Refers { member: "client_id", kind: Kind::Client },
    ListFilter::Refers { member: "revises", kind: Kind::Quote },
];
/// Filters of the list of steps.
pub const STEPS: &[ListFilter] = &[ListFilter::Refers { member: "quote_id", kind: Kind::Quote }];

/// A commission.
#[derive(Clone, Debug)]
pub struct JobRow {
    /// Which.
    pub commission: Seq,
    /// Its number.
    pub number: String,
    /// What it is called.
    pub title: String,
    /// When it was agreed.
    pub at_ms: i64,
    /// When it was written down.
    pub recorded_ms: i64,
}

/// The last entry of the journal.
///
/// # Errors
/// As the database says.
pub async fn journal<R: Read>(read: &mut R) -> Result<i64, Problem> {
    let row = read.fetch_one("SELECT coalesce(max(n), 0) FROM journal", vec![]).await?;
    row.map_or(Ok(0), |row| row.int(0))
}

/// The latest commissions, in the order in which they were agreed.
///
/// # Errors
/// As the database says.
pub async fn jobs<R: Read>(read: &mut R, most: i64) -> Result<Vec<JobRow>, Problem> {
    let sql = "SELECT r.seq, h.key, j.body ->> 'title', r.at_ms, r.recorded_ms FROM record r \
               CROSS JOIN handle h ON h.record_seq = r.seq AND h.space = 'commission' CROSS JOIN journal j ON j.n = r.journal_n \
               WHERE r.kind = 'commission' AND r.void_ms IS NULL ORDER BY r.at_ms DESC, r.seq DESC LIMIT ?";
    let rows = read.fetch(sql, vec![Cell::Int(most)]).await?;
    let read = |row: &Row| {
        Ok(JobRow {
            commission: row.int(0)?,
            number: row.text(1)?,
            title: row.text(2)?,
            at_ms: row.int(3)?,
            recorded_ms: row.int(4)?,
        })
    };
    rows.iter().rev().map(read).collect()
}

/// When the last record on each of some castings, pieces and commissions was written down, in milliseconds;
/// of what refers to them, work, what is bought in and done outside, and what is handed over.
///
/// # Errors
/// As the database says.
pub async fn last_recorded<R: Read>(read: &mut R, of: &[Seq]) -> Result<BTreeMap<Seq, i64>, Problem> {
    let sql = "SELECT of_seq, max(recorded_ms) FROM ( \
                 SELECT y.on_seq AS of_seq, r.recorded_ms FROM json_each(?) k CROSS JOIN bearing y ON y.on_seq = k.value \
                   CROSS JOIN record r ON r.seq = y.record_seq AND r.void_ms IS NULL AND r.kind NOT IN ('commission', 'piece', 'casting') \
                 UNION ALL SELECT l.target_seq, r.recorded_ms FROM json_each(?) k CROSS JOIN link l ON l.target_seq = k.value \
                   CROSS JOIN record r ON r.seq = l.record_seq AND r.void_ms IS NULL \
                   AND r.kind IN ('work', 'cost', 'outside_work', 'delivery', 'finish')) GROUP BY of_seq";
    let list: Cell = json!(of).to_string().into();
    let rows = read.fetch(sql, vec![list.clone(), list]).await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.int(1)?))).collect()
}

/// What was quoted for a job.
#[derive(Clone, Copy, Debug)]
pub struct Quoted {
    /// When it was written down.
    pub recorded_ms: i64,
    /// The simulated median, in minor units.
    pub median: f64,
    /// The simulated spread of ln.
    pub spread: f64,
    /// Whether the client bears failed castings of it.
    pub client_bears: bool,
}

/// What was quoted for some commissions, by commission.
///
/// # Errors
/// As the database says.
pub async fn quoted<R: Read>(read: &mut R, commissions: &[Seq]) -> Result<BTreeMap<Seq, Quoted>, Problem> {
    let sql = "SELECT t.commission_seq, r.recorded_ms, q.median, q.spread, \
               EXISTS (SELECT 1 FROM journal j, json_each(j.body, '$.lines') l WHERE j.n = r.journal_n \
                 AND l.value ->> 'recast_borne_by' = 'client') FROM json_each(?) k \
               CROSS JOIN quote_step t ON t.commission_seq = k.value CROSS JOIN record s ON s.seq = t.seq AND s.void_ms IS NULL \
               CROSS JOIN quote q ON q.seq = t.quote_seq CROSS JOIN record r ON r.seq = q.seq AND r.void_ms IS NULL";
    let rows = read.fetch(sql, vec![json!(commissions).to_string().into()]).await?;
    let read = |row: &Row| {
        Ok((
            row.int(0)?,
            Quoted { recorded_ms: row.int(1)?, median: row.real(2)?, spread: row.real(3)?, client_bears: row.int(4)? != 0 },
        ))
    };
    rows.iter().map(read).collect()
}

/// A quote as it stands.
#[derive(Clone, Debug)]
pub struct QuoteRow {
    /// Which.
    pub seq: Seq,
    /// Its id.
    pub id: Uuid,
    /// Its number, the same for all versions.
    pub base: String,
    /// Which version.
    pub edition: u32,
    /// What it is called.
    pub title: String,
    /// Until when it holds.
    pub valid_until: jiff::civil::Date,
    /// The price before tax.
    pub price: Option<Money>,
    /// The cost that is as often more as less.
    pub p50: Money,
    /// And less four times in five.
    pub p80: Money,
    /// Whether it is void.
    pub void: bool,
    /// What became of it, in the order of time.
    pub steps: Vec<(Step, Instant, Seq)>,
    /// When it was given.
    pub at: Instant,
    /// The commission that it is the quote of, as long as that stands.
    pub commission: Option<Seq>,
    /// Whether there is a later version.
    pub superseded: bool,
}

impl QuoteRow {
    /// Its number with its version, as it is called.
    #[must_use]
    pub fn number(&self) -> String {
        called(&self.base, self.edition)
    }
}

/// A quote's number with its version: `26-Q003`, `26-Q003-2`.
#[must_use]
pub fn called(base: &str, edition: u32) -> String {
    if edition == 1 { base.to_owned() } else { format!("{base}-{edition}") }
}

fn bad(what: &str) -> Problem {
    Problem::internal(format!("quote: {what}"))
}

fn quote(row: &Row) -> Result<QuoteRow, Problem> {
    let steps: Vec<(String, i64, Seq)> = serde_json::from_str(&row.text(10)?).map_err(Problem::internal)?;
    let commission = row.opt_int(12)?;
    let steps = steps
        .into_iter()
        .map(|(step, at, seq)| Ok((Step::parse(&step).ok_or_else(|| bad("step"))?, Instant::from_ms(at), seq)))
        .collect::<Result<Vec<_>, Problem>>()?;
    Ok(QuoteRow {
        seq: row.int(0)?,
        id: row.uuid(1)?,
        base: row.text(2)?,
        edition: u32::try_from(row.int(3)?).map_err(Problem::internal)?,
        title: row.text(4)?,
        valid_until: row.text(5)?.parse().map_err(Problem::internal)?,
        price: row.opt_int(6)?.map(Money::from_minor),
        p50: Money::from_minor(row.int(7)?),
        p80: Money::from_minor(row.int(8)?),
        void: row.int(9)? != 0,
        steps,
        commission,
        superseded: row.int(11)? != 0,
        at: Instant::from_ms(row.int(13)?),
    })
}

const QUOTE: &str = "q.seq, r.id, q.number, q.edition, q.title, q.valid_until, q.price_minor, q.p50_minor, q.p80_minor, \
     r.void_ms IS NOT NULL, \
     (SELECT coalesce(json_group_array(json_array(t.step, s.at_ms, t.seq)), '[]') FROM ( \
        SELECT seq, step FROM quote_step WHERE quote_seq = q.seq) t \
        JOIN record s ON s.seq = t.seq AND s.void_ms IS NULL), \
     EXISTS (SELECT 1 FROM quote n JOIN record m ON m.seq = n.seq AND m.void_ms IS NULL \
        WHERE n.number = q.number AND n.edition > q.edition), \
     (SELECT l.record_seq FROM link l JOIN record c ON c.seq = l.record_seq AND c.kind = 'commission' AND c.void_ms IS NULL \
        WHERE l.target_seq = q.seq AND l.member = 'quote_id' LIMIT 1), r.at_ms";

/// Quotes by number in the book, void ones too.
///
/// # Errors
/// As the database says.
pub async fn quotes<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<QuoteRow>, Problem> {
    let sql = format!(
        "SELECT {QUOTE} FROM json_each(?) k CROSS JOIN quote q ON q.seq = k.value CROSS JOIN record r ON r.seq = q.seq ORDER BY k.key"
    );
    let mut out: Vec<QuoteRow> =
        read.fetch(&sql, vec![json!(seqs).to_string().into()]).await?.iter().map(quote).collect::<Result<_, _>>()?;
    for one in &mut out {
        one.steps.sort_by_key(|(_, at, seq)| (*at, *seq));
    }
    Ok(out)
}

/// One quote.
///
/// # Errors
/// As the database says.
pub async fn one<R: Read>(read: &mut R, seq: Seq) -> Result<QuoteRow, Problem> {
    quotes(read, &[seq]).await?.pop().ok_or_else(|| bad("a record without its row"))
}

/// All live quotes and their versions, the latest first, up to so many.
///
/// # Errors
/// As the database says.
pub async fn latest<R: Read>(read: &mut R, most: i64) -> Result<Vec<QuoteRow>, Problem> {
    let sql = "SELECT seq FROM record WHERE kind = 'quote' AND void_ms IS NULL ORDER BY at_ms DESC, seq DESC LIMIT ?";
    let rows = read.fetch(sql, vec![Cell::Int(most)]).await?;
    let seqs = rows.iter().map(|row| row.int(0)).collect::<Result<Vec<_>, _>>()?;
    quotes(read, &seqs).await
}

/// The versions of a quote's number.
///
/// # Errors
/// As the database says.
pub async fn versions<R: Read>(read: &mut R, base: &str) -> Result<Vec<QuoteRow>, Problem> {
    let rows = read.fetch("SELECT seq FROM quote WHERE number = ? ORDER BY edition", vec![base.into()]).await?;
    let seqs = rows.iter().map(|row| row.int(0)).collect::<Result<Vec<_>, _>>()?;
    quotes(read, &seqs).await
}

/// A patina of a name, whatever its case.
///
/// # Errors
/// As the database says.
pub async fn patina<R: Read>(read: &mut R, name: &str) -> Result<Option<Seq>, Problem> {
    let sql = "SELECT r.seq FROM record r CROSS JOIN journal j ON j.n = r.journal_n WHERE r.kind = 'patina' AND r.void_ms IS NULL \
               AND lower(j.body ->> 'name') = lower(?) ORDER BY r.seq LIMIT 1";
    let row = read.fetch_one(sql, vec![name.trim().into()]).await?;
    row.map(|row| row.int(0)).transpose()
}

/// The record of an id.
///
/// # Errors
/// As the database says.
pub async fn by_id<R: Read>(read: &mut R, id: Uuid) -> Result<Option<Seq>, Problem> {
    let row = read.fetch_one("SELECT seq FROM record WHERE id = ?", vec![id.into()]).await?;
    row.map(|row| row.int(0)).transpose()
}

/// What was worked out for some quotes, void ones too.
///
/// # Errors
/// As the database says.
pub async fn worked<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<BTreeMap<Seq, serde_json::Value>, Problem> {
    let sql = "SELECT r.seq, j.body -> 'worked' FROM json_each(?) k CROSS JOIN record r ON r.seq = k.value \
               CROSS JOIN journal j ON j.n = r.journal_n";
    let rows = read.fetch(sql, vec![json!(seqs).to_string().into()]).await?;
    rows.iter()
        .map(|row| {
            let text = row.opt_text(1)?.unwrap_or_else(|| "null".into());
            Ok((row.int(0)?, serde_json::from_str(&text).map_err(Problem::internal)?))
        })
        .collect()
}

/// Id and number of some commissions.
///
/// # Errors
/// As the database says.
pub async fn numbers<R: Read>(read: &mut R, commissions: &[Seq]) -> Result<Vec<(Seq, Uuid, String)>, Problem> {
    let sql = "SELECT r.seq, r.id, h.key FROM json_each(?) k CROSS JOIN record r ON r.seq = k.value \
               CROSS JOIN handle h ON h.record_seq = r.seq AND h.space = 'commission'";
    let rows = read.fetch(sql, vec![json!(commissions).to_string().into()]).await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.uuid(1)?, row.text(2)?))).collect()
}
