//! A key belongs to one request of the shop for ever.

use crate::db::WriteTx;
use crate::kernel::{Problem, ProblemType, Seq};
use serde_json::Value;
use sha2::{Digest as _, Sha256};

/// A key sent with a request, and the fingerprint of the request.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Key {
    /// The key.
    pub text: String,
    /// SHA-256 over method, path and canonical body.
    pub fingerprint: [u8; 32],
}

/// What a key was used for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Known {
    /// The fingerprint of the first request.
    pub fingerprint: Vec<u8>,
    /// How to answer it again.
    pub answer: String,
}

impl Key {
    /// From the header's text (bare, or quoted as a structured string) and the request.
    ///
    /// # Errors
    /// `malformed` for an empty, overlong or unprintable key.
    pub fn new(header: &str, method: &str, path: &str, body: &Value) -> Result<Self, Problem> {
        let text = header.trim().trim_matches('"').to_owned();
        if text.is_empty() || text.len() > 128 || !text.bytes().all(|b| b.is_ascii_graphic()) {
            return Err(Problem::new(
                ProblemType::Malformed,
                "An Idempotency-Key is 1 to 128 printable characters without spaces.",
            ));
        }
        let hash = Sha256::new()
            .chain_update(method)
            .chain_update([0])
            .chain_update(path)
            .chain_update([0])
            .chain_update(canonical(body));
        Ok(Self { text, fingerprint: hash.finalize().into() })
    }
}

/// Compact JSON with sorted names.
fn canonical(value: &Value) -> String {
    match value {
        Value::Object(members) => {
            let mut names: Vec<_> = members.iter().collect();
            names.sort_by(|a, b| a.0.cmp(b.0));
            let inner: Vec<_> = names.iter().map(|(k, v)| format!("{}:{}", Value::from(k.as_str()), canonical(v))).collect();
            format!("{{{}}}", inner.join(","))
        }
        Value::Array(items) => {
            format!("[{}]", items.iter().map(canonical).collect::<Vec<_>>().join(","))
        }
        other => other.to_string(),
    }
}

/// Checks what a known key was used for: the same request is answered again.
///
/// # Errors
/// `key-reused` when it was another request.
pub fn replay(known: Option<&Known>, key: Option<&Key>) -> Result<Option<String>, Problem> {
    match (known, key) {
        (Some(known), Some(key)) if known.fingerprint == key.fingerprint => Ok(Some(known.answer.clone())),
        (Some(_), Some(key)) => {
            Err(Problem::new(ProblemType::KeyReused, format!("The key {} was used for another request.", key.text)))
        }
        _ => Ok(None),
    }
}

/// Binds a key to the record it made.
pub fn bind(tx: &mut WriteTx, key: &Key, record: Seq, answer: &str) {
    let now = tx.now();
    tx.push(
        "INSERT INTO idempotency (key, fingerprint, record_seq, answer, at_ms) VALUES (?, ?, ?, ?, ?)",
        vec![key.text.as_str().into(), key.fingerprint.into(), record.into(), answer.into(), now.into()],
    );
}
