//! SQL of the house.

use super::model::What;
use super::rates::Row;
use crate::book::api::ListFilter;
use crate::db::{Cell, Read};
use crate::kernel::{Kind, Money, Problem, Seq};
use serde_json::json;

/// Filters of the list of rates.
pub const RATE_FILTERS: &[ListFilter] = &[
    ListFilter::Text { name: "what", sql: "r.seq IN (SELECT seq FROM rate WHERE what = ?)" },
    ListFilter::Text { name: "alloy", sql: "r.seq IN (SELECT seq FROM rate WHERE alloy = ? COLLATE NOCASE)" },
    ListFilter::Refers { member: "hand_id", kind: Kind::Hand },
    ListFilter::Refers { member: "recipe_id", kind: Kind::Recipe },
];

/// Every live rate, in order of its date.
pub async fn rates<R: Read>(read: &mut R) -> Result<Vec<Row>, Problem> {
    let sql = "SELECT t.what, t.alloy, t.subject_seq, s.id, t.from_on, t.amount_minor FROM rate t \
               JOIN record r ON r.seq = t.seq LEFT JOIN record s ON s.seq = t.subject_seq \
               WHERE r.void_ms IS NULL ORDER BY t.what, t.from_on, t.seq";
    let rows = read.fetch(sql, vec![]).await?;
    rows.iter()
        .map(|row| {
            let (what, from_on) = (row.text(0)?, row.text(4)?);
            let record = row.opt_int(2)?.map(|seq| Ok::<_, Problem>((seq, row.uuid(3)?))).transpose()?;
            Ok(Row {
                what: What::parse(&what).ok_or_else(|| Problem::internal(format!("rate of {what}")))?,
                alloy: row.opt_text(1)?,
                record,
                from_on: from_on.parse().map_err(|e| Problem::internal(format!("rate from {from_on}: {e}")))?,
                amount: row.opt_int(5)?.map(Money::from_minor),
            })
        })
        .collect()
}

/// Whether another live rate is the same but for its amount, and what this one was before.
pub async fn rate_beside<R: Read>(
    read: &mut R,
    seq: Seq,
    what: What,
    alloy: Option<&str>,
    subject: Option<Seq>,
    from_on: &str,
) -> Result<(bool, Option<String>), Problem> {
    let sql = "SELECT EXISTS (SELECT 1 FROM rate t JOIN record r ON r.seq = t.seq AND r.void_ms IS NULL \
               WHERE t.what = ? AND t.from_on = ? AND t.alloy IS ? AND t.subject_seq IS ? AND t.seq <> ?), \
               (SELECT what FROM rate WHERE seq = ?)";
    let args = vec![what.name().into(), from_on.into(), alloy.into(), subject.into(), seq.into(), seq.into()];
    let row = read.fetch_one(sql, args).await?.ok_or_else(|| Problem::internal("no answer about rates"))?;
    Ok((row.int(0)? != 0, row.opt_text(1)?))
}

/// Whether any of some records is a scrap price.
pub async fn any_scrap_price<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<bool, Problem> {
    let sql = "SELECT EXISTS (SELECT 1 FROM json_each(?) k JOIN rate t ON t.seq = k.value WHERE t.what = ?)";
    let row = read.fetch_one(sql, vec![json!(seqs).to_string().into(), What::ScrapKg.name().into()]).await?;
    row.map_or(Ok(false), |row| Ok(row.int(0)? != 0))
}

/// Every setting in force at some time, in order of its date.
pub async fn settings<R: Read>(read: &mut R) -> Result<Vec<(String, String, String)>, Problem> {
    let rows = read
        .fetch(
            "SELECT s.name, s.from_on, s.value FROM setting s JOIN record r ON r.seq = s.seq \
             WHERE r.void_ms IS NULL ORDER BY s.name, s.from_on, s.seq",
            vec![],
        )
        .await?;
    rows.iter().map(|row| Ok((row.text(0)?, row.text(1)?, row.text(2)?))).collect()
}

/// The shop's own trade entries in order of their dates: section, code, body.
pub async fn trade_entries<R: Read>(read: &mut R) -> Result<Vec<(String, String, String)>, Problem> {
    let rows = read
        .fetch(
            "SELECT t.section, t.code, j.body FROM trade_entry t CROSS JOIN record r ON r.seq = t.seq \
             JOIN journal j ON j.n = r.journal_n WHERE r.void_ms IS NULL ORDER BY coalesce(t.from_on, ''), t.seq",
            vec![],
        )
        .await?;
    rows.iter().map(|row| Ok((row.text(0)?, row.text(1)?, row.text(2)?))).collect()
}

/// Whether any record bears money.
pub async fn money_exists<R: Read>(read: &mut R) -> Result<bool, Problem> {
    let row = read
        .fetch_one(
            "SELECT EXISTS (SELECT 1 FROM record WHERE kind IN ('metal_lot', 'receipt', 'cost', 'payment', 'expense', 'outside_work') LIMIT 1)",
            Vec::<Cell>::new(),
        )
        .await?;
    row.map_or(Ok(false), |row| Ok(row.int(0)? != 0))
}

/// Every live record that something is derived from.
pub async fn derived_from<R: Read>(read: &mut R) -> Result<Vec<(Kind, Seq)>, Problem> {
    let rows = read
        .fetch(
            "SELECT kind, seq FROM record WHERE void_ms IS NULL \
             AND kind IN ('casting', 'shell', 'heat', 'metal_lot', 'receipt', 'pour') ORDER BY seq",
            Vec::<Cell>::new(),
        )
        .await?;
    rows.iter()
        .map(|row| {
            let kind = row.text(0)?;
            Ok((Kind::parse(&kind).ok_or_else(|| Problem::internal(kind))?, row.int(1)?))
        })
        .collect()
}
