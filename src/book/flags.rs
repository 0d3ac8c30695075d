//! Practice flags: what was outside a window then in force. They say, and never refuse.

use crate::db::WriteTx;
use crate::kernel::Seq;
use serde_json::{Value, json};

/// A flag on a record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Flag {
    /// Its code.
    pub code: &'static str,
    /// The limit then in force.
    pub limit: Option<String>,
    /// What it was.
    pub was: Option<String>,
}

impl Flag {
    /// A flag with its limit and what it was.
    #[must_use]
    pub fn new(code: &'static str, limit: impl Into<String>, was: impl Into<String>) -> Self {
        Self { code, limit: Some(limit.into()), was: Some(was.into()) }
    }
    /// A flag that says all by its code.
    #[must_use]
    pub const fn bare(code: &'static str) -> Self {
        Self { code, limit: None, was: None }
    }
}

/// Writes the flags of some records, in place of what they had.
pub fn write(tx: &mut WriteTx, settled: &[(Seq, Vec<Flag>)]) {
    if settled.is_empty() {
        return;
    }
    let seqs: Vec<Seq> = settled.iter().map(|(seq, _)| *seq).collect();
    tx.push(
        "DELETE FROM practice_flag WHERE on_seq = 0 AND record_seq IN (SELECT value FROM json_each(?))",
        vec![json!(seqs).to_string().into()],
    );
    let rows: Vec<Value> =
        settled.iter().flat_map(|(seq, flags)| flags.iter().map(move |f| json!([seq, f.code, f.limit, f.was]))).collect();
    if !rows.is_empty() {
        tx.push(
            "INSERT OR IGNORE INTO practice_flag (record_seq, code, limit_text, was_text) \
             SELECT value ->> 0, value ->> 1, value ->> 2, value ->> 3 FROM json_each(?)",
            vec![Value::Array(rows).to_string().into()],
        );
    }
}

/// Writes the flags of what a record was said in spite of, apart from what settlers write.
pub fn write_despite(tx: &mut WriteTx, record: Seq, codes: &[&'static str], correcting: bool) {
    if correcting {
        tx.push("DELETE FROM practice_flag WHERE record_seq = ? AND on_seq = -1", vec![record.into()]);
    }
    for code in codes {
        tx.push(
            "INSERT OR IGNORE INTO practice_flag (record_seq, code, on_seq) VALUES (?, ?, -1)",
            vec![record.into(), (*code).into()],
        );
    }
}

/// Writes the flags of records that bear on many shells, for the shells at hand: what such
/// a record has for its other shells stays.
pub fn write_for_shells(tx: &mut WriteTx, settled: &std::collections::BTreeMap<(Seq, Seq), Vec<Flag>>) {
    if settled.is_empty() {
        return;
    }
    let keys: Vec<Value> = settled.keys().map(|(record, shell)| json!([record, shell])).collect();
    tx.push(
        "DELETE FROM practice_flag WHERE (record_seq, on_seq) IN (SELECT value ->> 0, value ->> 1 FROM json_each(?))",
        vec![Value::Array(keys).to_string().into()],
    );
    let rows: Vec<Value> = settled
        .iter()
        .flat_map(|((record, shell), flags)| flags.iter().map(move |f| json!([record, f.code, f.limit, f.was, shell])))
        .collect();
    if !rows.is_empty() {
        tx.push(
            "INSERT OR IGNORE INTO practice_flag (record_seq, code, limit_text, was_text, on_seq) \
             SELECT value ->> 0, value ->> 1, value ->> 2, value ->> 3, value ->> 4 FROM json_each(?)",
            vec![Value::Array(rows).to_string().into()],
        );
    }
}

/// Writes flags of certain codes, apart from those that other settlers write on the same
/// records.
pub fn write_codes(tx: &mut WriteTx, codes: &[&'static str], settled: &[(Seq, Vec<Flag>)]) {
    if settled.is_empty() {
        return;
    }
    let seqs: Vec<Seq> = settled.iter().map(|(seq, _)| *seq).collect();
    tx.push(
        "DELETE FROM practice_flag WHERE on_seq = -2 AND record_seq IN (SELECT value FROM json_each(?)) \
         AND code IN (SELECT value FROM json_each(?))",
        vec![json!(seqs).to_string().into(), json!(codes).to_string().into()],
    );
    let rows: Vec<Value> =
        settled.iter().flat_map(|(seq, flags)| flags.iter().map(move |f| json!([seq, f.code, f.limit, f.was]))).collect();
    if !rows.is_empty() {
        tx.push(
            "INSERT OR IGNORE INTO practice_flag (record_seq, code, limit_text, was_text, on_seq) \
             SELECT value ->> 0, value ->> 1, value ->> 2, value ->> 3, -2 FROM json_each(?)",
            vec![Value::Array(rows).to_string().into()],
        );
    }
}

/// What is derived here: a name, and a select of all its rows as text, for comparing with what
/// follows when it is derived anew.
pub const DERIVED: &[(&str, &str)] = &[(
    "flags",
    "SELECT json_array(f.record_seq, code, limit_text, was_text, on_seq) FROM practice_flag f JOIN record r ON \
         r.seq = f.record_seq AND r.void_ms IS NULL WHERE on_seq <> -1 ORDER BY f.record_seq, code, on_seq",
)];

/// Empties what is derived here; what a record was said in spite of is no derivation.
pub const WIPE: &[&str] = &["DELETE FROM practice_flag WHERE on_seq <> -1"];
