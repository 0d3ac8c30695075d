//! The writer: one connection, turns in order of arrival, several to one durable commit.

use super::cell::{Row, Script};
use super::read::run;
use super::shared::Shared;
use crate::kernel::{Problem, ProblemType};
use sqlx::SqliteConnection;
use std::sync::Arc;
use tokio::sync::{mpsc, oneshot};

/// Where the record numbers and the journal stand.
#[derive(Clone, Debug, Default)]
pub(super) struct Head {
    pub seq: i64,
    pub journal_n: i64,
    pub journal_hash: [u8; 32],
    /// Whether the batch so far wrote what is kept between requests.
    pub rewritten: bool,
}

/// Reads the head; run whenever a batch opens, so that a second process may write too.
pub(super) const HEAD: &str = "SELECT coalesce((SELECT seq FROM sqlite_sequence WHERE name = 'record'), 0), \
     coalesce((SELECT seq FROM sqlite_sequence WHERE name = 'journal'), 0), \
     (SELECT hash FROM journal ORDER BY n DESC LIMIT 1)";

impl Head {
    pub(super) fn read(row: &Row) -> Result<Self, Problem> {
        let hash = row.opt_blob(2)?.unwrap_or_else(|| vec![0; 32]);
        Ok(Self {
            seq: row.int(0)?,
            journal_n: row.int(1)?,
            journal_hash: hash.try_into().map_err(|_| Problem::internal("journal hash"))?,
            rewritten: false,
        })
    }
}

/// The connection, lent for one turn.
pub(super) struct Lease {
    pub conn: Box<SqliteConnection>,
    pub head: Head,
    pub opens_batch: bool,
    pub back: mpsc::UnboundedSender<Back>,
}

/// How a turn ended.
pub(super) enum Outcome {
    /// Written; waits for the commit.
    Saved(oneshot::Sender<Result<(), Problem>>),
    /// Not written; its answer waits for the commit of what it may have seen.
    Refused(oneshot::Sender<Result<(), Problem>>),
    /// Nobody waits.
    Dropped,
}

/// The connection, given back.
pub(super) struct Back {
    pub conn: Box<SqliteConnection>,
    /// Where the numbers stood before the turn, and after it.
    pub base: Head,
    pub head: Head,
    pub begun: bool,
    pub outcome: Outcome,
}

/// When the answers of a batch are let go. `BeforeCommit` exists only to prove that the
/// kill test can fail: it acknowledges what a crash may lose.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Acknowledge {
    /// Once the commit is durable.
    #[default]
    AfterCommit,
    /// Before it: unsafe, for the control of the kill test alone.
    BeforeCommit,
}

type Waiting = oneshot::Sender<Result<(), Problem>>;

/// Runs turns until every sender is gone, then closes the connection.
pub(super) async fn serve(
    mut conn: Box<SqliteConnection>,
    mut turns: mpsc::UnboundedReceiver<oneshot::Sender<Lease>>,
    batch_max: usize,
    acknowledge: Acknowledge,
    shared: Arc<Shared>,
) {
    let (back, mut given_back) = mpsc::unbounded_channel();
    while let Some(first) = turns.recv().await {
        let mut batch = Batch::default();
        let mut next = Some(first);
        let mut taken = 0;
        while let Some(turn) = next {
            taken += 1;
            let lease = Lease { conn, head: batch.head.clone(), opens_batch: !batch.open, back: back.clone() };
            match turn.send(lease) {
                Err(lease) => conn = lease.conn,
                Ok(()) => match given_back.recv().await {
                    Some(returned) => conn = batch.take(returned).await,
                    None => return,
                },
            }
            next = if taken < batch_max && !batch.lost { turns.try_recv().ok() } else { None };
        }
        if acknowledge == Acknowledge::BeforeCommit {
            batch.tell(&Ok(()));
            tokio::time::sleep(std::time::Duration::from_millis(20)).await;
        }
        let result = batch.commit(&mut conn).await;
        if batch.head.rewritten {
            shared.forget();
        }
        batch.tell(&result);
        if batch.failing {
            // The kernel may have dropped what it could not write: a later success would
            // prove nothing (the lesson of PostgreSQL's fsync failures). Take no more.
            tracing::error!("the disk fails; no more is written until the server is started again");
            return;
        }
    }
    if let Err(e) = sqlx::Connection::close(*conn).await {
        tracing::error!("the book did not close cleanly: {e}");
    }
}

#[derive(Default)]
struct Batch {
    head: Head,
    open: bool,
    lost: bool,
    failing: bool,
    waiting: Vec<Waiting>,
}

impl Batch {
    async fn take(&mut self, mut back: Back) -> Box<SqliteConnection> {
        self.open |= back.begun;
        if back.begun {
            // Numbers dealt in an undone turn are dealt again.
            self.head = back.base;
        }
        match back.outcome {
            Outcome::Saved(tell) => {
                self.head = back.head;
                self.waiting.push(tell);
            }
            Outcome::Refused(tell) => {
                self.waiting.push(tell);
                self.undo(&mut back.conn, back.begun).await;
            }
            Outcome::Dropped => self.undo(&mut back.conn, back.begun).await,
        }
        back.conn
    }

    async fn undo(&mut self, conn: &mut SqliteConnection, begun: bool) {
        if !begun {
            return;
        }
        let mut script = Script::default();
        script.push("ROLLBACK TO turn", []);
        script.push("RELEASE turn", []);
        if let Err(problem) = run(conn, &mut script).await {
            // The database rolled the whole batch back by itself (disk full, I/O error).
            tracing::error!("a turn could not be undone, the batch is lost: {problem}");
            self.lost = true;
        }
    }

    async fn commit(&mut self, conn: &mut SqliteConnection) -> Result<(), Problem> {
        if !self.open {
            return Ok(());
        }
        let mut script = Script::default();
        script.push(if self.lost { "ROLLBACK" } else { "COMMIT" }, []);
        let done = run(conn, &mut script).await;
        match (done, self.lost) {
            (Ok(_), false) => Ok(()),
            (outcome, _) => {
                if let Err(problem) = outcome {
                    self.failing = problem.internal.as_deref().is_some_and(|said| said.contains("disk I/O error"));
                    tracing::error!("the batch was not written: {problem}. Look at free space and the disk.");
                    let mut rollback = Script::default();
                    rollback.push("ROLLBACK", []);
                    // Fails when the database has rolled back already; that is what is wanted.
                    if let Err(also) = run(conn, &mut rollback).await {
                        tracing::debug!("rollback after a failed commit: {also}");
                    }
                }
                Err(Problem::new(ProblemType::Busy, "The disk did not take the record. Nothing was written."))
            }
        }
    }

    fn tell(&mut self, result: &Result<(), Problem>) {
        for waiting in self.waiting.drain(..) {
            // Whoever asked may have gone away; the record stands all the same.
            let _ = waiting.send(result.clone());
        }
    }
}
