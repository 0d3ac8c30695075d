//! The routes of a kind of record, as data.

use super::act::{Acted, Attempts, Kit, act};
use super::lists::{ListFilter, list_params, list_some};
use super::path::{check_match, fill_draft, find, in_path, no_such, read_draft};
use super::schema::{by_ref, patch_schema, request_schema, words};
use crate::book::common::{Despite, Draft, MEMBERS};
use crate::book::idempotency::{self, Key};
use crate::book::render;
use crate::book::resolve::Asks;
use crate::book::room::Room;
use crate::book::verbs;
use crate::book::void::{self, Ask, InTheWay};
use crate::db::WriteTx;
use crate::kernel::actor::Right;
use crate::kernel::field::{Body as _, Many};
use crate::kernel::{Kind, Problem};
use crate::web::route::handler;
use crate::web::{Answer, Ctx, Method, Param, Reply, RequestBody, Route};
use serde_json::{Value, json};

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
        let (mut draft, text, if_match) = (draft.clone(), text.clone(), if_match.clone());
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

/// The heading that a kind stands under in the API document.
#[must_use]
pub const fn heading(kind: Kind) -> &'static str {
    match kind {
        Kind::Hand
        | Kind::Kiln
        | Kind::Furnace
        | Kind::Crucible
        | Kind::Supplier
        | Kind::Setting
        | Kind::Rate
        | Kind::Expense
        | Kind::Incident => "The shop",
        Kind::Client | Kind::Property | Kind::Commission | Kind::Cost | Kind::Payment => "Clients and commissions",
        Kind::Mould
        | Kind::Pattern
        | Kind::Piece
        | Kind::Casting
        | Kind::Wax
        | Kind::Recast
        | Kind::Scrap
        | Kind::Finish
        | Kind::Assembly
        | Kind::Delivery
        | Kind::Certificate
        | Kind::PieceLoss => "Patterns, pieces and castings",
        Kind::Recipe | Kind::RecipeVersion | Kind::SlurryBatch | Kind::SlurryCheck | Kind::Shell | Kind::Coat | Kind::Patch => {
            "Shells"
        }
        Kind::Burnout | Kind::Preheat => "Kilns",
        Kind::MetalLot | Kind::Receipt | Kind::Count | Kind::Out | Kind::Transfer => "Metal",
        Kind::Heat | Kind::Charge | Kind::HeatEvent | Kind::Pour | Kind::Leak | Kind::Closing => "Heats and pours",
        Kind::Breakout
        | Kind::ShellBreakout
        | Kind::CutOff
        | Kind::Finding
        | Kind::Work
        | Kind::Patina
        | Kind::PatinaVersion
        | Kind::OutsideWork => "Breakout and bench",
        Kind::Quote | Kind::QuoteStep => "Quotes",
        Kind::Trial | Kind::TrialPair | Kind::TrialEnd => "Trials",
        Kind::TradeEntry => "Trade",
    }
}

/// A route that records `R`.
#[must_use]
pub fn post<R: Room>(kit: &Kit, path: &str, operation: &str, about: &str, right: Right, parent: Option<InPath>) -> Route {
    let kit = kit.clone();
    let name = if operation.ends_with("_create") {
        format!("{}New", R::KIND.type_name())
    } else {
        format!("{}New_{operation}", R::KIND.type_name())
    };
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
        let (patch, text, if_match) = (patch.clone(), text.clone(), if_match.clone());
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
                "dry_run": {"type": ["boolean", "null"], "description": "show what would be voided, and change nothing (owner)"},
                "despite": {"type": ["array", "null"], "maxItems": 6, "items": {"enum": ["lot_short"]},
                    "description": "lot_short: keep what drew metal that this takes off the record; its lots held more than the book (owner)"}
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
                    "kind": {"type": "string"}, "id": {"type": "string", "format": "uuid"}, "at": {"type": "string"},
                    "called": {"type": "string", "description": "its tag, number or name"}}}}
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
    crate::kernel::field::unknown(object, &[&["reason", "cascade", "dry_run", "despite"]], "", &mut faults);
    let reason =
        <crate::kernel::field::Text<500> as crate::kernel::field::Field>::read(object.get("reason"), "/reason", &mut faults);
    let mut flag = |name: &str| {
        <Option<bool> as crate::kernel::field::Field>::read(object.get(name), &format!("/{name}"), &mut faults)
            .flatten()
            .unwrap_or(false)
    };
    let (cascade, dry_run) = (flag("cascade"), flag("dry_run"));
    let despite = <Many<Despite, 6> as crate::kernel::field::Field>::read(object.get("despite"), "/despite", &mut faults);
    let despite = despite.map(|many| many.0).unwrap_or_default();
    if despite.iter().any(|code| *code != Despite::LotShort) {
        faults.add("/despite", "not-here", "Of a void only lot_short may be said.");
    }
    let lot_short = despite.contains(&Despite::LotShort);
    let if_match = ctx.if_match.clone();
    match reason {
        Some(reason) if faults.0.is_empty() => Ok(Ask { reason: reason.0, cascade, dry_run, lot_short, if_match }),
        _ => Err(Problem::invalid(faults.0)),
    }
}

async fn void_one(kit: &Kit, kind: Kind, ctx: Ctx) -> Result<Reply, Problem> {
    let ask = void_ask(&ctx)?;
    let text = ctx.part("id").to_owned();
    let key = ctx.key.as_deref().map(|k| Key::new(k, ctx.method.name(), &ctx.path, ctx.bound())).transpose()?;
    let mut attempts = Attempts::default();
    let mut more = InTheWay::default();
    loop {
        let mut tx = attempts.turn(kit, &ctx).await?;
        match void_in(&mut tx, kind, &text, key.as_ref(), &ask, &more).await {
            Err(problem) => {
                let found: InTheWay = tx.recall_or_default();
                let rest = ask.cascade && !found.rest.is_subset(&more.rest);
                let draw = (ask.cascade || ask.lot_short) && !found.draw.is_subset(&more.draw);
                let grown = rest || draw;
                if grown {
                    // What stands in the way goes too, or is kept as was said; the turn is begun
                    // again with it.
                    tx.leave().await?;
                    more.rest.extend(found.rest);
                    more.draw.extend(found.draw);
                    attempts = Attempts::default();
                } else {
                    attempts.refused(kit, tx, problem).await?;
                }
            }
            Ok((answer, true)) => {
                tx.leave().await?;
                let mut reply = Reply::json(&answer);
                reply.replayed = true;
                return Ok(reply);
            }
            // What would be voided is shown, and nothing is changed.
            Ok((answer, false)) if ask.dry_run => {
                tx.leave().await?;
                return Ok(Reply::json(&answer));
            }
            Ok((answer, false)) => return tx.save(answer).await.map(|answer| Reply::json(&answer)),
        }
    }
}

async fn void_in(
    tx: &mut WriteTx,
    kind: Kind,
    text: &str,
    key: Option<&Key>,
    ask: &Ask,
    more: &InTheWay,
) -> Result<(Value, bool), Problem> {
    let mut asks = Asks::default();
    asks.add(kind, text);
    let answers = asks.look(tx, key).await?;
    if let Some(stored) = idempotency::replay(answers.key.as_ref(), key)? {
        return Ok((serde_json::from_str(&stored).map_err(Problem::internal)?, true));
    }
    let found = answers.find(kind, text).ok_or_else(|| no_such(kind, text))?;
    let set = void::void(tx, kind, found.seq, ask, more).await?;
    tx.settle().await?;
    let lines: Vec<Value> = set.iter().map(|d| d.line().clone()).collect();
    let answer = json!({"dry_run": ask.dry_run, "voided": lines});
    if let Some(key) = key
        && !ask.dry_run
    {
        idempotency::bind(tx, key, found.seq, &answer.to_string());
    }
    Ok((answer, false))
}

/// List and read: the routes of a collection that is only read.
#[must_use]
pub fn reading(kit: &Kit, kind: Kind, filters: &'static [ListFilter]) -> Vec<Route> {
    let base = format!("/v1/{}", kind.collection());
    let (list_kit, get_kit) = (kit.clone(), kit.clone());
    let mut params = list_params();
    params.extend(filters.iter().map(|f| Param {
        required: false,
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
