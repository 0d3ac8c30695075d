//! `/v1/quotes`, what becomes of them, and the letter to the client.

use super::answer;
use super::asked;
use super::model::{LineBody, MouldIs, QuoteBody, QuoteStepBody, Step};
use super::movers;
use super::record;
use super::schemas as described;
use super::store;
use super::verbs::{QuoteSteps, Quotes};
use super::worked::{Seed, Worked};
use super::{letter, ranges};
use crate::book::api::{
    Acted, InPath, Kit, act, by_ref, fill_draft, find, record as record_one, record_schema, request_schema, standard,
};
use crate::book::common::Draft;
use crate::book::merging::{Corrector, corrector};
use crate::book::render::{Adding, render_one};
use crate::book::resolve::Asks;
use crate::book::verbs;
use crate::db::ReadTx;
use crate::desk::cost;
use crate::kernel::actor::Right;
use crate::kernel::field::{Body as _, Day, Text};
use crate::kernel::{Fault, Instant, Kind, Problem, Seq};
use crate::shop::house::settings;
use crate::web::route::handler;
use crate::web::{Answer, Ctx, Method, Reply, RequestBody, Route};
use jiff::ToSpan as _;
use serde_json::{Map, Value, json};

const UNDER: InPath = InPath { kind: Kind::Quote, member: "quote_id" };
/// The longest that a quote may hold, in days.
const LONGEST_DAYS: i64 = 1_830;
/// Members of a line that may stand in the body itself where one line is asked for.
fn flat() -> Vec<&'static str> {
    LineBody::members().to_vec()
}

/// The routes.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let mut out = vec![create_route(kit)];
    for (step, about) in [
        (Step::Sent, "Record that a quote went to the client"),
        (Step::Accepted, "Accept a quote: it becomes a commission with its pieces and stages"),
        (Step::Declined, "Record that a quote was not taken"),
    ] {
        out.push(step_route(kit, step, about));
    }
    out.push(letter::route(kit));
    let owned = |route: Route| Route { right: Right::Own, ..route };
    // One quote is answered with how its job goes.
    out.push(one_route(kit));
    let rest = standard::<Quotes>(kit, store::QUOTES, Right::Own).into_iter().filter(|route| route.operation != "quote_get");
    out.extend(rest.map(owned));
    out.extend(standard::<QuoteSteps>(kit, store::STEPS, Right::Own).into_iter().map(owned));
    out.extend(ranges::routes(kit));
    out
}

fn create_route(kit: &Kit) -> Route {
    let mut schema = request_schema::<QuoteBody>(false, None);
    let (line, _) = LineBody::member_schemas();
    if let Some(properties) = schema["properties"].as_object_mut() {
        properties.shift_remove("worked");
        for (name, member) in line {
            properties.insert(name, member);
        }
    }
    schema["required"] = json!([]);
    schema["anyOf"] = json!([{"required": ["lines"]}, {"required": ["alloy", "copies"]}]);
    let kit = kit.clone();
    Route {
        method: Method::Post,
        path: "/v1/quotes".into(),
        operation: "quote_create".into(),
        right: Right::Own,
        about: "Quote a job by what such jobs cost here; one line may stand in the body itself".into(),
        heading: "Quotes",
        params: Vec::new(),
        body: Some(RequestBody { name: "QuoteNew".into(), schema, merge_patch: false }),
        answer: Answer { status: 201, about: "The quote", media: "application/json", schema: by_ref(Kind::Quote), etag: true },
        handler: handler(move |ctx| {
            let kit = kit.clone();
            async move { create(&kit, ctx).await }
        }),
    }
}

/// What was sent, with its one line among the lines; and whether it stood in the body itself.
fn with_lines(body: &Value) -> Result<(Value, bool), Problem> {
    let Value::Object(object) = body else { return Err(Problem::field("", "wrong-type", "Give a JSON object.")) };
    let mut object = object.clone();
    if object.contains_key("worked") {
        return Err(Problem::field("/worked", "unknown-field", "The book works that out; leave it out."));
    }
    let mut line = Map::new();
    for name in flat() {
        if let Some(value) = object.shift_remove(name) {
            line.insert(name.to_owned(), value);
        }
    }
    let in_itself = !object.contains_key("lines");
    if !in_itself && !line.is_empty() {
        let name = line.keys().next().cloned().unwrap_or_default();
        let message = "Give one line in the body itself, or several under lines, not both.";
        return Err(Problem::field(&format!("/{name}"), "twice", message));
    }
    if in_itself {
        object.insert("lines".into(), json!([line]));
    }
    Ok((Value::Object(object), in_itself))
}

/// Pointers as they were sent.
fn as_sent(problem: Problem, in_itself: bool) -> Problem {
    let mut problem = problem;
    if in_itself {
        for fault in &mut problem.faults {
            if let Some(rest) = fault.pointer.strip_prefix("/lines/0") {
                fault.pointer = rest.to_owned();
            }
        }
    }
    problem
}

async fn create(kit: &Kit, ctx: Ctx) -> Result<Reply, Problem> {
    let (mut value, in_itself) = with_lines(&ctx.body)?;
    let untitled = value["title"].is_null();
    if untitled {
        value["title"] = "untitled".into();
    }
    let back = |problem: Problem| as_sent(problem, in_itself);
    let mut draft: Draft<QuoteBody> = Draft::read(&value, ctx.now, false).map_err(back)?;
    let seed = draft.body.seed.map_or_else(|| u64::from_le_bytes(kit.db.clock().bytes()), |seed| seed.0);
    let mut read = kit.db.read().await?;
    let asked = asked::of(&mut read, &draft.body, ctx.now).await.map_err(back)?;
    dated(&mut draft.body, &asked.settings, draft.common.at, ctx.now)?;
    if untitled {
        let title: String = asked.lines.iter().map(|line| line.what.as_str()).collect::<Vec<_>>().join(", ");
        draft.body.title = Text(title.chars().take(200).collect());
    }
    let on_record = record::of(&mut read).await?;
    drop(read);
    moulds(&draft.body, &on_record).map_err(back)?;
    let tax = draft.body.tax_percent.map_or_else(|| asked.settings.number("tax_percent", asked.at), |tax| tax.0);
    let said = draft.body.set_price_minor.map(|price| price.0.minor());
    let worked = tokio::task::spawn_blocking(move || answer::work_out(&asked, &on_record, said, tax, seed));
    let value = worked.await.map_err(Problem::internal)??;
    draft.body.seed = Some(Seed(seed));
    draft.body.worked = Some(Worked(value));
    let mut asks = Asks::default();
    asks.add_draft(&mut draft);
    act(kit, &ctx, asks, |tx, answers| {
        let mut draft = draft.clone();
        Box::pin(async move {
            fill_draft(answers, &mut draft)?;
            verbs::create::<Quotes>(tx, draft).await.map(Acted::from)
        })
    })
    .await
    .map_err(back)
}

/// Refuses a new mould of which nobody knows what it costs: none was made on record, and nothing is said.
fn moulds(body: &QuoteBody, on_record: &record::Record) -> Result<(), Problem> {
    let known = movers::all().iter().position(|mover| mover.spec.name == "mould").is_some_and(|n| {
        on_record.comparables.iter().any(|past| past.values.get(n).copied().flatten().is_some_and(|value| value > 0.0))
    });
    let mut faults = Vec::new();
    for (n, line) in body.lines.0.iter().enumerate() {
        let pointer = format!("/lines/{n}/mould_minor");
        let new = line.0.mould == Some(MouldIs::New);
        if new && line.0.mould_minor.is_none() && !known {
            let message = "No mould was made on record yet: say what this one costs.".to_owned();
            faults.push(Fault { pointer, code: "required", message });
        } else if !new && line.0.mould_minor.is_some() {
            let message = "That is what a new mould costs: say mould new, or leave it out.".to_owned();
            faults.push(Fault { pointer, code: "not-of-this", message });
        }
    }
    if faults.is_empty() { Ok(()) } else { Err(Problem::invalid(faults)) }
}

/// Days that a quote holds and is wanted by: put in where nothing is said.
fn dated(body: &mut QuoteBody, settings: &settings::Settings, at: Instant, now: Instant) -> Result<(), Problem> {
    let (today, given) = (settings.day(now), settings.day(at));
    let mut faults = Vec::new();
    let mut fault = |pointer: &str, message: &str| {
        faults.push(Fault { pointer: pointer.into(), code: "out-of-range", message: message.into() });
    };
    #[expect(clippy::cast_possible_truncation, reason = "the setting is checked to be at most 1000")]
    let days = settings.number("quote_valid_days", at) as i64;
    let until = match body.valid_until {
        Some(day) => day.0,
        None => given.checked_add(days.days()).map_err(Problem::internal)?,
    };
    if until < given || given.checked_add(LONGEST_DAYS.days()).is_ok_and(|last| until > last) {
        fault("/valid_until", "A quote holds until a day from the one on which it is given, up to five years on.");
    }
    if body.due_on.is_some_and(|due| due.0 < given.min(today)) {
        fault("/due_on", "That day is over before the quote is given.");
    }
    body.valid_until = Some(Day(until));
    if faults.is_empty() { Ok(()) } else { Err(Problem::invalid(faults)) }
}

fn step_route(kit: &Kit, step: Step, about: &str) -> Route {
    let verb = match step {
        Step::Sent => "send",
        Step::Accepted => "accept",
        Step::Declined => "decline",
    };
    let mut schema = request_schema::<QuoteStepBody>(false, Some("quote_id"));
    if let Some(properties) = schema["properties"].as_object_mut() {
        properties.shift_remove("step");
        properties.shift_remove("commission_id");
    }
    let kit = kit.clone();
    Route {
        method: Method::Post,
        path: format!("/v1/quotes/{{id}}/{verb}"),
        operation: format!("quote_{verb}"),
        right: Right::Own,
        about: about.into(),
        heading: "Quotes",
        params: Vec::new(),
        body: Some(RequestBody { name: format!("QuoteStepNew_{verb}"), schema, merge_patch: false }),
        answer: Answer {
            status: 201,
            about: "The record",
            media: "application/json",
            schema: by_ref(Kind::QuoteStep),
            etag: true,
        },
        handler: handler(move |ctx| {
            let kit = kit.clone();
            async move {
                let mut ctx = ctx;
                if let Value::Object(body) = &mut ctx.body {
                    for name in ["step", "commission_id"] {
                        if body.contains_key(name) {
                            let message = "The path says the step, and the book makes the commission; leave it out.";
                            return Err(Problem::field(&format!("/{name}"), "in-path", message));
                        }
                    }
                    body.insert("step".into(), step.name().into());
                }
                record_one::<QuoteSteps>(&kit, ctx, Some(UNDER)).await
            }
        }),
    }
}

fn one_route(kit: &Kit) -> Route {
    let kit = kit.clone();
    Route {
        method: Method::Get,
        path: "/v1/quotes/{id}".into(),
        operation: "quote_get".into(),
        right: Right::Own,
        about: "A quote: what it said, on what it rests, and what the job has cost since".into(),
        heading: "Quotes",
        params: Vec::new(),
        body: None,
        answer: Answer { status: 200, about: "The quote", media: "application/json", schema: described::one(), etag: true },
        handler: handler(move |ctx| {
            let kit = kit.clone();
            async move {
                let mut read = kit.db.read().await?;
                let seq = named(&mut read, ctx.part("id")).await?;
                let mut out = render_one(&mut read, &kit.catalogue, seq).await?;
                let row = store::one(&mut read, seq).await?;
                let today = settings::of(&mut read).await?.day(ctx.now);
                out["lapsed"] = (matches!(state(&row), "draft" | "sent") && row.valid_until < today).into();
                let versions = store::versions(&mut read, &row.base).await?;
                out["versions"] = versions.iter().filter(|one| !one.void).map(store::QuoteRow::number).collect();
                if let Some(commission) = row.commission {
                    out["real"] = real(&mut read, &row, commission).await?;
                }
                Ok(Reply::json(&out))
            }
        }),
    }
}

/// What the job of a quote has cost, beside what was quoted.
async fn real(read: &mut ReadTx, quote: &store::QuoteRow, commission: Seq) -> Result<Value, Problem> {
    let Some(job) = cost::jobs(read, &[commission]).await?.pop() else { return Ok(Value::Null) };
    let ended = record::ended(&job);
    let finished = ended == record::Ended::Finished;
    let total = job.total;
    let groups: Map<String, Value> = record::groups(&job)
        .into_iter()
        .map(|(group, minor)| (format!("{group}_minor"), json!(answer::rounded(minor))))
        .collect();
    let money = |what: crate::kernel::Money| what.minor();
    let said = match (finished, total > quote.p80) {
        _ if ended == record::Ended::WithoutWork => "It ended without its work: the casting was lost.",
        (_, true) => "It has cost more than the quote said it would four times in five.",
        (true, false) if total > quote.p50 => "It is finished, within what was quoted, on the dear side.",
        (true, false) => "It is finished, within what was quoted.",
        (false, false) => "It is within what was quoted so far.",
    };
    Ok(json!({"finished": finished, "cost_minor": money(total), "past_p80": total > quote.p80, "provisional": job.provisional,
             "groups": groups, "said": said}))
}

/// The quote that a part of a path names.
///
/// # Errors
/// `not-found`.
pub async fn named(read: &mut ReadTx, text: &str) -> Result<Seq, Problem> {
    find(read, Kind::Quote, text).await
}

/// How a quote stands by what is on record; whether its days are over is apart from that.
#[must_use]
pub fn state(quote: &store::QuoteRow) -> &'static str {
    let was = |step: Step| quote.steps.iter().any(|(done, ..)| *done == step);
    if quote.void {
        "void"
    } else if quote.commission.is_some() || was(Step::Accepted) {
        "accepted"
    } else if was(Step::Declined) {
        "declined"
    } else if quote.superseded {
        "superseded"
    } else if was(Step::Sent) {
        "sent"
    } else {
        "draft"
    }
}

/// Members of what was worked out that a list of quotes leaves out.
const LONG: [&str; 4] = ["drivers", "basis", "lines_worked", "price"];

/// What is added to quotes: what was worked out, their number, and how they stand.
pub fn extras<'a>(read: &'a mut ReadTx, seqs: &'a [Seq]) -> Adding<'a> {
    Box::pin(async move {
        let rows = store::quotes(read, seqs).await?;
        let mut worked = store::worked(read, seqs).await?;
        let commissions: Vec<Seq> = rows.iter().filter_map(|row| row.commission).collect();
        let numbers = store::numbers(read, &commissions).await?;
        let mut out = crate::book::render::Added::new();
        for row in rows {
            let mut more = Map::new();
            if let Some(Value::Object(of_it)) = worked.remove(&row.seq) {
                for (name, member) in of_it {
                    let name = match name.as_str() {
                        "lines" => "lines_worked".to_owned(),
                        "interval80_minor" => "interval80".to_owned(),
                        _ => name,
                    };
                    if seqs.len() == 1 || !LONG.contains(&name.as_str()) {
                        more.insert(name, member);
                    }
                }
            }
            more.insert("worked".into(), Value::Null);
            more.insert("number".into(), row.number().into());
            more.insert("quote_version".into(), row.edition.into());
            more.insert("state".into(), state(&row).into());
            let job = row.commission.and_then(|c| numbers.iter().find(|(seq, ..)| *seq == c));
            if let Some((_, id, number)) = job {
                more.insert("commission".into(), json!({"id": id.to_string(), "number": number}));
            }
            out.insert(row.seq, more);
        }
        Ok(out)
    })
}

/// How its records are corrected, for what corrects records of many kinds.
#[must_use]
pub fn correctors() -> Vec<(Kind, Corrector)> {
    vec![corrector::<Quotes>(), corrector::<QuoteSteps>()]
}

/// The schemas of what is answered.
#[must_use]
pub fn schemas() -> Vec<(Kind, Value)> {
    vec![
        (Kind::Quote, record_schema::<QuoteBody>(Kind::Quote, &described::quote(), &[])),
        (Kind::QuoteStep, record_schema::<QuoteStepBody>(Kind::QuoteStep, &Map::new(), &[])),
    ]
}
