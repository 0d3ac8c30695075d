//! `/v1/metal-lots`, `/v1/receipts`, `/v1/metal/balance`.

use super::model::{CountBody, LotBody, OutBody, ReceiptBody, TransferBody};
use super::stock::{Counts, Outs, Transfers};
use super::store;
use super::verbs::{Lots, Receipts};
use crate::book::api::{InPath, Kit, ListFilter, find, post, record_schema, standard};
use crate::book::merging::{Corrector, corrector};
use crate::book::render::Adding;
use crate::db::ReadTx;
use crate::kernel::actor::Right;
use crate::kernel::{Instant, Kind, Mass, Money, Problem, ProblemType, Seq};
use crate::science::ledger::Account;
use crate::web::route::handler;
use crate::web::{Answer, Ctx, Method, Param, Reply, Route};
use serde_json::{Map, Value, json};

/// The routes.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let mut out = vec![
        post::<Lots>(kit, "/v1/metal-lots", "metal_lot_create", "Take metal into stock", Right::Log, None),
        post::<Receipts>(
            kit,
            "/v1/metal-lots/{id}/receipts",
            "receipt_create",
            "Buy metal into a pool",
            Right::Log,
            Some(InPath { kind: Kind::MetalLot, member: "lot_id" }),
        ),
        post::<Counts>(
            kit,
            "/v1/metal-lots/{id}/count",
            "count_create",
            "Weigh a lot: the difference is unexplained",
            Right::Log,
            Some(InPath { kind: Kind::MetalLot, member: "lot_id" }),
        ),
        post::<Outs>(
            kit,
            "/v1/metal-lots/{id}/out",
            "out_create",
            "Sell metal or write it off",
            Right::Own,
            Some(InPath { kind: Kind::MetalLot, member: "lot_id" }),
        ),
        post::<Transfers>(
            kit,
            "/v1/metal-lots/{id}/transfer",
            "transfer_create",
            "Move metal into a pool",
            Right::Log,
            Some(InPath { kind: Kind::MetalLot, member: "lot_id" }),
        ),
        movements_route(kit),
    ];
    out.extend(super::holdings::routes(kit));
    out.push(super::composition::route(kit));
    out.extend(standard::<Lots>(kit, store::FILTERS, Right::Correct));
    out.extend(standard::<Receipts>(kit, &[ListFilter::Refers { member: "lot_id", kind: Kind::MetalLot }], Right::Correct));
    out.extend(standard::<Counts>(kit, &[ListFilter::Refers { member: "lot_id", kind: Kind::MetalLot }], Right::Correct));
    out.extend(standard::<Outs>(kit, &[ListFilter::Refers { member: "lot_id", kind: Kind::MetalLot }], Right::Own));
    out.extend(standard::<Transfers>(kit, &[ListFilter::Refers { member: "lot_id", kind: Kind::MetalLot }], Right::Correct));
    out
}

/// What lots hold now.
pub fn extras<'a>(read: &'a mut ReadTx, seqs: &'a [Seq]) -> Adding<'a> {
    Box::pin(async move {
        let held = store::holdings(read, seqs).await?;
        Ok(held
            .into_iter()
            .map(|(seq, mass, value, received)| {
                // In an answer `mass_kg` is what is there now; what came in is `received_kg`.
                (
                    seq,
                    Map::from_iter([
                        ("mass_kg".to_owned(), json!(mass.kg())),
                        ("value_minor".to_owned(), json!(value.minor())),
                        ("received_kg".to_owned(), json!(received.kg())),
                    ]),
                )
            })
            .collect())
    })
}

fn movements_route(kit: &Kit) -> Route {
    let kit = kit.clone();
    Route {
        method: Method::Get,
        path: "/v1/metal-lots/{id}/movements".into(),
        operation: "metal_lot_movements".into(),
        right: Right::Read,
        about: "What went in and out of a lot, oldest first".into(),
        heading: "Metal",
        params: vec![
            Param {
                required: false,
                name: "limit",
                about: "how many, at most 200",
                schema: json!({"type": "integer", "minimum": 1, "maximum": 200, "default": 50}),
            },
            Param {
                required: false,
                name: "cursor",
                about: "next_cursor of the page before",
                schema: json!({"type": "string", "maxLength": 20}),
            },
        ],
        body: None,
        answer: Answer {
            status: 200,
            about: "A page of movements, and what the lot holds now",
            media: "application/json",
            schema: json!({"type": "object", "required": ["items", "mass_kg"], "properties": {
                "items": {"type": "array", "items": {"type": "object", "required": ["at", "record", "mass_kg", "into"], "properties": {
                    "at": {"type": "string", "format": "date-time"},
                    "record": {"type": "object", "required": ["kind", "id"], "properties": {"kind": {"type": "string"}, "id": {"type": "string"}}},
                    "into": {"type": "boolean"}, "other": {"type": "string"}, "other_id": {"type": "string"},
                    "mass_kg": {"type": "number"}, "value_minor": {"type": "integer"}}}},
                "mass_kg": {"type": "number"}, "value_minor": {"type": "integer"}, "next_cursor": {"type": "string"}}}),
            etag: false,
        },
        handler: handler(move |ctx| {
            let kit = kit.clone();
            async move { movements(&kit, &ctx).await }
        }),
    }
}

async fn movements(kit: &Kit, ctx: &Ctx) -> Result<Reply, Problem> {
    let malformed = |name| Problem::new(ProblemType::Malformed, format!("The parameter {name} cannot be read."));
    let limit = ctx.param("limit").map_or(Ok(50), str::parse::<i64>).map_err(|_| malformed("limit"))?;
    let after = ctx.param("cursor").map_or(Ok(0), str::parse::<i64>).map_err(|_| malformed("cursor"))?;
    if limit < 1 || after < 0 {
        return Err(malformed("limit"));
    }
    let limit = limit.min(200);
    let mut read = kit.db.read().await?;
    let lot = find(&mut read, Kind::MetalLot, ctx.part("id")).await?;
    let mut rows = store::lot_movements(&mut read, lot, after, limit + 1).await?;
    let more = i64::try_from(rows.len()).unwrap_or(0) > limit;
    rows.truncate(usize::try_from(limit).unwrap_or(200));
    let held = store::holdings(&mut read, &[lot]).await?.pop();
    let (mass, value) = held.map_or((Mass::ZERO, Money::ZERO), |(_, m, v, _)| (m, v));
    let items: Vec<Value> = rows.iter().map(movement_item).collect();
    let mut out = json!({"items": items, "mass_kg": mass.kg(), "value_minor": value.minor()});
    if more {
        out["next_cursor"] = (after + limit).to_string().into();
    }
    Ok(Reply::json(&out))
}

fn uuid_text(hex: &Value) -> Value {
    hex.as_str().and_then(|h| uuid::Uuid::parse_str(h).ok()).map_or(Value::Null, |id| id.to_string().into())
}

fn movement_item(row: &Value) -> Value {
    let into = row[7] == json!(1);
    let other = &row[if into { 3 } else { 4 }];
    let code = other.as_u64().and_then(|c| u8::try_from(c).ok()).unwrap_or(0);
    let name = Account::from_code(code, (code <= 4).then_some(0)).map_or("", Account::name);
    let mut item = json!({
        "at": Instant::from_ms(row[0].as_i64().unwrap_or(0)).to_string(),
        "record": {"kind": row[1], "id": uuid_text(&row[2])},
        "into": into,
        "other": name,
        "mass_kg": Mass::from_mg(row[5].as_i64().unwrap_or(0)).kg(),
        "value_minor": row[6],
    });
    if let Some(pair) =
        row[8].as_str().and_then(|t| serde_json::from_str::<Value>(t).ok()).or_else(|| row[8].is_array().then(|| row[8].clone()))
    {
        item["other_id"] = uuid_text(&pair[1]);
    }
    item
}

/// How its records are corrected, for what corrects records of many kinds.
#[must_use]
pub fn correctors() -> Vec<(Kind, Corrector)> {
    vec![corrector::<Counts>(), corrector::<Outs>(), corrector::<Transfers>(), corrector::<Lots>(), corrector::<Receipts>()]
}

/// The schemas of what is answered.
#[must_use]
pub fn schemas() -> Vec<(Kind, Value)> {
    let more = Map::from_iter([
        ("received_kg".to_owned(), json!({"type": "number"})),
        ("value_minor".to_owned(), json!({"type": "integer"})),
    ]);
    vec![
        (
            Kind::MetalLot,
            record_schema::<LotBody>(
                Kind::MetalLot,
                &more,
                &[("receipts", Kind::Receipt), ("counts", Kind::Count), ("outs", Kind::Out), ("transfers", Kind::Transfer)],
            ),
        ),
        (Kind::Receipt, record_schema::<ReceiptBody>(Kind::Receipt, &Map::new(), &[])),
        (Kind::Count, record_schema::<CountBody>(Kind::Count, &Map::new(), &[])),
        (Kind::Out, record_schema::<OutBody>(Kind::Out, &Map::new(), &[])),
        (Kind::Transfer, record_schema::<TransferBody>(Kind::Transfer, &Map::new(), &[])),
    ]
}
