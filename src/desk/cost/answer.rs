//! `/v1/commissions/{id}/cost` and the records behind it, `/v1/commissions/{id}/cost-lines`.

use super::gather::{self, Gathered};
use super::metal::{MetalCost, metal_schema};
use super::price::{Prices, Sums, Why, price, total};
use super::store;
use crate::book::api::{Kit, find};
use crate::kernel::actor::Right;
use crate::kernel::{Kind, Money, Problem, ProblemType, Seq};
use crate::science::costing::{Bearer, Part, fall};
use crate::web::route::handler;
use crate::web::{Answer, Ctx, Method, Param, Reply, Route};
use serde_json::{Map, Value, json};
use std::collections::{BTreeMap, BTreeSet};

/// The most lines answered at once.
const LINES: usize = 2_000;

/// The routes of a job's cost.
pub fn routes(kit: &Kit) -> Vec<Route> {
    let (cost_kit, lines_kit) = (kit.clone(), kit.clone());
    let mut casting = parts_schema(&["id", "tag", "attempt", "stage", "metal"]);
    extend(
        &mut casting,
        [("id", uuid()), ("tag", text()), ("part", text()), ("attempt", whole()), ("stage", text()), ("metal", metal_schema())],
    );
    let mut piece = parts_schema(&["id", "metal", "castings"]);
    extend(
        &mut piece,
        [
            ("id", uuid()),
            ("edition_mark", text()),
            ("metal", metal_schema()),
            ("castings", json!({"type": "array", "items": casting})),
        ],
    );
    let mut job = parts_schema(&["metal", "provisional", "lacking", "pieces"]);
    extend(
        &mut job,
        [
            ("currency", text()),
            ("metal", metal_schema()),
            ("lacking", lacking_schema()),
            ("pieces", json!({"type": "array", "items": piece})),
            ("price_minor", whole()),
            ("quoted", quoted_schema()),
            ("paid_minor", whole()),
            ("balance_minor", whole()),
            ("margin_minor", whole()),
        ],
    );
    let route = |path: &str, operation: &str, about: &str, params: Vec<Param>, schema: Value, handler| Route {
        method: Method::Get,
        path: path.into(),
        operation: operation.into(),
        right: Right::Read,
        about: about.into(),
        heading: "Clients and commissions",
        params,
        body: None,
        answer: Answer { status: 200, about: "The answer", media: "application/json", schema, etag: false },
        handler,
    };
    let part = Param {
        required: false,
        name: "part",
        about: "only that part",
        schema: json!({"type": "string", "enum": Part::ALL.map(Part::name)}),
    };
    vec![
        route(
            "/v1/commissions/{id}/cost",
            "commission_cost",
            "What a job cost: metal, mould, wax, shell, fuel, wear, work, materials, services, royalty, delivery, overhead; per piece and per casting",
            Vec::new(),
            job,
            handler(move |ctx| {
                let kit = cost_kit.clone();
                async move { of_commission(&kit, &ctx).await.map(|v| Reply::json(&v)) }
            }),
        ),
        route(
            "/v1/commissions/{id}/cost-lines",
            "commission_cost_lines",
            "The records behind a job's cost, each with what of it falls on the job",
            vec![part],
            lines_schema(),
            handler(move |ctx| {
                let kit = lines_kit.clone();
                async move { lines(&kit, &ctx).await.map(|v| Reply::json(&v)) }
            }),
        ),
    ]
}

fn uuid() -> Value {
    json!({"type": "string", "format": "uuid"})
}

fn text() -> Value {
    json!({"type": "string"})
}

fn whole() -> Value {
    json!({"type": "integer"})
}

/// An object with the amount of each part and their total.
pub fn parts_schema(required: &[&str]) -> Value {
    let mut properties = Map::new();
    for part in Part::ALL {
        properties.insert(format!("{}_minor", part.name()), whole());
    }
    properties.insert("total_minor".into(), json!({"type": "integer", "description": "metal and all other parts"}));
    properties.insert("provisional".into(), json!({"type": "boolean"}));
    json!({"type": "object", "required": required, "properties": properties})
}

fn extend<const N: usize>(schema: &mut Value, more: [(&str, Value); N]) {
    for (name, value) in more {
        schema["properties"][name] = value;
    }
}

/// What is lacking of a cost.
pub fn lacking_schema() -> Value {
    json!({"type": "array", "items": {"type": "object", "required": ["part", "why", "records", "first"], "properties": {
        "part": text(), "why": {"type": "string", "description": "no-rate-…, no-area, no-fuel, heat-open, no-coats, metal-open"},
        "records": {"type": "integer", "description": "on how many records"},
        "first": {"type": "object", "required": ["kind", "id"], "properties": {"kind": text(), "id": uuid()}}}}})
}

fn quoted_schema() -> Value {
    json!({"type": "object", "required": ["past"], "description": "what the accepted quote said the job costs", "properties": {
        "p50_minor": {"type": "integer", "description": "more than that as often as less"},
        "p80_minor": {"type": "integer", "description": "less than that four times in five"},
        "past": {"type": "boolean", "description": "it has cost more than p80_minor by now"}}})
}

fn lines_schema() -> Value {
    json!({"type": "object", "required": ["items", "left_out"], "properties": {
        "currency": text(),
        "left_out": {"type": "integer", "description": "lines beyond the most that are answered"},
        "items": {"type": "array", "items": {"type": "object", "required": ["part", "at", "what", "kind", "id"], "properties": {
            "part": text(), "at": {"type": "string", "format": "date-time"}, "what": text(), "kind": text(), "id": uuid(),
            "amount_minor": {"type": "integer", "description": "what of it falls on the job"},
            "of_minor": {"type": "integer", "description": "what the record cost"}}}}}})
}

/// The amounts of the parts, those that are nothing left out, and with metal their total.
pub fn put_parts(into: &mut Map<String, Value>, parts: &BTreeMap<Part, Money>, metal: Money) {
    for (part, money) in parts {
        into.insert(format!("{}_minor", part.name()), money.minor().into());
    }
    let total = parts.values().copied().fold(metal, |sum, money| sum + money);
    into.insert("total_minor".into(), total.minor().into());
}

/// What is lacking, as answered.
pub fn lacking(prices: &Prices) -> Vec<Value> {
    let mut out = Vec::new();
    for ((part, why), lack) in &prices.lacking {
        out.push(json!({"part": part.name(), "why": why.code(), "records": lack.count,
                        "first": {"kind": lack.kind.name(), "id": lack.id.to_string()}}));
    }
    out
}

/// Those of a job among the bearers.
struct Job {
    commission: Seq,
    pieces: BTreeSet<Seq>,
    castings: BTreeMap<Seq, Seq>,
}

impl Job {
    fn of(gathered: &Gathered, commission: Seq) -> Self {
        let pieces = gathered.jobs.iter().filter(|(_, job)| **job == commission).map(|(piece, _)| *piece).collect();
        let castings = gathered.castings.values().filter(|c| c.commission_seq == commission && !c.void);
        Self { commission, pieces, castings: castings.map(|c| (c.seq, c.piece_seq)).collect() }
    }
    fn has(&self, bearer: Bearer) -> bool {
        match bearer {
            Bearer::Commission(seq) => seq == self.commission,
            Bearer::Piece(seq) => self.pieces.contains(&seq),
            Bearer::Casting(seq) => self.castings.contains_key(&seq),
            Bearer::Mould(_) | Bearer::Shop => false,
        }
    }
}

async fn of_commission(kit: &Kit, ctx: &Ctx) -> Result<Value, Problem> {
    let mut read = kit.db.read().await?;
    let commission = find(&mut read, Kind::Commission, ctx.part("id")).await?;
    let gathered = gather::of_job(&mut read, commission).await?;
    let prices = price(&gathered);
    let borne = prices.borne(&gathered);
    let job = Job::of(&gathered, commission);
    let pieces = store::pieces(&mut read, commission).await?;
    let money_in = store::money_in(&mut read, commission).await?;
    let currency = gathered.settings.value("currency", ctx.now);
    let (mut metal, mut shown) = (MetalCost::default(), Vec::new());
    for (piece, id, mark) in pieces {
        let (value, of_piece) = piece_json(&gathered, &borne, &job, piece, &id, mark);
        metal = metal.plus(of_piece);
        shown.push(value);
    }
    let parts = total(borne.iter().filter(|(bearer, _)| job.has(**bearer)).map(|(_, parts)| parts));
    let mut lacks = lacking(&prices);
    if metal.provisional
        && let Some(open) = gathered.figures.values().find(|f| f.provisional && job.castings.contains_key(&f.seq))
        && let Some(row) = gathered.castings.get(&open.seq)
    {
        let count = gathered.figures.values().filter(|f| f.provisional && job.castings.contains_key(&f.seq)).count();
        lacks.insert(
            0,
            json!({"part": "metal", "why": "metal-open", "records": count, "first": {"kind": "casting", "id": row.id.to_string()}}),
        );
    }
    let mut out = Map::new();
    out.insert("currency".into(), currency);
    out.insert("metal".into(), metal.json());
    put_parts(&mut out, &parts, metal.total);
    let cost = out["total_minor"].as_i64().unwrap_or(0);
    // What may still move by itself; what is lacking besides is named, and stays as it is.
    let open_heat = prices.lacking.keys().any(|(_, why)| *why == Why::HeatOpen);
    out.insert("provisional".into(), (metal.provisional || open_heat).into());
    out.insert("lacking".into(), lacks.into());
    if let Some(agreed) = money_in.price {
        out.insert("price_minor".into(), agreed.minor().into());
        out.insert("balance_minor".into(), (agreed - money_in.paid).minor().into());
        out.insert("margin_minor".into(), (agreed.minor() - cost).into());
    }
    if let Some((p50, p80)) = money_in.quoted {
        let past = cost > p80.minor();
        out.insert("quoted".into(), json!({"p50_minor": p50.minor(), "p80_minor": p80.minor(), "past": past}));
    }
    out.insert("paid_minor".into(), money_in.paid.minor().into());
    out.insert("pieces".into(), shown.into());
    Ok(Value::Object(out))
}

fn piece_json(gathered: &Gathered, borne: &Sums, job: &Job, piece: Seq, id: &str, mark: Option<String>) -> (Value, MetalCost) {
    let (mut of_piece, mut items) = (MetalCost::default(), Vec::new());
    let mut all = vec![borne.get(&Bearer::Piece(piece)).cloned().unwrap_or_default()];
    let mut rows: Vec<_> =
        job.castings.iter().filter(|(_, of)| **of == piece).filter_map(|(seq, _)| gathered.castings.get(seq)).collect();
    rows.sort_by_key(|c| (c.part_n, c.attempt));
    for casting in rows {
        let cost = gathered.figures.get(&casting.seq).map(MetalCost::of).unwrap_or_default();
        of_piece = of_piece.plus(cost);
        let parts = borne.get(&Bearer::Casting(casting.seq)).cloned().unwrap_or_default();
        let mut one = Map::new();
        for (name, value) in [
            ("id", json!(casting.id.to_string())),
            ("tag", json!(casting.tag)),
            ("part", json!(casting.part)),
            ("attempt", json!(casting.attempt)),
            ("stage", json!(casting.stage)),
            ("metal", cost.json()),
            ("provisional", json!(cost.provisional)),
        ] {
            one.insert(name.into(), value);
        }
        put_parts(&mut one, &parts, cost.total);
        items.push(Value::Object(one));
        all.push(parts);
    }
    let mut one = Map::new();
    one.insert("id".into(), id.into());
    if let Some(mark) = mark {
        one.insert("edition_mark".into(), mark.into());
    }
    one.insert("metal".into(), of_piece.json());
    put_parts(&mut one, &total(&all), of_piece.total);
    one.insert("provisional".into(), of_piece.provisional.into());
    one.insert("castings".into(), items.into());
    (Value::Object(one), of_piece)
}

async fn lines(kit: &Kit, ctx: &Ctx) -> Result<Value, Problem> {
    let part = match ctx.param("part") {
        None => None,
        Some(name) => Some(Part::parse(name).ok_or_else(|| {
            let names: Vec<&str> = Part::ALL.iter().map(|part| part.name()).collect();
            Problem::new(ProblemType::Malformed, format!("The parameter part is one of: {}.", names.join(" ")))
        })?),
    };
    let mut read = kit.db.read().await?;
    let commission = find(&mut read, Kind::Commission, ctx.part("id")).await?;
    let gathered = gather::of_job(&mut read, commission).await?;
    let prices = price(&gathered);
    let job = Job::of(&gathered, commission);
    let mut items = Vec::new();
    for priced in prices.lines.iter().filter(|p| part.is_none_or(|part| p.line.part == part)) {
        let falls = fall(&priced.line, &gathered.bearers);
        let mine: Money = falls.iter().filter(|(bearer, _)| job.has(*bearer)).map(|(_, money)| *money).sum();
        if !mine.is_zero() {
            items.push((
                priced.at,
                json!({"part": priced.line.part.name(), "at": priced.at.to_string(), "what": priced.what, "kind": priced.kind.name(),
                       "id": priced.id.to_string(), "amount_minor": mine.minor(), "of_minor": priced.line.amount.minor()}),
            ));
        }
    }
    items.sort_by_key(|(at, _)| *at);
    let left_out = items.len().saturating_sub(LINES);
    let items: Vec<Value> = items.into_iter().take(LINES).map(|(_, line)| line).collect();
    let currency = gathered.settings.value("currency", ctx.now);
    Ok(json!({"currency": currency, "left_out": left_out, "items": items}))
}
