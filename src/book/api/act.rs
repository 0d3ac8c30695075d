//! Carrying out an act: turn, look-up, idempotency, act, durable save, answer.

use crate::book::idempotency::{self, Key};
use crate::book::render::{self, Catalogue};
use crate::book::resolve::{Answers, Asks};
use crate::book::verbs::Created;
use crate::db::{Acknowledge, Ahead, Cell, Db, Read as _, ReadTx, WriteTx};
use crate::kernel::{Kind, Problem, Seq};
use crate::web::{Ctx, Reply};
use serde_json::{Map, Value, json};
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use uuid::Uuid;

/// What handlers need: the book, and what `app.rs` says of the kinds.
#[derive(Clone)]
pub struct Kit {
    /// The book.
    pub db: Db,
    /// Extras and children by kind.
    pub catalogue: Arc<Catalogue>,
}

/// What an act did: the records to answer with.
#[derive(Clone, Debug)]
pub struct Acted {
    /// The records.
    pub seqs: Vec<Seq>,
    /// `None`: answer the one record; a name: answer a list under that name.
    pub many: Option<&'static str>,
    /// Things made on first use.
    pub first_use: Vec<(Kind, String, Uuid)>,
    /// Further members of the answer.
    pub more: Map<String, Value>,
    /// The status.
    pub status: u16,
    /// Whether a further turn goes on with it: then no key is bound to it yet.
    pub unfinished: bool,
}

impl From<Created> for Acted {
    fn from(made: Created) -> Self {
        Self { seqs: vec![made.seq], many: None, first_use: made.first_use, more: Map::new(), status: 201, unfinished: false }
    }
}

impl Acted {
    /// A list of records under a name.
    #[must_use]
    pub fn many(name: &'static str, seqs: Vec<Seq>) -> Self {
        Self { seqs, many: Some(name), first_use: Vec::new(), more: Map::new(), status: 201, unfinished: false }
    }
    fn store(&self) -> Value {
        let first_use: Vec<Value> = self
            .first_use
            .iter()
            .map(|(kind, name, id)| json!({"kind": kind.name(), "name": name, "id": id.to_string()}))
            .collect();
        json!({"seqs": self.seqs, "many": self.many, "first_use": first_use, "more": self.more, "status": self.status})
    }
}

/// The future of an act.
pub type Acting<'t> = Pin<Box<dyn Future<Output = Result<Acted, Problem>> + Send + 't>>;

/// Turns taken for one act: one, unless what it needs is too long for a turn.
#[derive(Default)]
pub(super) struct Attempts {
    taken: u32,
    ahead: Option<Ahead>,
}

/// How often an act is worked out ahead, while others write in between, before it is done in
/// one turn however long that takes.
const MOST_AHEAD: u32 = 3;

impl Attempts {
    /// The next turn.
    pub(super) async fn turn(&mut self, kit: &Kit, ctx: &Ctx) -> Result<WriteTx, Problem> {
        let mut tx = kit.db.write(ctx.actor()?).await?;
        if let Some(ahead) = self.ahead.take() {
            tx.keep_ahead(ahead);
        }
        if self.taken < MOST_AHEAD {
            tx.let_put_off();
        }
        self.taken += 1;
        Ok(tx)
    }

    /// Ends a turn that did not come through; what it put off is done here, for the next.
    ///
    /// # Errors
    /// The refusal, when nothing was put off; or what the work itself refuses.
    pub(super) async fn refused(&mut self, kit: &Kit, mut tx: WriteTx, problem: Problem) -> Result<(), Problem> {
        let work = tx.take_work();
        let problem = tx.refuse(problem).await;
        let Some(work) = work else { return Err(problem) };
        let mut read = kit.db.read().await?;
        self.ahead = Some(work(&mut read).await?);
        Ok(())
    }
}

/// Carries out an act: turn, look-up, idempotency, act, durable save, answer. What would
/// hold the writer too long is worked out on a snapshot, and the act begun again with it.
///
/// # Errors
/// What the act refuses.
pub async fn act<F>(kit: &Kit, ctx: &Ctx, asks: Asks, run: F) -> Result<Reply, Problem>
where
    F: for<'t> Fn(&'t mut WriteTx, &'t Answers) -> Acting<'t> + Send + Sync,
{
    let key = ctx.key.as_deref().map(|k| Key::new(k, ctx.method.name(), &ctx.path, ctx.bound())).transpose()?;
    let mut attempts = Attempts::default();
    let (tx, (stored, replayed)) = loop {
        let mut tx = attempts.turn(kit, ctx).await?;
        match enact(&mut tx, asks.clone(), key.as_ref(), &run).await {
            Ok(done) => break (tx, done),
            Err(problem) => attempts.refused(kit, tx, problem).await?,
        }
    };
    let stored = if replayed {
        // Nothing was written; the answer waits all the same for what it may rest on.
        tx.leave().await?;
        stored
    } else {
        tx.save(stored).await?
    };
    if kit.db.acknowledge() == Acknowledge::BeforeCommit {
        // The control of the kill test: no reader sees the record yet.
        return Ok(Reply::json(&stored).status(201));
    }
    reply(kit, &stored, replayed).await
}

async fn enact<F>(tx: &mut WriteTx, asks: Asks, key: Option<&Key>, run: &F) -> Result<(Value, bool), Problem>
where
    F: for<'t> Fn(&'t mut WriteTx, &'t Answers) -> Acting<'t> + Send + Sync,
{
    let answers = asks.look(tx, key).await?;
    if let Some(stored) = idempotency::replay(answers.key.as_ref(), key)? {
        return Ok((serde_json::from_str(&stored).map_err(Problem::internal)?, true));
    }
    let acted = run(tx, &answers).await?;
    tx.settle().await?;
    let stored = acted.store();
    if let (Some(key), Some(seq), false) = (key, acted.seqs.first(), acted.unfinished) {
        idempotency::bind(tx, key, *seq, &stored.to_string());
    }
    Ok((stored, false))
}

async fn reply(kit: &Kit, stored: &Value, replayed: bool) -> Result<Reply, Problem> {
    let seqs: Vec<Seq> = serde_json::from_value(stored["seqs"].clone()).map_err(Problem::internal)?;
    let mut read = kit.db.read().await?;
    let mut records = render::render(&mut read, &kit.catalogue, &seqs).await?;
    let mut out = match stored["many"].as_str() {
        Some(name) => json!({name: records}),
        None => records.pop().ok_or_else(|| Problem::internal("nothing was recorded"))?,
    };
    if let Some(more) = stored["more"].as_object() {
        for (name, value) in more {
            out[name] = value.clone();
        }
    }
    if stored["first_use"].as_array().is_some_and(|f| !f.is_empty()) {
        out["first_use"] = stored["first_use"].clone();
    }
    let status = stored["status"].as_u64().and_then(|s| u16::try_from(s).ok()).unwrap_or(200);
    let mut reply = Reply::json(&out).status(status);
    if status == 201
        && let Some(seq) = seqs.first()
    {
        reply.location = location(&mut read, *seq).await?;
    }
    reply.replayed = replayed;
    Ok(reply)
}

async fn location(read: &mut ReadTx, seq: Seq) -> Result<Option<String>, Problem> {
    let row = read.fetch_one("SELECT kind, id FROM record WHERE seq = ?", vec![Cell::Int(seq)]).await?;
    row.map(|row| {
        let kind = row.text(0)?;
        let kind = Kind::parse(&kind).ok_or_else(|| Problem::internal(kind))?;
        Ok(format!("/v1/{}/{}", kind.collection(), row.uuid(1)?))
    })
    .transpose()
}
