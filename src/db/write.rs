//! A turn at writing.
//!
//! [`Db::write`](super::Db::write) gives a [`WriteTx`]. Statements gather in a script
//! and go to the driver together with the next read; what a verb touched is settled by
//! the settlers of `app.rs`; [`WriteTx::save`] is the only way to get an answer out, and
//! only once it is durable. Dropping rolls back.

use super::ahead::{Ahead, Work};
use super::cell::{Ask, Cell, DIVIDE, Row, Script};
use super::open::Settler;
use super::queue::{Ended, Head, Lease, Outcome};
use super::read::{Read, run};
use super::shared::{Shared, Tally};
use crate::kernel::{Actor, Clock, Instant, Kind, Problem, ProblemType, Seq};
use std::any::{Any, TypeId};
use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;
use tokio::sync::oneshot;

/// Something whose derived rows must be settled.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Touch {
    /// What it is.
    pub kind: Kind,
    /// Which one.
    pub seq: Seq,
}

/// A record that a turn records, corrects or voids.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Acting {
    /// Its kind.
    pub kind: Kind,
    /// Which.
    pub seq: Seq,
    /// Whether it is voided.
    pub voids: bool,
}

/// One turn at writing: a savepoint in a batch that shares one durable commit.
pub struct WriteTx {
    lease: Option<Lease>,
    script: Script,
    late: Vec<(String, Vec<Cell>)>,
    /// Who writes.
    pub actor: Actor,
    /// The clock and the chance handed in at the start.
    pub clock: Clock,
    now: Instant,
    calls: u32,
    begun: bool,
    releasing: bool,
    base: Option<Head>,
    head: Head,
    touched: BTreeSet<Touch>,
    settlers: &'static [Settler],
    shared: Shared,
    tally: Arc<Tally>,
    forget: bool,
    acting: Vec<Acting>,
    acting_at: Option<Instant>,
    memo: HashMap<TypeId, Box<dyn Any + Send + Sync>>,
    pub(super) most_in_turn: usize,
    may_put_off: bool,
    work: Option<Work>,
}

impl WriteTx {
    pub(super) fn new(
        lease: Lease,
        actor: Actor,
        clock: Clock,
        settlers: &'static [Settler],
        shared: Shared,
        tally: Arc<Tally>,
    ) -> Self {
        let now = clock.now();
        let base = lease.head.clone();
        let head = base.clone().unwrap_or_default();
        Self {
            lease: Some(lease),
            script: Script::default(),
            late: Vec::new(),
            actor,
            clock,
            now,
            calls: 0,
            begun: false,
            releasing: false,
            base,
            head,
            touched: BTreeSet::new(),
            settlers,
            shared,
            tally,
            forget: false,
            acting: Vec::new(),
            acting_at: None,
            memo: HashMap::new(),
            most_in_turn: usize::MAX,
            may_put_off: false,
            work: None,
        }
    }

    /// The instant of this turn.
    #[must_use]
    pub const fn now(&self) -> Instant {
        self.now
    }
    /// Driver calls made so far.
    #[must_use]
    pub const fn calls(&self) -> u32 {
        self.calls
    }

    /// Adds a statement; it runs with the next read, or at the end.
    pub fn push(&mut self, sql: &str, args: Vec<Cell>) {
        self.script.push(sql, args);
    }

    /// Adds a statement that goes after the record being entered is written: it refers to it.
    pub fn push_late(&mut self, sql: &str, args: Vec<Cell>) {
        self.late.push((sql.to_owned(), args));
    }
    /// Moves what was pushed late into the script; called once the record is written.
    pub fn flush_late(&mut self) {
        for (sql, args) in std::mem::take(&mut self.late) {
            self.script.push(&sql, args);
        }
    }

    /// Inserts a row of a table keyed on `seq`, or replaces what stands there.
    /// `table` and the column names are ours, never a caller's.
    pub fn put(&mut self, table: &str, seq: Seq, columns: &[(&str, Cell)]) {
        let names: Vec<_> = columns.iter().map(|(name, _)| *name).collect();
        let marks = ",?".repeat(columns.len());
        let sets: Vec<_> = names.iter().map(|n| format!("{n} = excluded.{n}")).collect();
        let tail = if sets.is_empty() { "DO NOTHING".to_owned() } else { format!("DO UPDATE SET {}", sets.join(", ")) };
        let comma = if names.is_empty() { "" } else { ", " };
        let sql = format!("INSERT INTO {table} (seq{comma}{}) VALUES (?{marks}) ON CONFLICT (seq) {tail}", names.join(", "));
        let args = std::iter::once(Cell::Int(seq)).chain(columns.iter().map(|(_, c)| c.clone()));
        self.script.push(&sql, args);
    }

    /// Deals the next record number.
    pub fn deal_seq(&mut self) -> Seq {
        self.head.seq += 1;
        self.head.seq
    }
    /// The head of the journal: its last number and hash.
    #[must_use]
    pub fn journal_head(&self) -> (i64, [u8; 32]) {
        (self.head.journal_n, self.head.journal_hash)
    }
    /// What the records of this turn have alike: the number of its first journal line.
    #[must_use]
    pub fn act(&self) -> i64 {
        self.base.as_ref().unwrap_or(&self.head).journal_n + 1
    }
    /// Moves the head of the journal.
    pub fn set_journal_head(&mut self, n: i64, hash: [u8; 32]) {
        self.head.journal_n = n;
        self.head.journal_hash = hash;
    }

    /// Marks something whose derived rows must be settled.
    pub fn touch(&mut self, kind: Kind, seq: Seq) {
        self.touched.insert(Touch { kind, seq });
    }
    /// What was touched of a kind since the last time it was asked, taken away.
    pub fn take_touched(&mut self, kind: Kind) -> Vec<Seq> {
        let (taken, kept) = std::mem::take(&mut self.touched).into_iter().partition(|t| t.kind == kind);
        self.touched = kept;
        let taken: BTreeSet<Touch> = taken;
        taken.into_iter().map(|t| t.seq).collect()
    }
    /// What is touched of a kind.
    #[must_use]
    pub fn touched(&self, kind: Kind) -> Vec<Seq> {
        self.touched.iter().filter(|t| t.kind == kind).map(|t| t.seq).collect()
    }

    /// Says that what is kept between requests (settings, trade catalogue) is out of date.
    /// From here on this turn reads them itself; others, once it is durable.
    pub fn forget_shared(&mut self) {
        self.forget = true;
        self.shared = Shared::default();
    }
    /// Notes that this turn records or corrects a record, or voids it.
    pub fn note_acting(&mut self, kind: Kind, seq: Seq, voids: bool) {
        self.acting.push(Acting { kind, seq, voids });
    }
    /// When the first record of this turn happened, where that was said.
    #[must_use]
    pub const fn acting_at(&self) -> Option<Instant> {
        self.acting_at
    }
    /// Says when a record of this turn happened; the first counts.
    pub const fn note_acting_at(&mut self, at: Instant) {
        if self.acting_at.is_none() {
            self.acting_at = Some(at);
        }
    }
    /// The records of this turn.
    #[must_use]
    pub fn acting(&self) -> &[Acting] {
        &self.acting
    }
    /// Keeps something for later steps of this turn; one of each type.
    pub fn remember<T: Send + Sync + 'static>(&mut self, value: T) {
        self.memo.insert(TypeId::of::<T>(), Box::new(value));
    }
    /// Takes away what an earlier step of this turn kept, or a new one.
    #[must_use]
    pub fn recall_or_default<T: Default + Send + Sync + 'static>(&mut self) -> T {
        self.memo.remove(&TypeId::of::<T>()).and_then(|any| any.downcast().ok()).map(|kept| *kept).unwrap_or_default()
    }
    /// What an earlier step of this turn kept.
    #[must_use]
    pub fn recall<T: Send + Sync + 'static>(&self) -> Option<&T> {
        self.memo.get(&TypeId::of::<T>()).and_then(|any| any.downcast_ref())
    }

    /// Lets settlers put work off that is too long for a turn: whoever asks for the turn will
    /// do it and ask for another.
    pub const fn let_put_off(&mut self) {
        self.may_put_off = true;
    }
    /// How many rows a settler may go over before it must put its work off; none where it may
    /// not, and does all of it here.
    #[must_use]
    pub fn most_in_turn(&self) -> Option<usize> {
        self.may_put_off.then_some(self.most_in_turn)
    }
    /// Puts work off; gives the word with which the turn ends.
    pub fn put_off(&mut self, work: Work) -> Problem {
        self.work = Some(work);
        Problem::new(ProblemType::Busy, "This touches much of the book; try again.")
    }
    /// The work that was put off.
    pub fn take_work(&mut self) -> Option<Work> {
        self.work.take()
    }
    /// Keeps what was worked out ahead of this turn.
    pub fn keep_ahead(&mut self, ahead: Ahead) {
        self.memo.insert(ahead.of, ahead.value);
    }

    /// Runs the settlers over what was touched.
    ///
    /// # Errors
    /// What a settler refuses: the turn must then be refused.
    pub async fn settle(&mut self) -> Result<(), Problem> {
        for settler in self.settlers {
            settler(self).await?;
        }
        self.touched.clear();
        Ok(())
    }

    async fn run(&mut self) -> Result<Vec<Row>, Problem> {
        let Some(lease) = &mut self.lease else {
            return Err(Problem::internal("the turn is over"));
        };
        self.calls += 1;
        if self.begun {
            self.tally.hears(&self.script);
            return run(lease.conn()?, &mut self.script).await;
        }
        self.begun = true;
        let mut opened = Script::default();
        if lease.opens_batch {
            opened.push("BEGIN IMMEDIATE", []);
        }
        opened.push("SAVEPOINT turn", []);
        if self.base.is_none() {
            opened.push(super::queue::HEAD, []);
        }
        std::mem::swap(&mut opened, &mut self.script);
        if !opened.is_empty() {
            self.script.push(&opened.sql, opened.args);
        }
        self.tally.hears(&self.script);
        let mut rows = run(lease.conn()?, &mut self.script).await?;
        if self.base.is_none() {
            if rows.is_empty() {
                return Err(Problem::internal("the head of the journal was not answered"));
            }
            self.head = Head::read(&rows.remove(0))?;
            self.base = Some(self.head.clone());
        }
        Ok(rows)
    }

    /// Opens the turn (begin, savepoint, head of the journal) together with a first read.
    /// Must come before any number is dealt.
    ///
    /// # Errors
    /// As the driver says.
    pub async fn open(&mut self, sql: &str, args: Vec<Cell>) -> Result<Vec<Row>, Problem> {
        self.fetch(sql, args).await
    }

    /// Asks two questions as one driver call.
    ///
    /// # Errors
    /// As the driver says.
    pub async fn fetch_two(&mut self, first: Ask, second: Ask) -> Result<(Vec<Row>, Vec<Row>), Problem> {
        self.script.push(first.sql, first.args);
        self.script.push(DIVIDE, []);
        let mut rows = self.fetch(second.sql, second.args).await?;
        let at = rows.iter().position(Row::divides).ok_or_else(|| Problem::internal("two answers came as one"))?;
        let second = rows.split_off(at + 1);
        rows.truncate(at);
        Ok((rows, second))
    }

    fn give_back(&mut self, outcome: Outcome) {
        if let Some(lease) = self.lease.take() {
            self.tally.ended(self.calls);
            lease.give_back(Ended {
                base: self.base.clone(),
                head: Some(self.head.clone()),
                begun: self.begun,
                releasing: self.releasing,
                forget: self.forget,
                outcome,
            });
        }
    }

    /// Saves the turn: settles, writes what is left, joins the batch's durable commit, and
    /// only then gives the answer back.
    ///
    /// # Errors
    /// What a settler refuses, or `busy` when the disk does not take the batch.
    pub async fn save<T>(mut self, answer: T) -> Result<T, Problem> {
        if let Err(problem) = self.settle().await {
            return Err(self.refuse(problem).await);
        }
        self.script.push("RELEASE turn", []);
        self.releasing = self.base.is_some();
        let done = self.run().await;
        self.releasing = false;
        done?;
        self.durable(Outcome::Saved).await?;
        Ok(answer)
    }

    /// Ends the turn without writing. What is refused may rest on what an earlier turn of
    /// the same batch wrote, so the refusal too waits until that is durable.
    pub async fn refuse(self, problem: Problem) -> Problem {
        match self.leave().await {
            Ok(()) => problem,
            Err(busy) => busy,
        }
    }

    /// Ends the turn without writing; comes back once all that it may have seen is durable.
    ///
    /// # Errors
    /// `busy` when the disk does not take the batch.
    pub async fn leave(mut self) -> Result<(), Problem> {
        self.durable(Outcome::Refused).await
    }

    async fn durable(&mut self, outcome: impl FnOnce(oneshot::Sender<Result<(), Problem>>) -> Outcome) -> Result<(), Problem> {
        let (tell, told) = oneshot::channel();
        self.give_back(outcome(tell));
        told.await.map_err(|_| Problem::internal("the writer is gone"))?
    }
}

impl Read for WriteTx {
    fn shared(&self) -> &Shared {
        &self.shared
    }

    async fn fetch(&mut self, sql: &str, args: Vec<Cell>) -> Result<Vec<Row>, Problem> {
        self.script.push(sql, args);
        self.run().await
    }
}

impl Drop for WriteTx {
    fn drop(&mut self) {
        self.give_back(Outcome::Dropped);
    }
}
