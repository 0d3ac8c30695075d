//! `/v1/metal-lots/{id}/composition`: what a lot is made of now, by what went into it.

use super::store::{self, chemistry::upstream};
use crate::book::api::{Kit, find};
use crate::kernel::actor::Right;
use crate::kernel::{Kind, Problem};
use crate::science::ledger::chemistry;
use crate::web::route::handler;
use crate::web::{Answer, Ctx, Method, Reply, Route};
use serde_json::{Value, json};

/// The route.
#[must_use]
pub fn route(kit: &Kit) -> Route {
    let kit = kit.clone();
    Route {
        method: Method::Get,
        path: "/v1/metal-lots/{id}/composition".into(),
        operation: "metal_lot_composition".into(),
        right: Right::Read,
        about: "What a lot is made of now, by what went into it".into(),
        heading: "Metal",
        params: Vec::new(),
        body: None,
        answer: Answer {
            status: 200,
            about: "Mass-weighted percent of the elements that every entry told of; or that it is unmeasured, and since which record",
            media: "application/json",
            schema: schema(),
            etag: false,
        },
        handler: handler(move |ctx| {
            let kit = kit.clone();
            async move { composition(&kit, &ctx).await }
        }),
    }
}

fn schema() -> Value {
    json!({"type": "object", "properties": {
        "composition_now": {"type": "object", "additionalProperties": {"type": "number"}},
        "composition_unmeasured": {"type": "boolean", "const": true},
        "unmeasured_since": {"type": "object", "required": ["kind", "id", "href"], "properties": {
            "kind": {"type": "string"}, "id": {"type": "string", "format": "uuid"}, "href": {"type": "string"}}}}})
}

async fn composition(kit: &Kit, ctx: &Ctx) -> Result<Reply, Problem> {
    let mut read = kit.db.read().await?;
    let lot = find(&mut read, Kind::MetalLot, ctx.part("id")).await?;
    let (movements, brought) = upstream(&mut read, lot).await?;
    let known = chemistry(&movements, &brought, lot);
    if !known.analysis.is_empty() {
        return Ok(Reply::json(&json!({"composition_now": known.analysis})));
    }
    let mut out = json!({"composition_unmeasured": true});
    if let Some(record) = known.lost_by
        && let Some((_, kind, id, _)) = store::named(&mut read, &[record]).await?.pop()
    {
        let collection = Kind::parse(&kind).map_or("", Kind::collection);
        out["unmeasured_since"] = json!({"kind": kind, "id": id.to_string(), "href": format!("/v1/{collection}/{id}")});
    }
    Ok(Reply::json(&out))
}
