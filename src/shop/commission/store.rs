//! SQL of commissions.

use crate::db::{Ask, Cell, Read};
use crate::kernel::{Problem, Seq};
use serde_json::json;

/// The numbers of some commissions.
pub async fn numbers<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<(Seq, String)>, Problem> {
    let rows = read
        .fetch(
            "SELECT c.seq, c.number FROM json_each(?) k JOIN commission c ON c.seq = k.value",
            vec![Cell::Text(json!(seqs).to_string())],
        )
        .await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.text(1)?))).collect()
}

/// The client of each of some commissions; none for the shop's own work.
///
/// # Errors
/// As the database says.
pub async fn clients<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<(Seq, Option<Seq>)>, Problem> {
    let rows = read
        .fetch(
            "SELECT c.seq, c.client_seq FROM json_each(?) k JOIN commission c ON c.seq = k.value",
            vec![Cell::Text(json!(seqs).to_string())],
        )
        .await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.opt_int(1)?))).collect()
}

/// Some commissions that are due up to a day: number, title, day, soonest first.
///
/// # Errors
/// As the database says.
pub async fn due<R: Read>(read: &mut R, seqs: &[Seq], until: &str) -> Result<Vec<(Seq, String, String, String)>, Problem> {
    let sql = "SELECT c.seq, c.number, c.title, c.due_on FROM json_each(?) k CROSS JOIN commission c ON c.seq = k.value \
               CROSS JOIN record r ON r.seq = c.seq AND r.void_ms IS NULL WHERE c.due_on <= ? ORDER BY c.due_on, c.number";
    let rows = read.fetch(sql, vec![Cell::Text(json!(seqs).to_string()), until.into()]).await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.text(1)?, row.text(2)?, row.text(3)?))).collect()
}

/// Of some commissions, those of which a stage of the price was due up to a day and more is due by then
/// than came in: number, title, what is due in minor units, what came in.
#[must_use]
pub fn owing(seqs: &[Seq], until: &str) -> Ask {
    Ask {
        sql: "SELECT number, title, due, paid FROM (SELECT c.number, c.title, \
                (SELECT coalesce(sum(s.value ->> 'amount_minor'), 0) FROM json_each(j.body, '$.stages') s WHERE s.value ->> 'due_on' <= ?) AS due, \
                (SELECT coalesce(sum(p.amount_minor), 0) FROM payment p CROSS JOIN record q ON q.seq = p.seq AND q.void_ms IS NULL \
                  WHERE p.commission_seq = c.seq) AS paid \
              FROM json_each(?) k CROSS JOIN commission c ON c.seq = k.value CROSS JOIN record r ON r.seq = c.seq AND r.void_ms IS NULL \
              CROSS JOIN journal j ON j.n = r.journal_n) WHERE due > paid ORDER BY number LIMIT 50",
        args: vec![until.into(), Cell::Text(json!(seqs).to_string())],
    }
}

/// Of some commissions, those of a client: which, number, title, nothing.
#[must_use]
pub fn of_clients(seqs: &[Seq]) -> Ask {
    Ask {
        sql: "SELECT c.seq, c.number, c.title, NULL FROM json_each(?) k CROSS JOIN commission c ON c.seq = k.value \
              AND c.client_seq IS NOT NULL ORDER BY c.number",
        args: vec![Cell::Text(json!(seqs).to_string())],
    }
}
