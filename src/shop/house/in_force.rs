//! What is in force on a day: `/v1/settings-in-force`, `/v1/rates-in-force`.

use super::model::What;
use super::rates;
use super::settings::{self, SPECS};
use crate::book::api::Kit;
use crate::kernel::actor::Right;
use crate::kernel::{Kind, Problem, ProblemType};
use crate::web::route::handler;
use crate::web::{Answer, Ctx, Method, Param, Reply, Route};
use jiff::civil::Date;
use serde_json::{Value, json};

/// The routes.
pub fn routes(kit: &Kit) -> Vec<Route> {
    let on = Param {
        required: false,
        name: "on",
        about: "on which day of the shop; left out, today",
        schema: json!({"type": "string", "format": "date"}),
    };
    let route = |path: &str, operation: &str, about: &str, schema: Value, handler| Route {
        method: Method::Get,
        path: path.into(),
        operation: operation.into(),
        right: Right::Read,
        about: about.into(),
        heading: "The shop",
        params: vec![on.clone()],
        body: None,
        answer: Answer { status: 200, about: "The answer", media: "application/json", schema, etag: false },
        handler,
    };
    let (for_settings, for_rates) = (kit.clone(), kit.clone());
    vec![
        route(
            "/v1/settings-in-force",
            "settings_in_force",
            "Every setting as in force now, or on a day",
            settings_schema(),
            handler(move |ctx| {
                let kit = for_settings.clone();
                async move { settings_on(&kit, &ctx).await.map(|v| Reply::json(&v)) }
            }),
        ),
        route(
            "/v1/rates-in-force",
            "rates_in_force",
            "Every rate and price as in force now, or on a day",
            rates_schema(),
            handler(move |ctx| {
                let kit = for_rates.clone();
                async move { rates_on(&kit, &ctx).await.map(|v| Reply::json(&v)) }
            }),
        ),
    ]
}

/// The day asked for.
fn day(ctx: &Ctx, today: Date) -> Result<Date, Problem> {
    let malformed = |_| Problem::new(ProblemType::Malformed, "The parameter on is a day, as 2026-03-14.");
    ctx.param("on").map_or(Ok(today), |text| text.parse().map_err(malformed))
}

async fn settings_on(kit: &Kit, ctx: &Ctx) -> Result<Value, Problem> {
    let settings = settings::of(&mut kit.db.read().await?).await?;
    let on = day(ctx, settings.day(ctx.now))?;
    let item = |s: &settings::Spec| json!({"name": s.name, "value": settings.value_on(s.name, on), "about": s.about});
    Ok(json!({"on": on.to_string(), "items": SPECS.iter().map(item).collect::<Vec<_>>()}))
}

async fn rates_on(kit: &Kit, ctx: &Ctx) -> Result<Value, Problem> {
    let mut read = kit.db.read().await?;
    let (settings, rates) = (settings::of(&mut read).await?, rates::of(&mut read).await?);
    let on = day(ctx, settings.day(ctx.now))?;
    let item = |row: &rates::Row| {
        let mut item = json!({"what": row.what.name(), "from_on": row.from_on.to_string()});
        if let Some(amount) = row.amount {
            item["amount_minor"] = amount.minor().into();
        }
        if let Some(alloy) = &row.alloy {
            item["alloy"] = alloy.as_str().into();
        }
        if let Some((_, id)) = row.record {
            let member = if row.what == What::HandHour { Kind::Hand } else { Kind::Recipe };
            item[format!("{}_id", member.name())] = id.to_string().into();
        }
        item
    };
    Ok(json!({"on": on.to_string(), "items": rates.all_in_force(on).map(item).collect::<Vec<_>>()}))
}

fn settings_schema() -> Value {
    json!({"type": "object", "required": ["on", "items"], "properties": {
        "on": {"type": "string", "format": "date"},
        "items": {"type": "array", "items": {
            "type": "object", "required": ["name", "about"], "properties": {
                "name": {"type": "string"}, "value": {}, "about": {"type": "string"}}}}}})
}

fn rates_schema() -> Value {
    let words: Vec<&str> = What::ALL.iter().map(|w| w.name()).collect();
    json!({"type": "object", "required": ["on", "items"], "properties": {
        "on": {"type": "string", "format": "date"},
        "items": {"type": "array", "items": {
            "type": "object", "required": ["what", "from_on"], "properties": {
                "what": {"type": "string", "enum": words},
                "from_on": {"type": "string", "format": "date"},
                "amount_minor": {"type": "integer", "description": "minor units (cents) of the shop's currency"},
                "alloy": {"type": "string"},
                "hand_id": {"type": "string", "format": "uuid"},
                "recipe_id": {"type": "string", "format": "uuid"}}}}}})
}
