//! What was noted of shells at their pours and leaks.

use crate::db::Read;
use crate::kernel::{Problem, Seq};
use serde_json::json;
use std::collections::BTreeMap;

const NOTED: &str = "WITH poured(shell, pour) AS ( \
   SELECT p.shell_seq, p.seq FROM json_each(?) k CROSS JOIN pour p ON p.shell_seq = k.value) \
 SELECT x.shell, j.body ->> 'note' FROM ( \
   SELECT shell, pour AS seq FROM poured UNION ALL SELECT d.shell, l.seq FROM poured d CROSS JOIN leak l ON l.pour_seq = d.pour) x \
 CROSS JOIN record r ON r.seq = x.seq AND r.void_ms IS NULL JOIN journal j ON j.n = r.journal_n \
 WHERE j.body ->> 'note' IS NOT NULL ORDER BY r.at_ms, r.seq";

/// The notes of some shells, in the order of their times; shells without one are not in it.
///
/// # Errors
/// As the database says.
pub async fn noted<R: Read>(read: &mut R, shells: &[Seq]) -> Result<BTreeMap<Seq, String>, Problem> {
    let mut out: BTreeMap<Seq, String> = BTreeMap::new();
    for row in read.fetch(NOTED, vec![json!(shells).to_string().into()]).await? {
        let all = out.entry(row.int(0)?).or_default();
        if !all.is_empty() {
            all.push_str("; ");
        }
        all.push_str(&row.text(1)?);
    }
    Ok(out)
}
