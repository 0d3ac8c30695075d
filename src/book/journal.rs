//! The append-only account of who changed what, when, from what to what.
//!
//! Each line's hash is SHA-256 over the hash before it and the line's own fields, the
//! body by its salted digest, so that a body can be forgotten without breaking the chain.

use crate::db::{Cell, Read, WriteTx};
use crate::kernel::{Problem, Seq};
use sha2::{Digest as _, Sha256};

/// What was done to a record.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Action {
    /// Recorded.
    Create,
    /// Corrected.
    Correct,
    /// Voided.
    Void,
    /// Members taken out of all its lines.
    Forget,
}

impl Action {
    const fn name(self) -> &'static str {
        match self {
            Self::Create => "create",
            Self::Correct => "correct",
            Self::Void => "void",
            Self::Forget => "forget",
        }
    }
}

/// The digest of a body with its salt.
#[must_use]
pub fn digest(salt: &[u8], body: &str) -> [u8; 32] {
    Sha256::new().chain_update(salt).chain_update(body).finalize().into()
}

/// What a line's hash covers beside the hash before it.
struct Line<'l> {
    /// n, record, instant in milliseconds, version.
    numbers: [i64; 4],
    /// By, action, reason.
    texts: [&'l str; 3],
    digest: &'l [u8],
}

impl Line<'_> {
    /// SHA-256 over the hash before, the numbers (big-endian), the texts (each after its
    /// length), and the body's digest.
    fn hash(&self, before: &[u8]) -> [u8; 32] {
        let mut hasher = Sha256::new();
        hasher.update(before);
        for number in self.numbers {
            hasher.update(number.to_be_bytes());
        }
        for text in self.texts {
            hasher.update((text.len() as u64).to_be_bytes());
            hasher.update(text);
        }
        hasher.update(self.digest);
        hasher.finalize().into()
    }
}

/// Adds a line; answers its number.
pub fn append(tx: &mut WriteTx, record: Seq, action: Action, version: i64, reason: Option<&str>, body: Option<&str>) -> i64 {
    let (last, before) = tx.journal_head();
    let n = last + 1;
    let salt: [u8; 16] = tx.clock.bytes();
    let digest = digest(&salt, body.unwrap_or(""));
    let at_ms = tx.now().ms();
    let by = tx.actor.name.clone();
    let line = Line { numbers: [n, record, at_ms, version], texts: [&by, action.name(), reason.unwrap_or("")], digest: &digest };
    let hash = line.hash(&before);
    tx.push(
        "INSERT INTO journal (n, record_seq, at_ms, by, action, version, reason, body, salt, digest, hash) \
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        vec![
            n.into(),
            record.into(),
            at_ms.into(),
            by.into(),
            action.name().into(),
            version.into(),
            reason.into(),
            body.into(),
            salt.to_vec().into(),
            digest.into(),
            hash.into(),
        ],
    );
    tx.set_journal_head(n, hash);
    n
}

/// Walks the whole chain.
///
/// # Errors
/// As the database says. The answer names the first line that does not hold, if any.
pub async fn verify<R: Read>(read: &mut R) -> Result<Option<String>, Problem> {
    let mut before = vec![0_u8; 32];
    let mut last = 0;
    loop {
        let rows = read
            .fetch(
                "SELECT n, record_seq, at_ms, by, action, version, reason, body, salt, digest, hash \
                 FROM journal WHERE n > ? ORDER BY n LIMIT 2000",
                vec![Cell::Int(last)],
            )
            .await?;
        if rows.is_empty() {
            return Ok(None);
        }
        for row in rows {
            let n = row.int(0)?;
            let stored_digest = row.blob(9)?;
            if let (Some(salt), body) = (row.opt_blob(8)?, row.opt_text(7)?)
                && digest(&salt, body.as_deref().unwrap_or("")).as_slice() != stored_digest
            {
                return Ok(Some(format!("journal line {n}: the body is not what was written")));
            }
            let reason = row.opt_text(6)?.unwrap_or_default();
            let (by, action) = (row.text(3)?, row.text(4)?);
            let line = Line {
                numbers: [n, row.int(1)?, row.int(2)?, row.int(5)?],
                texts: [&by, &action, &reason],
                digest: &stored_digest,
            };
            let hash = line.hash(&before);
            if hash.as_slice() != row.blob(10)? {
                return Ok(Some(format!("journal line {n}: the chain is broken here")));
            }
            before = hash.to_vec();
            last = n;
        }
    }
}
