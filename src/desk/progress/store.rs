//! SQL of progress links.

use crate::book::token;
use crate::db::{Cell, Read, ReadTx, WriteTx};
use crate::kernel::{Instant, Problem, Seq};
use sha2::{Digest as _, Sha256};

/// The most links of a job that are shown.
const MOST: i64 = 50;

fn hash(secret: &str) -> [u8; 32] {
    Sha256::digest(secret.as_bytes()).into()
}

/// A link as the owner sees it.
pub struct Link {
    /// Its number.
    pub n: i64,
    /// Who made it.
    pub by: String,
    /// When.
    pub created: Instant,
    /// When it was ended.
    pub ended: Option<Instant>,
}

/// The links of a job, newest first.
pub async fn links(read: &mut ReadTx, commission: Seq) -> Result<Vec<Link>, Problem> {
    let sql = "SELECT n, by, created_ms, ended_ms FROM progress_link WHERE commission_seq = ? ORDER BY n DESC LIMIT ?";
    let rows = read.fetch(sql, vec![commission.into(), Cell::Int(MOST)]).await?;
    rows.iter()
        .map(|row| {
            let ended = row.opt_int(3)?.map(Instant::from_ms);
            Ok(Link { n: row.int(0)?, by: row.text(1)?, created: Instant::from_ms(row.int(2)?), ended })
        })
        .collect()
}

/// Makes a link to a job and answers its secret.
pub fn make(tx: &mut WriteTx, commission: Seq) -> String {
    let (now, by, secret) = (tx.now(), tx.actor.name.clone(), token::mint(&tx.clock));
    tx.push(
        "INSERT INTO progress_link (hash, commission_seq, by, created_ms) VALUES (?, ?, ?, ?)",
        vec![hash(&secret).into(), commission.into(), by.into(), now.into()],
    );
    secret
}

/// Ends a link of a job.
pub fn end(tx: &mut WriteTx, commission: Seq, n: i64) {
    let now = tx.now();
    tx.push(
        "UPDATE progress_link SET ended_ms = ? WHERE n = ? AND commission_seq = ? AND ended_ms IS NULL",
        vec![now.into(), n.into(), commission.into()],
    );
}

/// The job that a live link of a secret is to, unless that is void.
pub async fn job<R: Read>(read: &mut R, secret: &str) -> Result<Option<Seq>, Problem> {
    let sql = "SELECT p.commission_seq FROM progress_link p JOIN record r ON r.seq = p.commission_seq AND r.void_ms IS NULL \
               WHERE p.hash = ? AND p.ended_ms IS NULL";
    read.fetch_one(sql, vec![hash(secret).into()]).await?.map(|row| row.int(0)).transpose()
}
