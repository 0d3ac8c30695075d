//! The writer: one connection, turns in order of arrival, several to one durable commit.

use super::cell::{Row, Script};
use super::read::run;
use super::shared::{Shared, Tally};
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
        })
    }
}

type Waiting = oneshot::Sender<Result<(), Problem>>;

/// The connection, lent for one turn. It goes back to the writer however the turn ends,
/// also when whoever asked for it went away before taking it up.
pub(super) struct Lease {
    conn: Option<Box<SqliteConnection>>,
    /// Where the numbers stand; `None` until a turn of this batch has read it.
    pub head: Option<Head>,
    pub opens_batch: bool,
    /// Whether an earlier turn of this batch wrote what is kept between requests.
    pub stale: bool,
    back: mpsc::UnboundedSender<Back>,
}

impl Lease {
    pub(super) fn conn(&mut self) -> Result<&mut SqliteConnection, Problem> {
        self.conn.as_deref_mut().ok_or_else(|| Problem::internal("the turn is over"))
    }
    pub(super) fn give_back(mut self, ended: Ended) {
        self.send(ended);
    }
    fn send(&mut self, ended: Ended) {
        if let Some(conn) = self.conn.take() {
            // The queue outlives every turn; if it is gone, so is the process.
            let _ = self.back.send(Back { conn, ended });
        }
    }
}

impl Drop for Lease {
    fn drop(&mut self) {
        self.send(Ended::default());
    }
}

/// How a turn ended.
#[derive(Default)]
pub(super) enum Outcome {
    /// Written; waits for the commit.
    Saved(Waiting),
    /// Not written; its answer waits for the commit of what it may have seen.
    Refused(Waiting),
    /// Nobody waits.
    #[default]
    Dropped,
}

/// What is known of a turn when it is over.
#[derive(Default)]
pub(super) struct Ended {
    /// Where the numbers stood before the turn, if it came to know.
    pub base: Option<Head>,
    /// And after it.
    pub head: Option<Head>,
    /// Whether it sent anything to the database.
    pub begun: bool,
    /// Whether it was given up while its last script, with the release, was under way.
    pub releasing: bool,
    /// Whether it wrote what is kept between requests.
    pub forget: bool,
    pub outcome: Outcome,
}

/// The connection, given back.
struct Back {
    conn: Box<SqliteConnection>,
    ended: Ended,
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

/// How the writer runs.
pub(super) struct Manner {
    pub batch_max: usize,
    pub acknowledge: Acknowledge,
    pub shared: Shared,
    pub tally: Arc<Tally>,
}

/// Runs turns until every sender is gone, then closes the connection.
pub(super) async fn serve(
    mut conn: Box<SqliteConnection>,
    mut turns: mpsc::UnboundedReceiver<oneshot::Sender<Lease>>,
    manner: Manner,
) {
    let (back, mut given_back) = mpsc::unbounded_channel();
    while let Some(first) = turns.recv().await {
        let mut batch = Batch::default();
        let mut next = Some(first);
        let mut taken = 0;
        while let Some(turn) = next {
            taken += 1;
            let lease = Lease {
                conn: Some(conn),
                head: batch.head.clone(),
                opens_batch: !batch.open,
                stale: batch.forget,
                back: back.clone(),
            };
            // A lease that nobody takes up comes back when it is dropped.
            let _ = turn.send(lease);
            match given_back.recv().await {
                Some(returned) => conn = batch.take(returned).await,
                None => return,
            }
            next = if taken < manner.batch_max && !batch.lost { turns.try_recv().ok() } else { None };
        }
        if manner.acknowledge == Acknowledge::BeforeCommit {
            batch.tell(&Ok(()));
            tokio::time::sleep(std::time::Duration::from_millis(20)).await;
        }
        let result = batch.commit(&mut conn).await;
        if batch.open && result.is_ok() {
            manner.tally.committed();
            if batch.forget {
                // Before anyone is told, and before the next batch reads.
                manner.shared.clear();
            }
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
    head: Option<Head>,
    open: bool,
    lost: bool,
    failing: bool,
    forget: bool,
    waiting: Vec<Waiting>,
}

impl Batch {
    async fn take(&mut self, back: Back) -> Box<SqliteConnection> {
        let Back { mut conn, mut ended } = back;
        self.open |= ended.begun;
        if ended.begun {
            // Numbers dealt in an undone turn are dealt again.
            self.head = ended.base.take();
        }
        match std::mem::take(&mut ended.outcome) {
            Outcome::Saved(tell) => {
                self.keep(ended);
                self.waiting.push(tell);
            }
            Outcome::Refused(tell) => {
                self.waiting.push(tell);
                self.undo(&mut conn, ended).await;
            }
            Outcome::Dropped => self.undo(&mut conn, ended).await,
        }
        conn
    }

    fn keep(&mut self, ended: Ended) {
        self.head = ended.head;
        self.forget |= ended.forget;
    }

    async fn undo(&mut self, conn: &mut SqliteConnection, ended: Ended) {
        if !ended.begun {
            return;
        }
        let Err(problem) = run_all(conn, &["ROLLBACK TO turn", "RELEASE turn"]).await else { return };
        if ended.releasing && in_transaction(conn).await {
            // Whoever asked went away between the last statement of the turn and the word
            // that it was done: the turn is whole, and stands with the batch.
            self.keep(ended);
        } else {
            // The database rolled the whole batch back by itself (disk full, I/O error), or
            // the turn was given up before its savepoint was set.
            tracing::error!("a turn could not be undone, the batch is lost: {problem}");
            self.lost = true;
        }
    }

    async fn commit(&mut self, conn: &mut SqliteConnection) -> Result<(), Problem> {
        if !self.open {
            return Ok(());
        }
        let done = run_all(conn, &[if self.lost { "ROLLBACK" } else { "COMMIT" }]).await;
        match (done, self.lost) {
            (Ok(()), false) => Ok(()),
            (outcome, _) => {
                if let Err(problem) = outcome {
                    self.failing = problem.internal.as_deref().is_some_and(|said| said.contains("disk I/O error"));
                    tracing::error!("the batch was not written: {problem}. Look at free space and the disk.");
                    // Fails when the database has rolled back already; that is what is wanted.
                    if let Err(also) = run_all(conn, &["ROLLBACK"]).await {
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

async fn run_all(conn: &mut SqliteConnection, statements: &[&str]) -> Result<(), Problem> {
    let mut script = Script::default();
    for statement in statements {
        script.push(statement, []);
    }
    run(conn, &mut script).await.map(drop)
}

/// Whether a transaction is open: SQLite refuses to begin another in it. One that this
/// opens is closed again.
async fn in_transaction(conn: &mut SqliteConnection) -> bool {
    match run_all(conn, &["BEGIN", "ROLLBACK"]).await {
        Ok(()) => false,
        Err(problem) => problem.internal.is_some_and(|said| said.contains("within a transaction")),
    }
}
