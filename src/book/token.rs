//! Bearer tokens: shown once, kept as a hash.

use crate::db::{Cell, Read, WriteTx};
use crate::kernel::{Actor, Clock, Problem, Role};
use sha2::{Digest as _, Sha256};

/// A new secret: `pb_` and 40 characters of 200 bits.
#[must_use]
pub fn mint(clock: &Clock) -> String {
    const LETTERS: &[u8; 32] = b"0123456789abcdefghjkmnpqrstvwxyz";
    let bytes: [u8; 40] = clock.bytes();
    let text: String = bytes.iter().map(|b| char::from(LETTERS[usize::from(b % 32)])).collect();
    format!("pb_{text}")
}

fn hash(secret: &str) -> [u8; 32] {
    Sha256::digest(secret.as_bytes()).into()
}

/// Whether a token of that name is in use.
///
/// # Errors
/// As the database says.
pub async fn in_use<R: Read>(read: &mut R, name: &str) -> Result<bool, Problem> {
    let row = read.fetch_one("SELECT 1 FROM token WHERE name = ? AND revoked_ms IS NULL", vec![name.into()]).await?;
    Ok(row.is_some())
}

/// Ends every token of a name; answers how many there were.
///
/// # Errors
/// As the database says.
pub async fn revoke(tx: &mut WriteTx, name: &str) -> Result<usize, Problem> {
    let now = tx.now();
    let rows = tx
        .fetch("UPDATE token SET revoked_ms = ? WHERE name = ? AND revoked_ms IS NULL RETURNING 1", vec![now.into(), name.into()])
        .await?;
    Ok(rows.len())
}

/// Keeps a token.
pub fn keep(tx: &mut WriteTx, secret: &str, name: &str, role: Role) {
    let now = tx.now();
    tx.push(
        "INSERT INTO token (hash, name, role, created_ms) VALUES (?, ?, ?, ?)",
        vec![hash(secret).into(), name.into(), role.name().into(), now.into()],
    );
}

/// Whose token that is, if anyone's.
///
/// # Errors
/// As the database says; never an answer of "nobody" because the database was busy.
pub async fn holder<R: Read>(read: &mut R, secret: &str) -> Result<Option<Actor>, Problem> {
    let row = read
        .fetch_one("SELECT name, role FROM token WHERE hash = ? AND revoked_ms IS NULL", vec![Cell::from(hash(secret))])
        .await?;
    row.map(|row| {
        let role = row.text(1)?;
        let role = Role::parse(&role).ok_or_else(|| Problem::internal(format!("token role {role}")))?;
        Ok(Actor::new(row.text(0)?, role))
    })
    .transpose()
}
