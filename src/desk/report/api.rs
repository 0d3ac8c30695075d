//! `/v1/reports/leaks`, `/shorts`, `/defects`, `/yields`.

use super::ask::{Ask, params};
use super::{rates, rates_drawing, yields};
use crate::book::api::Kit;
use crate::kernel::actor::Right;
use crate::web::route::{JSON_OR_SVG, handler};
use crate::web::{Answer, Method, Reply, Route};
use serde_json::{Value, json};

/// The routes.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    [
        ("leaks", "Leaks by a factor: shells that leaked of those poured", &["unit"][..]),
        ("shorts", "Short or stopped pours by a factor: shells of those poured", &["unit"]),
        ("defects", "Defects by a factor: castings with a finding of those broken out", &["code"]),
        ("yields", "Yields by a factor, from the charge to the good casting", &[]),
    ]
    .into_iter()
    .map(|(name, about, more)| route(kit, name, about, more))
    .chain(super::metal_api::routes(kit))
    .chain(super::evidence_api::routes(kit))
    .chain([super::chart::route(kit), super::model::route(kit)])
    .collect()
}

fn route(kit: &Kit, name: &'static str, about: &str, more: &[&'static str]) -> Route {
    let kit = kit.clone();
    // A rate by levels can be drawn; yields have no one drawing.
    let media = if name == "yields" { "application/json" } else { JSON_OR_SVG };
    Route {
        method: Method::Get,
        path: format!("/v1/reports/{name}"),
        operation: format!("report_{name}"),
        right: Right::Read,
        about: about.into(),
        heading: "Reports",
        params: params(more),
        body: None,
        answer: Answer { status: 200, about: "The report", media, schema: schema(name), etag: false },
        handler: handler(move |ctx| {
            let kit = kit.clone();
            async move {
                let mut read = kit.db.read().await?;
                let ask = Ask::read(&mut read, &ctx).await?;
                if name == "yields" {
                    return Ok(Reply::json(&yields::report(&mut read, &ask, ctx.now).await?));
                }
                let report = rates::report(&mut read, &ask, name, ctx.now).await?;
                Ok(Reply::json(&report).drawn(|report| rates_drawing::rates(report).alone()))
            }
        }),
    }
}

fn schema(name: &str) -> Value {
    let (whole, part, text) = (json!({"type": "integer", "minimum": 0}), json!({"type": "number"}), json!({"type": "string"}));
    let counted: &[&str] = match name {
        "leaks" => &["poured", "leaked"],
        "shorts" => &["poured", "short"],
        "defects" => &["seen", "count", "findings"],
        _ => &["heats", "castings"],
    };
    let measured: &[&str] = match name {
        "leaks" => &["rate", "low", "high", "lost_kg"],
        "shorts" => &["rate", "low", "high"],
        "defects" => &["rate", "low", "high", "findings_per_casting"],
        _ => &[
            "charge_recovery",
            "melt_loss",
            "pouring_yield",
            "good_yield",
            "metal_yield",
            "first_pass_yield",
            "rolled_throughput_yield",
            "charged_kg",
            "poured_kg",
        ],
    };
    let mut figures = json!({});
    for member in counted {
        figures[*member] = whole.clone();
    }
    for member in measured {
        figures[*member] = part.clone();
    }
    if name == "yields" {
        figures["first_pass"] = json!({"type": "object", "required": ["of", "count"], "properties": {
            "of": whole, "count": whole, "rate": part, "low": part, "high": part}});
        figures["route"] = json!({"type": "array", "items": {"type": "object", "required": ["stage", "entered", "clean"], "properties": {
            "stage": text, "entered": whole, "clean": whole}}});
    }
    let overall = json!({"type": "object", "required": counted, "properties": figures});
    let mut row = overall.clone();
    row["required"] = counted.iter().chain(&["level", "label"]).copied().collect();
    row["properties"]["level"] = json!({"type": ["string", "null"], "description": "null: not on record"});
    row["properties"]["label"] = text.clone();
    row["properties"]["level_id"] = json!({"type": "string", "format": "uuid"});
    let mut out = json!({"type": "object", "required": ["by", "rows", "waiting", "overall"], "properties": {
        "by": text, "filters": {"type": "object"}, "interval": text,
        "unit": {"type": "string", "description": "what is counted: shell or casting"},
        "counts_in_several": {"type": "boolean", "description": "one with several levels counts in each"},
        "bands": {"type": "object", "required": ["edges", "unit", "setting"], "properties": {
            "edges": {"type": "array", "items": part}, "unit": text, "setting": text}},
        "left_out": {"type": "object", "required": ["count", "why"], "properties": {"count": whole, "why": text}},
        "rows": {"type": "array", "items": row},
        "waiting": {"type": "object", "required": ["count"], "properties": {
            "count": whole, "if_all_good": part, "if_all_bad": part}},
        "overall": overall
    }});
    if name != "yields" {
        let row = &mut out["properties"]["rows"]["items"]["properties"];
        for member in ["shrunken", "shrunken_low", "shrunken_high"] {
            row[member] = json!({"type": "number", "description": "the rate drawn towards those of the other levels"});
        }
        row["place"] = json!({"type": "object", "description": "the places it may stand at, the lowest rate first",
            "properties": {"from": whole, "to": whole}});
        out["properties"]["homogeneity"] =
            json!({"type": "object", "required": ["method", "p"], "properties": {"method": text, "p": part}});
        out["properties"]["comparisons"] = json!({"type": "array", "items": super::evidence_api::comparison()});
        out["properties"]["compared"] = json!({"type": "object", "required": ["count", "how", "words"], "properties": {
            "count": whole, "how": text, "threshold": part, "adjusted_for": {"type": "array", "items": text}, "left_out": whole, "words": text}});
    }
    if name == "defects" {
        out["properties"]["pareto"] = json!({"type": "array", "items": {"type": "object",
            "required": ["code", "name", "count", "castings", "share", "cumulative"], "properties": {
            "code": text, "name": text, "count": whole, "castings": whole, "share": part, "cumulative": part}}});
    }
    out
}
