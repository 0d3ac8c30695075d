//! SQL of the bench.

use crate::db::{Ask, Cell};

/// The most that are answered.
const MOST: i64 = 50;

/// What is away and was due back before a day: the record's id, what is done to it, with whom, the
/// day; the longest due first.
#[must_use]
pub fn overdue(today: &str) -> Ask {
    Ask {
        sql: "SELECT r.id, j.body ->> 'what', coalesce((SELECT t.name FROM link l JOIN thing t ON t.seq = l.target_seq \
                WHERE l.record_seq = o.seq AND l.member = 'supplier'), ''), o.due_back_on \
              FROM outside_work o INDEXED BY outside_work_away CROSS JOIN record r ON r.seq = o.seq AND r.void_ms IS NULL \
              CROSS JOIN journal j ON j.n = r.journal_n WHERE o.back_ms IS NULL AND o.due_back_on < ? ORDER BY o.due_back_on LIMIT ?",
        args: vec![today.into(), Cell::Int(MOST)],
    }
}
