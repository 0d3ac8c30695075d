//! SQL of burnouts.

use crate::book::api::ListFilter;
use crate::kernel::Kind;

/// Filters of the list.
pub const FILTERS: &[ListFilter] = &[
    ListFilter::Refers { member: "kiln", kind: Kind::Kiln },
    ListFilter::Found { name: "shell_id", kind: Kind::Shell, sql: "r.seq IN (SELECT record_seq FROM bearing WHERE on_seq = ?)" },
];
