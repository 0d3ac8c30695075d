//! Reading: one snapshot a request.

use super::cell::{Ask, Cell, Row, Script, failed};
use super::shared::{Shared, Tally};
use crate::kernel::Problem;
use sqlx::{AssertSqlSafe, Executor as _, Sqlite, SqliteConnection, Transaction};
use std::future::Future;
use std::sync::Arc;

/// Anything that can be read from: a reader's snapshot, or a turn at writing.
pub trait Read: Send {
    /// All rows of a query.
    fn fetch(&mut self, sql: &str, args: Vec<Cell>) -> impl Future<Output = Result<Vec<Row>, Problem>> + Send;

    /// The rows of several questions of as many columns each, in one driver call: before each row stands
    /// the place of the question that it answers, from 0.
    fn fetch_all(&mut self, asks: Vec<Ask>) -> impl Future<Output = Result<Vec<Row>, Problem>> + Send {
        let parts: Vec<String> = asks.iter().enumerate().map(|(n, ask)| format!("SELECT {n}, * FROM ({})", ask.sql)).collect();
        let args = asks.into_iter().flat_map(|ask| ask.args).collect();
        async move { if parts.is_empty() { Ok(Vec::new()) } else { self.fetch(&parts.join(" UNION ALL "), args).await } }
    }

    /// What is kept between requests.
    fn shared(&self) -> &Shared;

    /// The one row of a query, if any.
    fn fetch_one(&mut self, sql: &str, args: Vec<Cell>) -> impl Future<Output = Result<Option<Row>, Problem>> + Send {
        async move { Ok(self.fetch(sql, args).await?.into_iter().next()) }
    }
}

/// A reader's snapshot: everything read through it is of one instant.
pub struct ReadTx {
    pub(super) tx: Transaction<'static, Sqlite>,
    pub(super) shared: Shared,
    pub(super) tally: Arc<Tally>,
}

impl Read for ReadTx {
    fn shared(&self) -> &Shared {
        &self.shared
    }

    async fn fetch(&mut self, sql: &str, args: Vec<Cell>) -> Result<Vec<Row>, Problem> {
        let mut script = Script::default();
        script.push(sql, args);
        self.tally.hears(&script);
        run(&mut self.tx, &mut script).await
    }
}

/// Runs a script as one driver call.
pub(super) async fn run(conn: &mut SqliteConnection, script: &mut Script) -> Result<Vec<Row>, Problem> {
    let (sql, args) = script.take()?;
    let rows = conn.fetch_all(sqlx::query_with(AssertSqlSafe(sql.clone()), args)).await.map_err(|e| {
        let mut problem = failed(&e);
        problem.internal = Some(format!("{e} in: {sql}"));
        problem
    })?;
    Ok(rows.into_iter().map(Row).collect())
}
