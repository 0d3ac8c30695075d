//! The route card of a casting: every record of its route in order, its shell, heats,
//! findings, work, metal and cost, and the cautions of the step that comes next.

mod page;

pub use page::pages;

use crate::book::api::{Kit, find};
use crate::book::render::{render, render_bare, render_one};
use crate::book::story;
use crate::db::ReadTx;
use crate::desk::cost::MetalCost;
use crate::kernel::actor::Right;
use crate::kernel::{Kind, Problem, Seq};
use crate::science::trade::{Catalogue as TradeCatalogue, TradeStep};
use crate::shop::casting::{self, CastingRow};
use crate::shop::house::trade;
use crate::shop::metal::{CastingFigures, casting_figures};
use crate::web::route::handler;
use crate::web::{Answer, Ctx, Method, Reply, Route};
use serde_json::{Value, json};

/// The route that answers it.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let kit = kit.clone();
    let record = json!({"type": "object", "required": ["kind", "record"], "properties": {
        "kind": {"type": "string"}, "record": {"type": "object"}}});
    let objects = json!({"type": "array", "items": {"type": "object"}});
    vec![Route {
        method: Method::Get,
        path: "/v1/castings/{id}".into(),
        operation: "casting_get".into(),
        right: Right::Read,
        about: "The route card of a casting".into(),
        heading: "Patterns, pieces and castings",
        params: Vec::new(),
        body: None,
        answer: Answer {
            status: 200,
            about: "The casting with every record of its route in order",
            media: "application/json",
            schema: json!({"allOf": [
                {"$ref": "#/components/schemas/Casting"},
                {"type": "object", "required": ["route", "findings", "work", "cautions"], "properties": {
                    "route": {"type": "array", "items": record}, "shell": {"type": "object"}, "heats": objects,
                    "findings": objects, "work": objects,
                    "metal": {"type": "object", "properties": {
                        "estimate_kg": {"type": "number"}, "poured_kg": {"type": "number"}, "net_kg": {"type": "number"},
                        "mass_kg": {"type": "number"}, "provisional": {"type": "boolean"}}},
                    "cost": {"type": "object"},
                    "cautions": {"type": "array", "items": {"type": "object", "required": ["code", "line"], "properties": {
                        "code": {"type": "string"}, "line": {"type": "string"}}}}
                }}
            ]}),
            etag: true,
        },
        handler: handler(move |ctx| {
            let kit = kit.clone();
            async move { card(&kit, &ctx).await }
        }),
    }]
}

async fn card(kit: &Kit, ctx: &Ctx) -> Result<Reply, Problem> {
    let mut read = kit.db.read().await?;
    card_of(kit, &mut read, ctx.part("id")).await.map(|(card, _)| Reply::json(&card))
}

/// The card of a casting, as answered, and its row.
async fn card_of(kit: &Kit, read: &mut ReadTx, text: &str) -> Result<(Value, CastingRow), Problem> {
    let seq = find(read, Kind::Casting, text).await?;
    let mut out = render_one(read, &kit.catalogue, seq).await?;
    let row = casting::by_seqs(read, &[seq]).await?.pop().ok_or_else(|| Problem::internal(format!("casting {seq}")))?;
    let story = story::load(read, &[seq], &[]).await?;
    let lines: Vec<&story::Line> = story.of(seq).collect();
    let seqs: Vec<Seq> = lines.iter().map(|l| l.seq).collect();
    let records = render(read, &kit.catalogue, &seqs).await?;
    let of_kind = |kind: Kind| -> Vec<Value> {
        lines.iter().zip(&records).filter(|(l, _)| l.kind == kind).map(|(_, r)| r.clone()).collect()
    };
    out["findings"] = of_kind(Kind::Finding).into();
    out["work"] = of_kind(Kind::Work).into();
    out["route"] = lines
        .iter()
        .zip(&records)
        .filter(|(l, _)| l.kind != Kind::Finding)
        .map(|(l, r)| json!({"kind": l.kind.name(), "record": r}))
        .collect();
    if let Some(shell) = row.shell_seq {
        out["shell"] = render_bare(read, &kit.catalogue, &[shell]).await?.pop().unwrap_or(Value::Null);
    }
    let heats: Vec<Seq> = story.context.iter().filter(|c| c.kind == Kind::Heat).map(|c| c.seq).collect();
    out["heats"] = render_bare(read, &kit.catalogue, &heats).await?.into();
    if let Some(figures) = casting_figures(read, &[seq]).await?.pop() {
        out["metal"] = metal_json(&figures);
        out["cost"] = json!({"metal": MetalCost::of(&figures).json(), "provisional": figures.provisional});
    }
    out["cautions"] = cautions(read, &row).await?;
    Ok((out, row))
}

fn metal_json(f: &CastingFigures) -> Value {
    let mut out =
        json!({"estimate_kg": f.estimate.kg(), "poured_kg": f.poured.kg(), "mass_kg": f.mass.kg(), "provisional": f.provisional});
    if let Some(net) = f.net {
        out["net_kg"] = json!(net.kg());
    }
    out
}

/// The step that comes next from where a casting stands.
fn next_step(stage: &str) -> Option<TradeStep> {
    Some(match stage {
        "wax" => TradeStep::Shell,
        "shell" => TradeStep::Burnout,
        "burnout" => TradeStep::Preheat,
        "preheat" => TradeStep::Pour,
        "pour" => TradeStep::Breakout,
        "breakout" | "bench" => TradeStep::Bench,
        "done" => TradeStep::Delivery,
        _ => return None,
    })
}

/// One line each of the cautions that stand at the next step; the cards are under
/// `/v1/trade/cautions`.
async fn cautions(read: &mut ReadTx, row: &CastingRow) -> Result<Value, Problem> {
    let Some(step) = next_step(&row.stage) else { return Ok(json!([])) };
    let trade = trade::of(read).await?;
    let built_in = TradeCatalogue::builtin().map_err(Problem::internal)?;
    let (alloy, material) = (trade.alloy(&row.alloy), trade.pattern_material(&row.material));
    Ok(built_in
        .cautions
        .iter()
        .filter(|c| c.stands(step, alloy, material))
        .map(|c| json!({"code": c.code, "line": c.line}))
        .collect())
}
