//! The routes that every kind of record has: record, list, read, correct, void.

use super::common::{Common, Draft, MEMBERS};
use super::idempotency::{self, Key};
use super::list::{self, Filter, LIMIT_DEFAULT, LIMIT_MAX, Page};
use super::render::{self, Catalogue};
use super::resolve::{Answers, Asks, Found, handle_of};
use super::room::Room;
use super::verbs::{self, Created};
use super::void::{self, Ask};
use crate::db::{Acknowledge, Cell, Db, Read, ReadTx, WriteTx};
use crate::kernel::actor::Right;
use crate::kernel::field::Body;
use crate::kernel::{Instant, Kind, Problem, ProblemType, Seq};
use crate::web::route::handler;
use crate::web::{Answer, Ctx, Method, Param, Reply, RequestBody, Route};
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
}

impl From<Created> for Acted {
    fn from(made: Created) -> Self {
        Self { seqs: vec![made.seq], many: None, first_use: made.first_use, more: Map::new(), status: 201 }
    }
}

impl Acted {
    /// A list of records under a name.
    #[must_use]
    pub fn many(name: &'static str, seqs: Vec<Seq>) -> Self {
        Self { seqs, many: Some(name), first_use: Vec::new(), more: Map::new(), status: 201 }
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

/// Carries out an act: turn, look-up, idempotency, act, durable save, answer.
///
/// # Errors
/// What the act refuses.
pub async fn act<F>(kit: &Kit, ctx: &Ctx, asks: Asks, run: F) -> Result<Reply, Problem>
where
    F: for<'t> FnOnce(&'t mut WriteTx, &'t Answers) -> Acting<'t> + Send,
{
    let key = ctx.key.as_deref().map(|k| Key::new(k, ctx.method.name(), &ctx.path, &ctx.body)).transpose()?;
    let mut tx = kit.db.write(ctx.actor()?).await?;
    let done = enact(&mut tx, asks, key.as_ref(), run).await;
    let (stored, replayed) = match done {
        Ok(done) => done,
        Err(problem) => return Err(tx.refuse(problem).await),
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

async fn enact<F>(tx: &mut WriteTx, asks: Asks, key: Option<&Key>, run: F) -> Result<(Value, bool), Problem>
where
    F: for<'t> FnOnce(&'t mut WriteTx, &'t Answers) -> Acting<'t> + Send,
{
    let answers = asks.look(tx, key).await?;
    if let Some(stored) = idempotency::replay(answers.key.as_ref(), key)? {
        return Ok((serde_json::from_str(&stored).map_err(Problem::internal)?, true));
    }
    let acted = run(tx, &answers).await?;
    tx.settle().await?;
    let stored = acted.store();
    if let (Some(key), Some(seq)) = (key, acted.seqs.first()) {
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
    if status == 201 && let Some(seq) = seqs.first() {
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

/// The record that a part of a path names, by id, tag, number or name.
///
/// # Errors
/// `not-found`.
pub async fn find<R: Read>(read: &mut R, kind: Kind, text: &str) -> Result<Seq, Problem> {
    let row = if let Ok(id) = Uuid::parse_str(text) {
        read.fetch_one("SELECT seq FROM record WHERE id = ? AND kind = ?", vec![id.into(), kind.name().into()]).await?
    } else if let Some((space, key)) = handle_of(kind, text) {
        read.fetch_one(
            "SELECT h.record_seq FROM handle h JOIN record r ON r.seq = h.record_seq \
             WHERE h.space = ? AND h.key = ? AND r.kind = ?",
            vec![space.into(), key.into(), kind.name().into()],
        )
        .await?
    } else {
        None
    };
    row.ok_or_else(|| no_such(kind, text))?.int(0)
}

/// The id of a record.
///
/// # Errors
/// `not-found`.
pub async fn id_of<R: Read>(read: &mut R, seq: Seq) -> Result<Uuid, Problem> {
    let row = read.fetch_one("SELECT id FROM record WHERE seq = ?", vec![Cell::Int(seq)]).await?;
    row.ok_or_else(|| Problem::new(ProblemType::NotFound, "There is no such record."))?.uuid(0)
}

fn no_such(kind: Kind, text: &str) -> Problem {
    let shown: String = text.chars().take(64).collect();
    Problem::new(ProblemType::NotFound, format!("There is no {} {shown}.", kind.name().replace('_', " ")))
}

/// The record of a path in the answers of a look-up, alive.
///
/// # Errors
/// `not-found`; `already-void` for one that is void.
pub fn in_path(answers: &Answers, kind: Kind, text: &str) -> Result<Found, Problem> {
    let found = answers.find(kind, text).ok_or_else(|| no_such(kind, text))?;
    if found.void {
        return Err(Problem::new(
            ProblemType::AlreadyVoid,
            format!("That {} is void; nothing more is recorded on it.", kind.name().replace('_', " ")),
        ));
    }
    Ok(found)
}

/// Reads a draft whose parent stands in the path.
///
/// # Errors
/// `invalid`, also when the body names the parent itself.
pub fn read_draft<B: Body>(ctx: &Ctx, at_required: bool, parent: Option<(&str, &str)>) -> Result<Draft<B>, Problem> {
    let Some((member, text)) = parent else { return Draft::read(&ctx.body, ctx.now, at_required) };
    let mut value = ctx.body.clone();
    if let Value::Object(object) = &mut value {
        if object.contains_key(member) {
            return Err(Problem::field(&format!("/{member}"), "in-path", "The path says that already; leave it out."));
        }
        object.insert(member.to_owned(), text.into());
    }
    Draft::read(&value, ctx.now, at_required)
}

/// Fills a draft's references from a look-up and checks its id.
///
/// # Errors
/// `invalid` naming every reference to nothing; `id-taken`.
pub fn fill_draft<B: Body>(answers: &Answers, draft: &mut Draft<B>) -> Result<(), Problem> {
    let mut faults = Vec::new();
    answers.fill(draft, &mut faults);
    if let Some(id) = draft.common.id
        && answers.taken(id)
    {
        return Err(Problem::new(ProblemType::IdTaken, format!("The id {id} is taken.")));
    }
    if faults.is_empty() { Ok(()) } else { Err(Problem::invalid(faults)) }
}

/// A parent named in the path: its kind, and the member of the body that refers to it.
#[derive(Clone, Copy, Debug)]
pub struct InPath {
    /// The kind.
    pub kind: Kind,
    /// The member.
    pub member: &'static str,
}

/// Records one thing, its parent perhaps in the path.
pub async fn record<R: Room>(kit: &Kit, ctx: Ctx, parent: Option<InPath>) -> Result<Reply, Problem> {
    let text = ctx.part("id").to_owned();
    let mut draft: Draft<R::Body> = read_draft(&ctx, R::AT_REQUIRED, parent.map(|p| (p.member, text.as_str())))?;
    let mut asks = Asks::default();
    asks.add_draft(&mut draft);
    if let Some(parent) = parent {
        asks.add(parent.kind, &text);
    }
    let if_match = ctx.if_match.clone();
    act(kit, &ctx, asks, |tx, answers| {
        Box::pin(async move {
            if let Some(parent) = parent {
                let found = in_path(answers, parent.kind, &text)?;
                check_match(tx, parent.kind, found.seq, if_match.as_deref()).await?;
            }
            fill_draft(answers, &mut draft)?;
            verbs::create::<R>(tx, draft).await.map(Acted::from)
        })
    })
    .await
}

/// Checks `If-Match` on the record that an action is about, when it was sent.
///
/// # Errors
/// `stale`.
pub async fn check_match(tx: &mut WriteTx, kind: Kind, seq: Seq, if_match: Option<&str>) -> Result<(), Problem> {
    if if_match.is_none() {
        return Ok(());
    }
    verbs::standing(tx, kind, seq).await?.matches(if_match)
}

/// The JSON Schema of a request that records `B`; `without` is given by the path.
#[must_use]
pub fn request_schema<B: Body>(at_required: bool, without: Option<&str>) -> Value {
    let (members, mut required) = B::member_schemas();
    let mut properties = Common::schemas();
    properties.extend(members);
    if at_required {
        required.push("at");
        properties["at"] = json!({"type": "string", "format": "date-time", "description": "when it happened, with an offset"});
    }
    if let Some(without) = without {
        properties.shift_remove(without);
        required.retain(|name| *name != without);
    }
    json!({"type": "object", "properties": properties, "required": required, "additionalProperties": false})
}

/// The JSON Schema of a correction of `B`.
#[must_use]
pub fn patch_schema<B: Body>() -> Value {
    let (mut members, _) = B::member_schemas();
    members.extend(Common::schemas());
    members.shift_remove("id");
    for (_, schema) in &mut members {
        nullable(schema);
    }
    for name in B::child_members() {
        // In a correction a child with an id is kept or changed, one without is new.
        members[name] = json!({"type": ["array", "null"], "items": {"type": "object"}, "maxItems": 200});
    }
    members.insert("reason".into(), json!({"type": ["string", "null"], "minLength": 1, "maxLength": 500}));
    json!({"type": "object", "properties": members, "additionalProperties": false})
}

fn nullable(schema: &mut Value) {
    if let Some(Value::String(one)) = schema.get("type").cloned() {
        schema["type"] = json!([one, "null"]);
        if let Some(Value::Array(words)) = schema.get_mut("enum") {
            words.push(Value::Null);
        }
    }
}

/// The JSON Schema of a record as answered: what every record bears, its body, and what
/// else it may carry.
#[must_use]
pub fn record_schema<B: Body>(kind: Kind, more: &Map<String, Value>, children: &[(&'static str, Kind)]) -> Value {
    let (members, required) = B::member_schemas();
    let mut properties = envelope_schemas();
    for (name, mut schema) in members {
        if !B::child_members().contains(&name.as_str()) {
            loosen(&mut schema);
            properties.insert(name, schema);
        }
    }
    for (name, schema) in more {
        properties.insert(name.clone(), schema.clone());
    }
    for (name, child) in children {
        let schema = json!({"type": "array", "items": {"$ref": format!("#/components/schemas/{}", child.type_name())}});
        properties.insert((*name).to_owned(), schema);
    }
    let mut needed: Vec<&str> =
        vec!["id", "at", "at_precision", "recorded_at", "by", "hands", "practice_flags", "version", "etag"];
    needed.extend(required.iter().filter(|name| !B::child_members().contains(name)));
    json!({
        "type": "object",
        "title": kind.type_name(),
        "properties": properties,
        "required": needed
    })
}

/// Answers may gain words: lists of words and nulls are not closed in what is answered.
fn loosen(schema: &mut Value) {
    if let Some(object) = schema.as_object_mut() {
        object.shift_remove("additionalProperties");
        for value in object.values_mut() {
            loosen(value);
        }
    } else if let Some(items) = schema.as_array_mut() {
        items.iter_mut().for_each(loosen);
    }
}

fn envelope_schemas() -> Map<String, Value> {
    let mut out = Map::new();
    for (name, schema) in [
        ("id", json!({"type": "string", "format": "uuid"})),
        ("at", json!({"type": "string", "format": "date-time"})),
        ("at_precision", json!({"type": "string"})),
        ("recorded_at", json!({"type": "string", "format": "date-time"})),
        ("by", json!({"type": "string"})),
        ("hands", json!({"type": "array", "items": {"type": "string", "format": "uuid"}})),
        ("despite", json!({"type": "array", "items": {"type": "string"}})),
        ("practice_flags", json!({"type": "array", "items": {"type": "object", "required": ["code"], "properties": {
            "code": {"type": "string"}, "limit": {"type": "string"}, "was": {"type": "string"}}}})),
        ("version", json!({"type": "integer", "minimum": 1})),
        ("etag", json!({"type": "string"})),
        ("void", json!({"type": "object", "required": ["at", "reason"], "properties": {
            "at": {"type": "string", "format": "date-time"}, "reason": {"type": "string"}}})),
        ("first_use", json!({"type": "array", "items": {"type": "object", "properties": {
            "kind": {"type": "string"}, "name": {"type": "string"}, "id": {"type": "string", "format": "uuid"}}}})),
    ] {
        out.insert(name.to_owned(), schema);
    }
    out
}

fn by_ref(kind: Kind) -> Value {
    json!({"$ref": format!("#/components/schemas/{}", kind.type_name())})
}

fn words(kind: Kind) -> String {
    kind.name().replace('_', " ")
}

/// The heading that a kind stands under in the API document.
#[must_use]
pub const fn heading(kind: Kind) -> &'static str {
    match kind {
        Kind::Hand | Kind::Kiln | Kind::Furnace | Kind::Crucible | Kind::Supplier | Kind::Setting | Kind::Rate => "The shop",
        Kind::Client | Kind::Commission | Kind::Cost | Kind::Payment => "Clients and commissions",
        Kind::Mould | Kind::Pattern | Kind::Piece | Kind::Casting | Kind::Wax | Kind::Recast | Kind::Scrap | Kind::Finish | Kind::Delivery => "Patterns, pieces and castings",
        Kind::Recipe | Kind::RecipeVersion | Kind::SlurryBatch | Kind::SlurryCheck | Kind::Shell | Kind::Coat | Kind::Patch => "Shells",
        Kind::Burnout | Kind::Preheat => "Kilns",
        Kind::MetalLot | Kind::Receipt => "Metal",
        Kind::Heat | Kind::Charge | Kind::HeatEvent | Kind::Pour | Kind::Leak | Kind::Closing => "Heats and pours",
        Kind::Breakout | Kind::ShellBreakout | Kind::CutOff | Kind::Finding | Kind::Work => "Breakout and bench",
        Kind::TradeEntry => "Trade",
    }
}

/// A route that records `R`.
#[must_use]
pub fn post<R: Room>(kit: &Kit, path: &str, operation: &str, about: &str, right: Right, parent: Option<InPath>) -> Route {
    let kit = kit.clone();
    let name = if operation.ends_with("_create") { format!("{}New", R::KIND.type_name()) } else { format!("{}New_{operation}", R::KIND.type_name()) };
    Route {
        method: Method::Post,
        path: path.to_owned(),
        operation: operation.to_owned(),
        right,
        about: about.to_owned(),
        heading: heading(R::KIND),
        params: Vec::new(),
        body: Some(RequestBody {
            name,
            schema: request_schema::<R::Body>(R::AT_REQUIRED, parent.map(|p| p.member)),
            merge_patch: false,
        }),
        answer: Answer { status: 201, about: "The record", media: "application/json", schema: by_ref(R::KIND), etag: true },
        handler: handler(move |ctx| {
            let kit = kit.clone();
            async move { record::<R>(&kit, ctx, parent).await }
        }),
    }
}

/// A filter that a list takes beside `limit`, `cursor`, `from`, `to` and `void`.
#[derive(Clone, Copy)]
pub enum ListFilter {
    /// Records whose `member` refers to a record of `kind`.
    Refers {
        /// The member, which is also the parameter.
        member: &'static str,
        /// What it refers to.
        kind: Kind,
    },
    /// A condition of the room's own: `sql` holds one `?` for the text of the parameter.
    Text {
        /// The parameter.
        name: &'static str,
        /// The condition on `r`.
        sql: &'static str,
    },
    /// As `Text`, with the number of a record of that kind for the `?`.
    Found {
        /// The parameter.
        name: &'static str,
        /// What it names.
        kind: Kind,
        /// The condition on `r`.
        sql: &'static str,
    },
}

impl ListFilter {
    const fn name(&self) -> &'static str {
        match self {
            Self::Refers { member, .. } => member,
            Self::Text { name, .. } | Self::Found { name, .. } => name,
        }
    }
    async fn filter(&self, read: &mut ReadTx, value: &str) -> Result<Filter, Problem> {
        let missing = |_| Problem::new(ProblemType::NotFound, format!("The parameter {} names nothing.", self.name()));
        Ok(match self {
            Self::Refers { member, kind } => {
                let seq = find(read, *kind, value).await.map_err(missing)?;
                Filter {
                    sql: "EXISTS (SELECT 1 FROM link l WHERE l.target_seq = ? AND l.record_seq = r.seq AND l.member = ?)",
                    args: vec![seq.into(), (*member).into()],
                }
            }
            Self::Text { sql, .. } => Filter { sql, args: vec![value.into()] },
            Self::Found { kind, sql, .. } => {
                let seq = find(read, *kind, value).await.map_err(missing)?;
                Filter { sql, args: vec![seq.into()] }
            }
        })
    }
}

/// Reads `limit`, `cursor`, `from`, `to`, `void`.
///
/// # Errors
/// `malformed`.
pub fn page(ctx: &Ctx) -> Result<Page, Problem> {
    let malformed = |name: &str, want: &str| Problem::new(ProblemType::Malformed, format!("The parameter {name} is {want}."));
    let limit = match ctx.param("limit") {
        None => LIMIT_DEFAULT,
        Some(text) => match text.parse::<i64>() {
            Ok(n) if n >= 1 => n.min(LIMIT_MAX),
            _ => return Err(malformed("limit", "a whole number from 1 to 200")),
        },
    };
    let instant = |name: &'static str| -> Result<Option<Instant>, Problem> {
        ctx.param(name)
            .map(|t| Instant::parse(t).ok_or_else(|| malformed(name, "an instant with an offset, as 2026-03-14T09:30:00Z")))
            .transpose()
    };
    let void = match ctx.param("void") {
        None | Some("false") => false,
        Some("true") => true,
        Some(_) => return Err(malformed("void", "true or false")),
    };
    Ok(Page {
        limit,
        after: ctx.param("cursor").map(Page::cursor).transpose()?,
        void,
        from: instant("from")?,
        to: instant("to")?,
    })
}

/// Parameters of every list.
#[must_use]
pub fn list_params() -> Vec<Param> {
    vec![
        Param { name: "limit", about: "how many, at most 200", schema: json!({"type": "integer", "minimum": 1, "maximum": 200, "default": 50}) },
        Param { name: "cursor", about: "next_cursor of the page before", schema: json!({"type": "string", "maxLength": 64}) },
        Param { name: "from", about: "observed from here, inclusive", schema: json!({"type": "string", "format": "date-time"}) },
        Param { name: "to", about: "observed up to here, exclusive", schema: json!({"type": "string", "format": "date-time"}) },
        Param { name: "void", about: "show void records too", schema: json!({"type": "string", "enum": ["true", "false"]}) },
    ]
}

/// List, read, correct and void: the routes of every collection.
#[must_use]
pub fn standard<R: Room>(kit: &Kit, filters: &'static [ListFilter], correct_right: Right) -> Vec<Route> {
    let mut out = reading(kit, R::KIND, filters);
    let base = format!("/v1/{}", R::KIND.collection());
    let one = by_ref(R::KIND);
    let patch_kit = kit.clone();
    out.push(Route {
        method: Method::Patch,
        path: format!("{base}/{{id}}"),
        operation: format!("{}_correct", R::KIND.name()),
        right: correct_right,
        about: format!("Correct a {}", words(R::KIND)),
        heading: heading(R::KIND),
        params: Vec::new(),
        body: Some(RequestBody {
            name: format!("{}Patch", R::KIND.type_name()),
            schema: patch_schema::<R::Body>(),
            merge_patch: true,
        }),
        answer: Answer { status: 200, about: "The record as corrected", media: "application/json", schema: one, etag: true },
        handler: handler(move |ctx| {
            let kit = patch_kit.clone();
            async move { correct_one::<R>(&kit, ctx).await }
        }),
    });
    out.push(void_route(kit, R::KIND, correct_right));
    out
}

async fn correct_one<R: Room>(kit: &Kit, ctx: Ctx) -> Result<Reply, Problem> {
    let Value::Object(patch) = ctx.body.clone() else {
        return Err(Problem::field("", "wrong-type", "Give a JSON object."));
    };
    let mut faults = crate::kernel::field::Faults::default();
    crate::kernel::field::unknown(&patch, &[MEMBERS, R::Body::members(), &["reason"]], "", &mut faults);
    if !faults.0.is_empty() {
        return Err(Problem::invalid(faults.0));
    }
    let text = ctx.part("id").to_owned();
    let mut asks = Asks::default();
    asks.add(R::KIND, &text);
    let if_match = ctx.if_match.clone();
    act(kit, &ctx, asks, |tx, answers| {
        Box::pin(async move {
            let found = answers.find(R::KIND, &text).ok_or_else(|| no_such(R::KIND, &text))?;
            let done = verbs::correct::<R>(tx, found.seq, patch, if_match.as_deref()).await?;
            Ok(Acted { status: 200, ..Acted::from(done) })
        })
    })
    .await
}

fn void_route(kit: &Kit, kind: Kind, right: Right) -> Route {
    let kit = kit.clone();
    Route {
        method: Method::Post,
        path: format!("/v1/{}/{{id}}/void", kind.collection()),
        operation: format!("{}_void", kind.name()),
        right,
        about: format!("Void a {}: final; refused while other records depend on it", words(kind)),
        heading: heading(kind),
        params: Vec::new(),
        body: Some(RequestBody {
            name: "Void".into(),
            schema: json!({"type": "object", "additionalProperties": false, "required": ["reason"], "properties": {
                "reason": {"type": "string", "minLength": 1, "maxLength": 500},
                "cascade": {"type": ["boolean", "null"], "description": "void what depends on it too (owner)"},
                "dry_run": {"type": ["boolean", "null"], "description": "show what would be voided, and change nothing (owner)"}
            }}),
            merge_patch: false,
        }),
        answer: Answer {
            status: 200,
            about: "What was voided, newest first",
            media: "application/json",
            schema: json!({"type": "object", "required": ["voided", "dry_run"], "properties": {
                "dry_run": {"type": "boolean"},
                "voided": {"type": "array", "items": {"type": "object", "required": ["kind", "id"], "properties": {
                    "kind": {"type": "string"}, "id": {"type": "string", "format": "uuid"}, "at": {"type": "string"}}}}
            }}),
            etag: false,
        },
        handler: handler(move |ctx| {
            let kit = kit.clone();
            async move { void_one(&kit, kind, ctx).await }
        }),
    }
}

fn void_ask(ctx: &Ctx) -> Result<Ask, Problem> {
    let Value::Object(object) = &ctx.body else { return Err(Problem::field("", "wrong-type", "Give a JSON object.")) };
    let mut faults = crate::kernel::field::Faults::default();
    crate::kernel::field::unknown(object, &[&["reason", "cascade", "dry_run"]], "", &mut faults);
    let reason = <crate::kernel::field::Text<500> as crate::kernel::field::Field>::read(object.get("reason"), "/reason", &mut faults);
    let mut flag = |name: &str| {
        <Option<bool> as crate::kernel::field::Field>::read(object.get(name), &format!("/{name}"), &mut faults).flatten().unwrap_or(false)
    };
    let (cascade, dry_run) = (flag("cascade"), flag("dry_run"));
    match reason {
        Some(reason) if faults.0.is_empty() => Ok(Ask { reason: reason.0, cascade, dry_run, if_match: ctx.if_match.clone() }),
        _ => Err(Problem::invalid(faults.0)),
    }
}

async fn void_one(kit: &Kit, kind: Kind, ctx: Ctx) -> Result<Reply, Problem> {
    let ask = void_ask(&ctx)?;
    let text = ctx.part("id").to_owned();
    let key = ctx.key.as_deref().map(|k| Key::new(k, ctx.method.name(), &ctx.path, &ctx.body)).transpose()?;
    let mut tx = kit.db.write(ctx.actor()?).await?;
    let done: Result<(Value, bool), Problem> = async {
        let mut asks = Asks::default();
        asks.add(kind, &text);
        let answers = asks.look(&mut tx, key.as_ref()).await?;
        if let Some(stored) = idempotency::replay(answers.key.as_ref(), key.as_ref())? {
            return Ok((serde_json::from_str(&stored).map_err(Problem::internal)?, true));
        }
        let found = answers.find(kind, &text).ok_or_else(|| no_such(kind, &text))?;
        let set = void::void(&mut tx, kind, found.seq, &ask).await?;
        tx.settle().await?;
        let lines: Vec<Value> = set.iter().map(|d| d.line().clone()).collect();
        let answer = json!({"dry_run": ask.dry_run, "voided": lines});
        if let Some(key) = &key && !ask.dry_run {
            idempotency::bind(&mut tx, key, found.seq, &answer.to_string());
        }
        Ok((answer, false))
    }
    .await;
    match done {
        Err(problem) => Err(tx.refuse(problem).await),
        Ok((answer, true)) => {
            tx.leave().await?;
            let mut reply = Reply::json(&answer);
            reply.replayed = true;
            Ok(reply)
        }
        Ok((answer, false)) => tx.save(answer).await.map(|answer| Reply::json(&answer)),
    }
}

/// List and read: the routes of a collection that is only read.
#[must_use]
pub fn reading(kit: &Kit, kind: Kind, filters: &'static [ListFilter]) -> Vec<Route> {
    let base = format!("/v1/{}", kind.collection());
    let (list_kit, get_kit) = (kit.clone(), kit.clone());
    let mut params = list_params();
    params.extend(filters.iter().map(|f| Param {
        name: f.name(),
        about: "only those",
        schema: json!({"type": "string", "minLength": 1, "maxLength": 128}),
    }));
    vec![
        Route {
            method: Method::Get,
            path: base.clone(),
            operation: format!("{}_list", kind.name()),
            right: Right::Read,
            about: format!("{}, newest first", kind.collection().replace('-', " ")),
            heading: heading(kind),
            params,
            body: None,
            answer: Answer {
                status: 200,
                about: "A page of records",
                media: "application/json",
                schema: json!({"type": "object", "required": ["items"], "properties": {
                    "items": {"type": "array", "items": by_ref(kind)}, "next_cursor": {"type": "string"}}}),
                etag: false,
            },
            handler: handler(move |ctx| {
                let kit = list_kit.clone();
                async move { list_some(&kit, kind, filters, &ctx).await }
            }),
        },
        Route {
            method: Method::Get,
            path: format!("{base}/{{id}}"),
            operation: format!("{}_get", kind.name()),
            right: Right::Read,
            about: format!("One {}", words(kind)),
            heading: heading(kind),
            params: Vec::new(),
            body: None,
            answer: Answer { status: 200, about: "The record", media: "application/json", schema: by_ref(kind), etag: true },
            handler: handler(move |ctx| {
                let kit = get_kit.clone();
                async move {
                    let mut read = kit.db.read().await?;
                    let seq = find(&mut read, kind, ctx.part("id")).await?;
                    render::render_one(&mut read, &kit.catalogue, seq).await.map(|v| Reply::json(&v))
                }
            }),
        },
    ]
}

async fn list_some(kit: &Kit, kind: Kind, filters: &'static [ListFilter], ctx: &Ctx) -> Result<Reply, Problem> {
    let page = page(ctx)?;
    let mut read = kit.db.read().await?;
    let mut wanted = Vec::new();
    for filter in filters {
        if let Some(value) = ctx.param(filter.name()) {
            wanted.push(filter.filter(&mut read, value).await?);
        }
    }
    let listed = list::list(&mut read, kind, &page, &wanted).await?;
    let items = render::render(&mut read, &kit.catalogue, &listed.seqs).await?;
    let mut out = json!({"items": items});
    let mut link = None;
    if let Some(next) = &listed.next {
        out["next_cursor"] = next.as_str().into();
        let mut pairs: Vec<String> = ctx.query.iter().filter(|(n, _)| n != "cursor").map(|(n, v)| format!("{n}={}", encode(v))).collect();
        pairs.push(format!("cursor={next}"));
        link = Some(format!("<{}?{}>; rel=\"next\"", ctx.path, pairs.join("&")));
    }
    let mut reply = Reply::json(&out);
    reply.link = link;
    Ok(reply)
}

fn encode(text: &str) -> String {
    text.bytes()
        .map(|b| if b.is_ascii_alphanumeric() || b"-._~:".contains(&b) { char::from(b).to_string() } else { format!("%{b:02X}") })
        .collect()
}
