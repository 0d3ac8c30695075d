//! What a room says of one kind of record; `book` does the rest.

use super::common::{Common, Despite};
use crate::db::{Cell, WriteTx};
use crate::kernel::field::Body;
use crate::kernel::{Instant, Kind, Order, Problem, Seq};
use std::future::Future;
use uuid::Uuid;

/// One kind of record.
pub trait Room: Send + Sync + 'static {
    /// Which.
    const KIND: Kind;
    /// Its table, keyed on `seq`; empty where the envelope says all.
    const TABLE: &'static str;
    /// Whether `at` must be given.
    const AT_REQUIRED: bool = true;
    /// What a request says.
    type Body: Body + Clone;

    /// Decides whether the record may stand, and projects it: columns of its table, what
    /// it bears on, what it touches. Called when it is recorded and when it is corrected.
    fn enter(tx: &mut WriteTx, entry: &mut Entry<Self::Body>) -> impl Future<Output = Result<(), Problem>> + Send;

    /// Records what was sent along with it. Called once, after it was recorded.
    fn along(tx: &mut WriteTx, entry: &mut Entry<Self::Body>) -> impl Future<Output = Result<(), Problem>> + Send {
        let _ = (tx, entry);
        async { Ok(()) }
    }

    /// Does what `along` does, after a correction. Called once, after it was corrected.
    fn corrected(tx: &mut WriteTx, entry: &mut Entry<Self::Body>) -> impl Future<Output = Result<(), Problem>> + Send {
        let _ = (tx, entry);
        async { Ok(()) }
    }

    /// Takes an array of children out of a correction: new ones are recorded, changed ones
    /// corrected, missing ones voided. Only kinds that embed children of their own do; others
    /// refuse it.
    fn amend_children(
        tx: &mut WriteTx,
        entry: &mut Entry<Self::Body>,
        arrays: serde_json::Map<String, serde_json::Value>,
    ) -> impl Future<Output = Result<(), Problem>> + Send {
        let _ = (tx, entry);
        async move {
            match arrays.keys().next() {
                None => Ok(()),
                Some(name) => Err(Problem::field(
                    &format!("/{name}"),
                    "fixed",
                    "What was sent along is on record by itself by now. Correct it there.",
                )),
            }
        }
    }
}

/// A record on its way into the book.
pub struct Entry<B> {
    /// Its number.
    pub seq: Seq,
    /// Its id.
    pub id: Uuid,
    /// What every record bears.
    pub common: Common,
    /// What it says.
    pub body: B,
    /// Whether it stood before and is being corrected.
    pub correcting: bool,
    /// Columns of its table.
    pub columns: Vec<(&'static str, Cell)>,
    /// The records on whose story it bears.
    pub bearing: Vec<Seq>,
    /// Further members of the answer.
    pub first_use: Vec<(Kind, String, Uuid)>,
}

impl<B> Entry<B> {
    /// Its place in the one order.
    #[must_use]
    pub const fn order(&self) -> Order {
        Order { at: self.common.at, seq: self.seq }
    }
    /// When it happened.
    #[must_use]
    pub const fn at(&self) -> Instant {
        self.common.at
    }
    /// Sets a column of its table.
    pub fn set(&mut self, column: &'static str, value: impl Into<Cell>) {
        self.columns.push((column, value.into()));
    }
    /// Says that it bears on the story of another record.
    pub fn bear(&mut self, on: Seq) {
        if !self.bearing.contains(&on) {
            self.bearing.push(on);
        }
    }
    /// Whether it is meant in spite of that refusal.
    #[must_use]
    pub fn despite(&self, what: Despite) -> bool {
        self.common.despite.0.contains(&what)
    }
}
