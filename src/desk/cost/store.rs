//! SQL of costs: the book's links and journal alone.

use crate::db::{Read as _, ReadTx};
use crate::kernel::{Money, Problem, Seq};

/// The pieces of a commission in order: number, id, edition mark.
pub async fn pieces(read: &mut ReadTx, commission: Seq) -> Result<Vec<(Seq, String, Option<String>)>, Problem> {
    let rows = read
        .fetch(
            "SELECT r.seq, r.id, j.body ->> 'edition_mark' FROM link l \
             JOIN record r ON r.seq = l.record_seq AND r.kind = 'piece' AND r.void_ms IS NULL JOIN journal j ON j.n = r.journal_n \
             WHERE l.target_seq = ? AND l.member = 'commission_id' ORDER BY r.seq",
            vec![commission.into()],
        )
        .await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.uuid(1)?.to_string(), row.opt_text(2)?))).collect()
}

/// The pieces of some commissions, each with its commission.
pub async fn pieces_of(read: &mut ReadTx, commissions: &[Seq]) -> Result<Vec<(Seq, Seq)>, Problem> {
    let sql = "SELECT r.seq, l.target_seq FROM json_each(?) k CROSS JOIN link l ON l.target_seq = k.value AND l.member = 'commission_id' \
               CROSS JOIN record r ON r.seq = l.record_seq AND r.kind = 'piece' AND r.void_ms IS NULL ORDER BY r.seq";
    let rows = read.fetch(sql, vec![serde_json::json!(commissions).to_string().into()]).await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.int(1)?))).collect()
}

/// What was agreed for a job and what came in for it.
#[derive(Clone, Copy, Debug, Default)]
pub struct MoneyIn {
    /// The price agreed.
    pub price: Option<Money>,
    /// All payments.
    pub paid: Money,
    /// What it was quoted to cost: as often more as less, and four times in five less.
    pub quoted: Option<(Money, Money)>,
}

/// The price of a commission and its payments.
pub async fn money_in(read: &mut ReadTx, commission: Seq) -> Result<MoneyIn, Problem> {
    let sql = "SELECT (SELECT j.body ->> 'price_minor' FROM record r JOIN journal j ON j.n = r.journal_n WHERE r.seq = ?), \
               (SELECT coalesce(sum(j.body ->> 'amount_minor'), 0) FROM link l \
                CROSS JOIN record r ON r.seq = l.record_seq AND r.kind = 'payment' AND r.void_ms IS NULL \
                JOIN journal j ON j.n = r.journal_n WHERE l.target_seq = ? AND l.member = 'commission_id'), \
               (SELECT j.body ->> 'quoted_p50_minor' FROM record r JOIN journal j ON j.n = r.journal_n WHERE r.seq = ?), \
               (SELECT j.body ->> 'quoted_p80_minor' FROM record r JOIN journal j ON j.n = r.journal_n WHERE r.seq = ?)";
    let row = read.fetch_one(sql, vec![commission.into(), commission.into(), commission.into(), commission.into()]).await?;
    let row = row.ok_or_else(|| Problem::internal("no answer about payments"))?;
    let quoted = row.opt_int(2)?.zip(row.opt_int(3)?).map(|(p50, p80)| (Money::from_minor(p50), Money::from_minor(p80)));
    Ok(MoneyIn { price: row.opt_int(0)?.map(Money::from_minor), paid: Money::from_minor(row.int(1)?), quoted })
}

/// Number and title of some commissions.
pub async fn titles(read: &mut ReadTx, seqs: &[Seq]) -> Result<Vec<(Seq, String, String)>, Problem> {
    let sql = "SELECT r.seq, h.key, j.body ->> 'title' FROM json_each(?) k CROSS JOIN record r ON r.seq = k.value \
               JOIN handle h ON h.record_seq = r.seq AND h.space = 'commission' JOIN journal j ON j.n = r.journal_n";
    let rows = read.fetch(sql, vec![serde_json::json!(seqs).to_string().into()]).await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.text(1)?, row.text(2)?))).collect()
}
