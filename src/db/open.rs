//! Opening the file: options, lock, migrations, readers and the writer's queue.

use super::cell::failed;
use super::queue::{self, Acknowledge, Lease, Manner};
use super::read::ReadTx;
use super::shared::{Shared, Tally};
use super::write::WriteTx;
use crate::kernel::{Actor, Clock, Problem, ProblemType};
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous};
use sqlx::{ConnectOptions as _, Connection as _, SqlitePool};
use std::fs::File;
use std::future::Future;
use std::path::{Path, PathBuf};
use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::{mpsc, oneshot};

/// A settler: brings derived rows into line with what a turn touched.
pub type Settler = for<'t> fn(&'t mut WriteTx) -> Pin<Box<dyn Future<Output = Result<(), Problem>> + Send + 't>>;

/// How to open the book.
#[derive(Clone, Debug)]
pub struct Options {
    /// Turns that may share one durable commit.
    pub batch_max: usize,
    /// Connections for readers.
    pub readers: u32,
    /// When answers are let go.
    pub acknowledge: Acknowledge,
    /// Keep other servers off the file.
    pub exclusive: bool,
    /// Rows that a settler may go over within a turn; what takes more is worked out on a
    /// reader's snapshot while others write.
    pub most_in_turn: usize,
}

impl Default for Options {
    fn default() -> Self {
        Self { batch_max: 32, readers: 4, acknowledge: Acknowledge::AfterCommit, exclusive: true, most_in_turn: 5_000 }
    }
}

/// The open book. Cheap to clone.
#[derive(Clone)]
pub struct Db(Arc<Inner>);

struct Inner {
    path: PathBuf,
    readers: SqlitePool,
    turns: Mutex<Option<mpsc::UnboundedSender<oneshot::Sender<Lease>>>>,
    writer: Mutex<Option<tokio::task::JoinHandle<()>>>,
    clock: Clock,
    shared: Shared,
    tally: Arc<Tally>,
    acknowledge: Acknowledge,
    most_in_turn: usize,
    settlers: &'static [Settler],
    _lock: Option<File>,
}

/// "Pour" in ASCII: marks the file as ours.
pub(super) const APPLICATION_ID: i64 = 0x506f_7572;
/// The least SQLite that does not lose a WAL reset (sqlite.org, "Write-Ahead Logging",
/// the WAL-reset bug, fixed in 3.51.3).
const LEAST_SQLITE: (u32, u32, u32) = (3, 51, 3);

fn connect(path: &Path) -> SqliteConnectOptions {
    SqliteConnectOptions::new()
        .filename(path)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full)
        .foreign_keys(true)
        .busy_timeout(Duration::from_secs(10))
        .statement_cache_capacity(400)
        .disable_statement_logging()
}

impl Db {
    /// Opens the book in `dir` (made if absent), migrates it, and starts the writer.
    ///
    /// # Errors
    /// In words for whoever runs the server: another server holds it, the file is not a
    /// book, it is newer than this program, the disk does not take it.
    pub async fn open(dir: &Path, options: Options, clock: Clock, settlers: &'static [Settler]) -> Result<Self, String> {
        std::fs::create_dir_all(dir)
            .map_err(|e| format!("{}: {e}. Make the folder or give another with --data.", dir.display()))?;
        let lock = if options.exclusive { Some(lock(dir)?) } else { None };
        let path = dir.join("pourbook.db");
        let mut conn = Box::new(
            connect(&path)
                .create_if_missing(true)
                .connect()
                .await
                .map_err(|e| format!("{}: {e}. Is it a book, and may it be written?", path.display()))?,
        );
        prepare(&mut conn, &path).await?;
        let readers = SqlitePoolOptions::new()
            .max_connections(options.readers)
            .acquire_timeout(Duration::from_secs(10))
            .connect_with(connect(&path).read_only(true))
            .await
            .map_err(|e| format!("{}: {e}", path.display()))?;
        let (turns, waiting) = mpsc::unbounded_channel();
        let (shared, tally) = (Shared::default(), Arc::<Tally>::default());
        let manner = Manner {
            batch_max: options.batch_max,
            acknowledge: options.acknowledge,
            shared: shared.view(),
            tally: tally.clone(),
        };
        let writer = tokio::spawn(queue::serve(conn, waiting, manner));
        Ok(Self(Arc::new(Inner {
            path,
            readers,
            turns: Mutex::new(Some(turns)),
            writer: Mutex::new(Some(writer)),
            clock,
            shared,
            tally,
            acknowledge: options.acknowledge,
            most_in_turn: options.most_in_turn,
            settlers,
            _lock: lock,
        })))
    }

    /// The file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.0.path
    }
    /// The clock it was opened with.
    #[must_use]
    pub fn clock(&self) -> &Clock {
        &self.0.clock
    }

    /// What the writer counts.
    #[must_use]
    pub fn tally(&self) -> &Tally {
        &self.0.tally
    }
    /// When answers are let go.
    #[must_use]
    pub fn acknowledge(&self) -> Acknowledge {
        self.0.acknowledge
    }

    /// A snapshot to read from.
    ///
    /// # Errors
    /// `busy` when no reader is free in ten seconds.
    pub async fn read(&self) -> Result<ReadTx, Problem> {
        let shared = self.0.shared.view();
        self.0.readers.begin().await.map(|tx| ReadTx { tx, shared, tally: self.0.tally.clone() }).map_err(|e| failed(&e))
    }

    /// Waits for a turn at writing.
    ///
    /// # Errors
    /// `busy` when the book is being closed or its disk has failed.
    pub async fn write(&self, actor: Actor) -> Result<WriteTx, Problem> {
        let closing =
            || Problem::new(ProblemType::Busy, "The book takes no more records: it is being closed, or its disk failed.");
        let turns = self.0.turns.lock().unwrap_or_else(PoisonError::into_inner).clone();
        let (give, given) = oneshot::channel();
        turns.ok_or_else(closing)?.send(give).map_err(|_| closing())?;
        let lease = given.await.map_err(|_| closing())?;
        // After an earlier turn of the batch changed what is kept, only this turn's own reading counts.
        let shared = if lease.stale { Shared::default() } else { self.0.shared.view() };
        let mut tx = WriteTx::new(lease, actor, self.0.clock.clone(), self.0.settlers, shared, self.0.tally.clone());
        tx.most_in_turn = self.0.most_in_turn;
        Ok(tx)
    }

    /// Lets the turns that wait finish, then closes the file.
    pub async fn close(&self) {
        drop(self.0.turns.lock().unwrap_or_else(PoisonError::into_inner).take());
        self.0.readers.close().await;
        let writer = self.0.writer.lock().unwrap_or_else(PoisonError::into_inner).take();
        if let Some(writer) = writer
            && let Err(e) = writer.await
        {
            tracing::error!("the writer ended badly: {e}");
        }
    }
}

pub(super) fn lock(dir: &Path) -> Result<File, String> {
    let path = dir.join("pourbook.lock");
    let file = File::create(&path).map_err(|e| format!("{}: {e}. May the folder be written?", path.display()))?;
    file.try_lock()
        .map_err(|_| format!("Another server has {} open. Stop it first, or give another folder with --data.", dir.display()))?;
    Ok(file)
}

async fn prepare(conn: &mut sqlx::SqliteConnection, path: &Path) -> Result<(), String> {
    let say = |e: sqlx::Error| format!("{}: {e}. Is it a book, and may it be written?", path.display());
    let version: String = sqlx::query_scalar("SELECT sqlite_version()").fetch_one(&mut *conn).await.map_err(say)?;
    let parts: Vec<u32> = version.split('.').filter_map(|p| p.parse().ok()).collect();
    if parts.as_slice() < [LEAST_SQLITE.0, LEAST_SQLITE.1, LEAST_SQLITE.2].as_slice() {
        return Err(format!("SQLite {version} can lose a write-ahead log; 3.51.3 or later is needed."));
    }
    let mode: String = sqlx::query_scalar("PRAGMA journal_mode").fetch_one(&mut *conn).await.map_err(say)?;
    if mode != "wal" {
        return Err(format!("{}: write-ahead logging could not be turned on ({mode}); is it on a network disk?", path.display()));
    }
    let ours: i64 = sqlx::query_scalar("PRAGMA application_id").fetch_one(&mut *conn).await.map_err(say)?;
    let tables: i64 = sqlx::query_scalar("SELECT count(*) FROM sqlite_schema").fetch_one(&mut *conn).await.map_err(say)?;
    if ours != APPLICATION_ID {
        if tables > 0 {
            return Err(format!("{} is a database, but not a book. Nothing was changed.", path.display()));
        }
        sqlx::query(sqlx::AssertSqlSafe(format!("PRAGMA application_id = {APPLICATION_ID}")))
            .execute(&mut *conn)
            .await
            .map_err(say)?;
    }
    sqlx::migrate!().run(&mut *conn).await.map_err(|e| match e {
        sqlx::migrate::MigrateError::VersionMissing(v) => {
            format!("{} was written by a newer program (step {v}). Nothing was changed; use that program.", path.display())
        }
        other => format!("{}: {other}", path.display()),
    })
}

/// Opens a connection of its own on the file of a closed or open book, for tools.
pub(super) async fn tool(path: &Path) -> Result<sqlx::SqliteConnection, String> {
    let mut conn = connect(path).connect().await.map_err(|e| format!("{}: {e}", path.display()))?;
    conn.ping().await.map_err(|e| format!("{}: {e}", path.display()))?;
    Ok(conn)
}
