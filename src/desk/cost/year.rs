//! `/v1/reports/costs`: what a span of time cost, on whom it fell, and what the shop's rule of
//! overhead brought in of it. `/v1/reports/money`: what came in and went out, line by line.

use super::answer::{lacking, lacking_schema, parts_schema, put_parts};
use super::gather::{self, Gathered};
use super::price::{price, total};
use super::store;
use crate::book::api::Kit;
use crate::book::reach;
use crate::db::ReadTx;
use crate::kernel::actor::Right;
use crate::kernel::{Instant, Kind, Money, Problem, ProblemType, Seq};
use crate::science::costing::{Bearer, Part};
use crate::shop::house::settings::{self, Settings};
use crate::web::route::handler;
use crate::web::{Answer, Ctx, Method, Param, Reply, Route};
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

/// The most lines of money answered at once.
const LINES: usize = 20_000;

/// The routes of a span of time.
pub fn routes(kit: &Kit) -> Vec<Route> {
    let (cost_kit, money_kit) = (kit.clone(), kit.clone());
    let whole = json!({"type": "integer"});
    let text = json!({"type": "string"});
    let mut job = parts_schema(&["number", "title"]);
    for (name, schema) in [("number", &text), ("title", &text)] {
        job["properties"][name] = schema.clone();
    }
    let costs = json!({"type": "object", "required": ["from", "to", "jobs", "lacking"], "properties": {
        "from": {"type": "string", "format": "date-time"}, "to": {"type": "string", "format": "date-time"}, "currency": text,
        "all": parts_schema(&[]), "jobs": {"type": "array", "items": job},
        "moulds_minor": {"type": "integer", "description": "on moulds, for copies that are not on record yet"},
        "shop_minor": {"type": "integer", "description": "on nobody: heats that poured nothing, loads of no shells"},
        "overhead": {"type": "object", "properties": {
            "recovered_minor": {"type": "integer", "description": "what jobs were charged by the shop's rule"},
            "expenses_minor": {"type": "integer", "description": "expenses of the shop as such, on record"},
            "shop_minor": whole,
            "real_minor": {"type": "integer", "description": "expenses, and what fell on nobody"},
            "difference_minor": {"type": "integer", "description": "recovered less real"}}},
        "lacking": lacking_schema()}});
    let money = json!({"type": "object", "required": ["from", "to", "items", "left_out"], "properties": {
        "from": {"type": "string", "format": "date-time"}, "to": {"type": "string", "format": "date-time"}, "currency": text,
        "left_out": {"type": "integer", "description": "lines beyond the most that are answered"},
        "in_minor": whole, "out_minor": whole,
        "items": {"type": "array", "items": {"type": "object", "required": ["at", "kind", "what", "id"], "properties": {
            "at": {"type": "string", "format": "date-time"}, "day": {"type": "string", "format": "date"},
            "kind": {"type": "string", "enum": ["payment", "cost", "expense", "outside_work"]}, "what": text, "number": text, "title": text,
            "with": text, "note": text, "amount_minor": {"type": "integer", "description": "in above 0, out below"},
            "id": {"type": "string", "format": "uuid"}}}}}});
    let route = |path: &str, operation: &str, about: &str, schema: Value, handler| Route {
        method: Method::Get,
        path: path.into(),
        operation: operation.into(),
        right: Right::Read,
        about: about.into(),
        heading: "Reports",
        params: span_params(),
        body: None,
        answer: Answer { status: 200, about: "The answer", media: "application/json", schema, etag: false },
        handler,
    };
    vec![
        route(
            "/v1/reports/costs",
            "report_costs",
            "What a span of time cost beside metal, job by job; overhead recovered against real",
            costs,
            handler(move |ctx| {
                let kit = cost_kit.clone();
                async move { costs_of(&kit, &ctx).await.map(|v| Reply::json(&v)) }
            }),
        ),
        route(
            "/v1/reports/money",
            "report_money",
            "Payments, bought-in costs and expenses line by line, for whoever keeps the books",
            money,
            handler(move |ctx| {
                let kit = money_kit.clone();
                async move { money_of(&kit, &ctx).await.map(|v| Reply::json(&v)) }
            }),
        ),
    ]
}

/// The parameters that ask for a span of time.
pub fn span_params() -> Vec<Param> {
    let instant = |name: &'static str, about: &'static str| Param {
        required: false,
        name,
        about,
        schema: json!({"type": "string", "format": "date-time"}),
    };
    vec![
        instant("from", "observed from here, inclusive; left out, from the beginning of the shop's year"),
        instant("to", "observed up to here, exclusive; left out, up to now"),
    ]
}

/// The span asked for; the shop's year up to now where it is not.
pub fn span(ctx: &Ctx, settings: &Settings) -> Result<(Instant, Instant), Problem> {
    let read = |name: &str| -> Result<Option<Instant>, Problem> {
        let wrong = || {
            let want = format!("The parameter {name} is an instant with an offset, as 2026-03-14T09:30:00Z.");
            Problem::new(ProblemType::Malformed, want)
        };
        ctx.param(name).map(|text| Instant::parse(text).ok_or_else(wrong)).transpose()
    };
    let year = settings.day(ctx.now).first_of_year();
    let begins = settings.begin(year).unwrap_or_else(|| Instant::from_ms(0));
    Ok((read("from")?.unwrap_or(begins), read("to")?.unwrap_or(ctx.now)))
}

async fn costs_of(kit: &Kit, ctx: &Ctx) -> Result<Value, Problem> {
    let mut read = kit.db.read().await?;
    let (from, to) = span(ctx, &*settings::of(&mut read).await?)?;
    let gathered = gather::between(&mut read, from, to).await?;
    let prices = price(&gathered);
    let borne = prices.borne(&gathered);
    let mut by_job: BTreeMap<Seq, Vec<&BTreeMap<Part, Money>>> = BTreeMap::new();
    let (mut moulds, mut shop) = (Money::ZERO, Money::ZERO);
    for (bearer, parts) in &borne {
        let sum: Money = parts.values().copied().sum();
        match job_of(&gathered, *bearer) {
            Some(job) => by_job.entry(job).or_default().push(parts),
            None if matches!(bearer, Bearer::Mould(_)) => moulds += sum,
            None => shop += sum,
        }
    }
    let names = store::titles(&mut read, &by_job.keys().copied().collect::<Vec<_>>()).await?;
    let mut jobs: Vec<(i64, Value)> = Vec::new();
    for (job, parts) in &by_job {
        let parts = total(parts.iter().copied());
        let sum: Money = parts.values().copied().sum();
        let (number, title) = names.iter().find(|(seq, ..)| seq == job).map_or(("", ""), |(_, n, t)| (n.as_str(), t.as_str()));
        let mut one = Map::new();
        one.insert("number".into(), number.into());
        one.insert("title".into(), title.into());
        put_parts(&mut one, &parts, Money::ZERO);
        jobs.push((sum.minor(), Value::Object(one)));
    }
    jobs.sort_by_key(|(sum, _)| std::cmp::Reverse(*sum));
    let jobs: Vec<Value> = jobs.into_iter().map(|(_, job)| job).collect();
    let mut all = Map::new();
    let parts = total(borne.values());
    put_parts(&mut all, &parts, Money::ZERO);
    let recovered = parts.get(&Part::Overhead).copied().unwrap_or_default();
    let expenses: Money = reach::between(&mut read, &[Kind::Expense], from, to).await?.iter().map(|e| amount(&e.body)).sum();
    let real = expenses + shop;
    Ok(json!({
        "from": from.to_string(), "to": to.to_string(), "currency": gathered.settings.value("currency", ctx.now),
        "all": all, "jobs": jobs, "moulds_minor": moulds.minor(), "shop_minor": shop.minor(),
        "overhead": {"recovered_minor": recovered.minor(), "expenses_minor": expenses.minor(), "shop_minor": shop.minor(),
                     "real_minor": real.minor(), "difference_minor": (recovered - real).minor()},
        "lacking": lacking(&prices),
    }))
}

fn amount(body: &Value) -> Money {
    Money::from_minor(body["amount_minor"].as_i64().or(body["cost_minor"].as_i64()).unwrap_or(0))
}

/// The job that a bearer is of.
fn job_of(gathered: &Gathered, bearer: Bearer) -> Option<Seq> {
    match bearer {
        Bearer::Commission(seq) => Some(seq),
        Bearer::Piece(seq) => gathered.jobs.get(&seq).copied(),
        Bearer::Casting(seq) => gathered.castings.get(&seq).map(|c| c.commission_seq),
        Bearer::Mould(_) | Bearer::Shop => None,
    }
}

async fn money_of(kit: &Kit, ctx: &Ctx) -> Result<Value, Problem> {
    let mut read = kit.db.read().await?;
    let settings = settings::of(&mut read).await?;
    let (from, to) = span(ctx, &settings)?;
    let found = reach::between(&mut read, &[Kind::Payment, Kind::Cost, Kind::Expense, Kind::OutsideWork], from, to).await?;
    let found: Vec<reach::Found> = found.into_iter().filter(|f| !amount(&f.body).is_zero()).collect();
    let left_out = found.len().saturating_sub(LINES);
    let found = &found[left_out..];
    let (jobs, suppliers) = names_of(&mut read, found).await?;
    let (mut coming, mut going) = (Money::ZERO, Money::ZERO);
    let mut items = Vec::new();
    for line in found {
        let money = amount(&line.body);
        let sign = if line.kind == Kind::Payment { 1 } else { -1 };
        if sign > 0 {
            coming += money;
        } else {
            going += money;
        }
        let what = match line.kind {
            Kind::Payment => "for",
            Kind::OutsideWork => "what",
            _ => "kind",
        };
        let mut one = Map::new();
        for (name, value) in [
            ("at", json!(line.at.to_string())),
            ("day", json!(settings.day(line.at).to_string())),
            ("kind", json!(line.kind.name())),
            ("what", json!(line.body[what].as_str().unwrap_or_default())),
            ("note", line.body["note"].clone()),
            ("amount_minor", json!(money.minor() * sign)),
            ("id", json!(line.id.to_string())),
        ] {
            one.insert(name.into(), value);
        }
        if let Some((_, number, title)) = jobs.get(&line.seq) {
            one.insert("number".into(), number.as_str().into());
            one.insert("title".into(), title.as_str().into());
        }
        if let Some(name) = suppliers.get(&line.seq) {
            one.insert("with".into(), name.as_str().into());
        }
        one.retain(|_, value| !value.is_null());
        items.push(Value::Object(one));
    }
    Ok(json!({
        "from": from.to_string(), "to": to.to_string(), "currency": settings.value("currency", ctx.now), "left_out": left_out,
        "in_minor": coming.minor(), "out_minor": going.minor(), "items": items,
    }))
}

type Jobs = BTreeMap<Seq, (Seq, String, String)>;

/// The job and the supplier that each of some lines names.
async fn names_of(read: &mut ReadTx, found: &[reach::Found]) -> Result<(Jobs, BTreeMap<Seq, String>), Problem> {
    let references = reach::referred(read, &found.iter().map(|f| f.seq).collect::<Vec<_>>()).await?;
    let of = |member: &str| references.iter().filter(|r| r.member == member).map(|r| r.target).collect::<Vec<_>>();
    let titles = store::titles(read, &of("commission_id")).await?;
    let suppliers = reach::by_seqs(read, &of("supplier")).await?;
    let (mut jobs, mut with) = (Jobs::new(), BTreeMap::new());
    for one in &references {
        if let Some(found) = titles.iter().find(|(seq, ..)| one.member == "commission_id" && *seq == one.target) {
            jobs.insert(one.record, found.clone());
        }
        if let Some(found) = suppliers.iter().find(|s| one.member == "supplier" && s.seq == one.target) {
            with.insert(one.record, found.body["name"].as_str().unwrap_or_default().to_owned());
        }
    }
    Ok((jobs, with))
}
