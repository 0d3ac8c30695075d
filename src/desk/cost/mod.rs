//! What jobs cost: so far their metal, in its three parts, per piece and per casting.
//!
//! The split is that of docs/ledger.md, *Metal cost of a job*: accepted, recast, lost. The
//! other parts of a job's cost are not built yet, and so are not in the answer.

mod store;

use crate::book::api::{Kit, find};
use crate::kernel::actor::Right;
use crate::kernel::{Kind, Mass, Money, Problem, Seq};
use crate::shop::casting::{self, CastingRow};
use crate::shop::metal::{CastingFigures, casting_figures};
use crate::web::route::handler;
use crate::web::{Answer, Ctx, Method, Reply, Route};
use serde_json::{Map, Value, json};

/// The metal cost of some castings.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct MetalCost {
    /// Nets of good castings at their heats' unit values.
    pub accepted: Money,
    /// All value resting on failed castings.
    pub recast: Money,
    /// All value.
    pub total: Money,
    /// Nets of good castings.
    pub net: Mass,
    /// What was poured for all of them.
    pub poured: Mass,
    /// Whether any of it may still change.
    pub provisional: bool,
}

impl MetalCost {
    /// Of one casting.
    #[must_use]
    pub fn of(f: &CastingFigures) -> Self {
        let total = f.resting + f.share;
        let (accepted, recast, net) = match f.state.as_str() {
            "good" => (f.at_unit, Money::ZERO, f.net.unwrap_or_default()),
            "failed" => (Money::ZERO, total, Mass::ZERO),
            _ => (Money::ZERO, Money::ZERO, Mass::ZERO),
        };
        Self { accepted, recast, total, net, poured: f.poured, provisional: f.provisional }
    }
    /// With another's.
    #[must_use]
    pub fn plus(self, other: Self) -> Self {
        Self {
            accepted: self.accepted + other.accepted,
            recast: self.recast + other.recast,
            total: self.total + other.total,
            net: self.net + other.net,
            poured: self.poured + other.poured,
            provisional: self.provisional || other.provisional,
        }
    }
    /// The rest; may be negative.
    #[must_use]
    pub fn lost(&self) -> Money {
        self.total - self.accepted - self.recast
    }
    /// As answered.
    #[must_use]
    pub fn json(&self) -> Value {
        json!({
            "accepted_minor": self.accepted.minor(), "lost_minor": self.lost().minor(), "recast_minor": self.recast.minor(),
            "total_minor": self.total.minor(), "net_kg": self.net.kg(), "poured_kg": self.poured.kg()
        })
    }
}

fn metal_schema() -> Value {
    let whole = json!({"type": "integer"});
    json!({"type": "object", "required": ["net_kg", "poured_kg"], "properties": {
        "accepted_minor": whole, "lost_minor": whole, "recast_minor": whole, "total_minor": whole,
        "net_kg": {"type": "number"}, "poured_kg": {"type": "number"}}})
}

/// The routes.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let kit = kit.clone();
    let casting = json!({"type": "object", "required": ["id", "tag", "attempt", "stage", "metal"], "properties": {
        "id": {"type": "string", "format": "uuid"}, "tag": {"type": "string"}, "part": {"type": "string"},
        "attempt": {"type": "integer"}, "stage": {"type": "string"}, "metal": metal_schema(), "provisional": {"type": "boolean"}}});
    vec![Route {
        method: Method::Get,
        path: "/v1/commissions/{id}/cost".into(),
        operation: "commission_cost".into(),
        right: Right::Read,
        about: "What a job cost: its metal, failed attempts included".into(),
        heading: "Clients and commissions",
        params: Vec::new(),
        body: None,
        answer: Answer {
            status: 200,
            about: "The metal cost in its three parts, per piece and per casting",
            media: "application/json",
            schema: json!({"type": "object", "required": ["metal", "provisional", "pieces"], "properties": {
                "currency": {"type": "string"}, "metal": metal_schema(), "provisional": {"type": "boolean"},
                "pieces": {"type": "array", "items": {"type": "object", "required": ["id", "metal", "castings"], "properties": {
                    "id": {"type": "string", "format": "uuid"}, "edition_mark": {"type": "string"}, "metal": metal_schema(),
                    "provisional": {"type": "boolean"}, "castings": {"type": "array", "items": casting}}}}}}),
            etag: false,
        },
        handler: handler(move |ctx| {
            let kit = kit.clone();
            async move { of_commission(&kit, &ctx).await }
        }),
    }]
}

async fn of_commission(kit: &Kit, ctx: &Ctx) -> Result<Reply, Problem> {
    let mut read = kit.db.read().await?;
    let commission = find(&mut read, Kind::Commission, ctx.part("id")).await?;
    let castings = casting::by_commission(&mut read, commission).await?;
    let seqs: Vec<Seq> = castings.iter().map(|c| c.seq).collect();
    let figures = casting_figures(&mut read, &seqs).await?;
    let currency = crate::shop::house::settings::of(&mut read).await?.value("currency", ctx.now);
    let pieces = store::pieces(&mut read, commission).await?;
    let mut total = MetalCost::default();
    let mut shown = Vec::new();
    for (piece, id, mark) in pieces {
        let mut of_piece = MetalCost::default();
        let mut items = Vec::new();
        for casting in castings.iter().filter(|c| c.piece_seq == piece) {
            let cost = figures.iter().find(|f| f.seq == casting.seq).map(MetalCost::of).unwrap_or_default();
            of_piece = of_piece.plus(cost);
            items.push(casting_json(casting, &cost));
        }
        total = total.plus(of_piece);
        let mut one = Map::new();
        one.insert("id".into(), id.into());
        if let Some(mark) = mark {
            one.insert("edition_mark".into(), mark.into());
        }
        one.insert("metal".into(), of_piece.json());
        one.insert("provisional".into(), of_piece.provisional.into());
        one.insert("castings".into(), items.into());
        shown.push(Value::Object(one));
    }
    Ok(Reply::json(&json!({"currency": currency, "metal": total.json(), "provisional": total.provisional, "pieces": shown})))
}

fn casting_json(casting: &CastingRow, cost: &MetalCost) -> Value {
    json!({"id": casting.id.to_string(), "tag": casting.tag, "part": casting.part, "attempt": casting.attempt,
           "stage": casting.stage, "metal": cost.json(), "provisional": cost.provisional})
}
