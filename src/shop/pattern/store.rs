//! SQL of patterns and moulds.

use crate::db::Ask;

/// The moulds that are kept until a day at most, and not voided: id, name, the day, nothing; the soonest
/// first.
#[must_use]
pub fn kept_until(until: &str) -> Ask {
    Ask {
        sql: "SELECT r.id, m.name, m.keep_until, NULL FROM mould m INDEXED BY mould_by_keep CROSS JOIN record r ON r.seq = m.seq \
              AND r.void_ms IS NULL WHERE m.keep_until <= ? ORDER BY m.keep_until LIMIT 50",
        args: vec![until.into()],
    }
}
