//! `/v1/metal/balance` and `/v1/metal/stock`, now or at any instant.

use super::store::at::{self, Held, LotRow};
use crate::book::api::Kit;
use crate::kernel::actor::Right;
use crate::kernel::{Instant, Mass, Money, Problem, ProblemType};
use crate::science::ledger::Account;
use crate::web::route::handler;
use crate::web::{Answer, Ctx, Method, Param, Reply, Route};
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

/// The parameter that names the instant.
fn at_param() -> Param {
    Param {
        required: false,
        name: "at",
        about: "as it stood then, what happened at that instant among it; now, when left out",
        schema: json!({"type": "string", "format": "date-time"}),
    }
}

/// Reads the parameter `at`.
///
/// # Errors
/// `malformed` for what is no instant.
fn at_asked(ctx: &Ctx) -> Result<Option<Instant>, Problem> {
    let want = || {
        let detail = "The parameter at is an instant with an offset, as 2026-03-14T09:30:00Z.";
        Problem::new(ProblemType::Malformed, detail)
    };
    ctx.param("at").map(|text| Instant::parse(text).ok_or_else(want)).transpose()
}

/// The routes.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let (for_balance, for_stock) = (kit.clone(), kit.clone());
    vec![
        Route {
            method: Method::Get,
            path: "/v1/metal/balance".into(),
            operation: "metal_balance".into(),
            right: Right::Read,
            about: "Where every gram and every cent is, or was".into(),
            heading: "Metal",
            params: vec![at_param()],
            body: None,
            answer: Answer {
                status: 200,
                about: "All that came in, where it is, and both closing differences, which are 0",
                media: "application/json",
                schema: balance_schema(),
                etag: false,
            },
            handler: handler(move |ctx| {
                let kit = for_balance.clone();
                async move { balance(&kit, &ctx).await }
            }),
        },
        Route {
            method: Method::Get,
            path: "/v1/metal/stock".into(),
            operation: "metal_stock".into(),
            right: Right::Read,
            about: "What every lot holds, or held, and the totals by alloy and by owner".into(),
            heading: "Metal",
            params: vec![at_param()],
            body: None,
            answer: Answer {
                status: 200,
                about: "The lots that hold something; in all it is what the balance has in stock",
                media: "application/json",
                schema: stock_schema(),
                etag: false,
            },
            handler: handler(move |ctx| {
                let kit = for_stock.clone();
                async move { stock(&kit, &ctx).await }
            }),
        },
    ]
}

fn balance_schema() -> Value {
    let holding = holding_schema();
    let mut properties = Map::new();
    for name in ["bought", "in_stock", "in_heats", "in_shells", "in_castings", "delivered", "sold", "written_off"] {
        properties.insert(name.into(), holding.clone());
    }
    properties.insert("at".into(), json!({"type": "string", "format": "date-time"}));
    properties.insert("by_sink".into(), json!({"type": "object", "additionalProperties": holding}));
    properties.insert(
        "closing_difference".into(),
        json!({"type": "object", "required": ["mass_mg"], "properties": {
        "mass_mg": {"type": "integer"}, "value_minor": {"type": "integer"}}}),
    );
    json!({"type": "object", "properties": properties})
}

fn holding_schema() -> Value {
    json!({"type": "object", "required": ["mass_kg"], "properties": {"mass_kg": {"type": "number"}, "value_minor": {"type": "integer"}}})
}

fn stock_schema() -> Value {
    let (text, id) = (json!({"type": "string"}), json!({"type": "string", "format": "uuid"}));
    let (number, whole) = (json!({"type": "number"}), json!({"type": "integer"}));
    let held = |own: Value, required: &[&str]| {
        let mut schema = holding_schema();
        for (name, of) in own.as_object().into_iter().flatten() {
            schema["properties"][name] = of.clone();
        }
        schema["required"] = required.iter().chain(&["mass_kg"]).copied().collect();
        schema
    };
    let owner = json!({"type": "string", "enum": ["shop", "client"]});
    let lot = held(
        json!({"id": id, "href": text, "alloy": text, "kind": text, "owner": owner, "owner_client_id": id, "owner_name": text,
               "unit_value_minor_per_kg": number}),
        &["id", "href", "alloy", "kind", "owner"],
    );
    json!({"type": "object", "required": ["at", "lots", "by_alloy", "by_owner", "total"], "properties": {
        "at": {"type": "string", "format": "date-time"},
        "lots": {"type": "array", "items": lot},
        "by_alloy": {"type": "array", "items": held(json!({"alloy": text, "lots": whole}), &["alloy", "lots"])},
        "by_owner": {"type": "array", "items": held(
            json!({"owner": owner, "owner_client_id": id, "owner_name": text, "href": text, "lots": whole}), &["owner", "lots"])},
        "total": holding_schema()}})
}

fn shown((mass, value): (Mass, Money)) -> Value {
    json!({"mass_kg": mass.kg(), "value_minor": value.minor()})
}

async fn balance(kit: &Kit, ctx: &Ctx) -> Result<Reply, Problem> {
    let asked = at_asked(ctx)?;
    let mut read = kit.db.read().await?;
    let totals = at::totals(&mut read, asked).await?;
    let held = |account: Account| {
        let code = i64::from(account.code().0);
        totals.iter().find(|h| h.kind == code).map_or((Mass::ZERO, Money::ZERO), |h| (h.mass, h.value))
    };
    let outside = held(Account::Outside);
    let bought = (-outside.0, -outside.1);
    let mut out = json!({"bought": shown(bought)});
    if let Some(at) = asked {
        out["at"] = at.to_string().into();
    }
    let mut found = (Mass::ZERO, Money::ZERO);
    for (name, account) in [
        ("in_stock", Account::Lot(0)),
        ("in_heats", Account::Heat(0)),
        ("in_shells", Account::Shell(0)),
        ("in_castings", Account::Casting(0)),
        ("delivered", Account::Delivered),
        ("sold", Account::Sold),
        ("written_off", Account::WrittenOff),
    ] {
        let holds = held(account);
        found = (found.0 + holds.0, found.1 + holds.1);
        out[name] = shown(holds);
    }
    let mut sinks = Map::new();
    for account in [Account::Dross, Account::Spill, Account::Leak, Account::Swarf, Account::Unexplained] {
        let holds = held(account);
        found = (found.0 + holds.0, found.1 + holds.1);
        sinks.insert(account.name().into(), shown(holds));
    }
    out["by_sink"] = Value::Object(sinks);
    out["closing_difference"] = json!({"mass_mg": (bought.0 - found.0).mg(), "value_minor": (bought.1 - found.1).minor()});
    Ok(Reply::json(&out))
}

/// Adds up lots by a name: how many, mass, value.
fn add(sums: &mut BTreeMap<String, (u32, Mass, Money)>, name: String, held: &Held) {
    let sum = sums.entry(name).or_default();
    *sum = (sum.0 + 1, sum.1 + held.mass, sum.2 + held.value);
}

#[expect(clippy::cast_precision_loss, reason = "shown as a price by the kilogram")]
fn lot_row(lot: &LotRow, held: &Held) -> Value {
    let mut row = shown((held.mass, held.value));
    row["id"] = lot.id.to_string().into();
    row["href"] = format!("/v1/metal-lots/{}", lot.id).into();
    row["alloy"] = lot.alloy.as_str().into();
    row["kind"] = lot.kind.as_str().into();
    row["owner"] = if lot.owner.is_some() { "client" } else { "shop" }.into();
    if let Some((id, name)) = &lot.owner {
        row["owner_client_id"] = id.to_string().into();
        row["owner_name"] = name.as_str().into();
    }
    if held.mass.mg() > 0 {
        row["unit_value_minor_per_kg"] = (held.value.minor() as f64 / held.mass.kg()).into();
    }
    row
}

async fn stock(kit: &Kit, ctx: &Ctx) -> Result<Reply, Problem> {
    let asked = at_asked(ctx)?;
    let mut read = kit.db.read().await?;
    let lot_code = i64::from(Account::Lot(0).code().0);
    let held: Vec<Held> = at::held(&mut read, asked).await?.into_iter().filter(|h| h.kind == lot_code).collect();
    let seqs: Vec<i64> = held.iter().map(|h| h.seq).collect();
    let lots = at::lots(&mut read, &seqs).await?;
    let (mut rows, mut total) = (Vec::new(), (Mass::ZERO, Money::ZERO));
    let (mut by_alloy, mut by_owner) = (BTreeMap::new(), BTreeMap::new());
    for ((_, lot), holds) in lots.iter().zip(&held) {
        rows.push(lot_row(lot, holds));
        total = (total.0 + holds.mass, total.1 + holds.value);
        add(&mut by_alloy, lot.alloy.clone(), holds);
        // The shop's own comes first: no client has an id without letters.
        add(&mut by_owner, lot.owner.as_ref().map_or_else(String::new, |(id, _)| id.to_string()), holds);
    }
    let name_of = |id: &str| lots.iter().find_map(|(_, l)| l.owner.as_ref().filter(|(o, _)| o.to_string() == id));
    let counted = |(lots, mass, value): (u32, Mass, Money)| {
        let mut row = shown((mass, value));
        row["lots"] = lots.into();
        row
    };
    let alloys: Vec<Value> = by_alloy
        .into_iter()
        .map(|(alloy, sums)| {
            let mut row = counted(sums);
            row["alloy"] = alloy.into();
            row
        })
        .collect();
    let owners: Vec<Value> = by_owner
        .into_iter()
        .map(|(id, sums)| {
            let mut row = counted(sums);
            row["owner"] = if id.is_empty() { "shop" } else { "client" }.into();
            if let Some((_, name)) = name_of(&id) {
                row["owner_name"] = name.as_str().into();
                row["href"] = format!("/v1/clients/{id}/metal-statement").into();
                row["owner_client_id"] = id.into();
            }
            row
        })
        .collect();
    let at = asked.unwrap_or(ctx.now).to_string();
    Ok(Reply::json(&json!({"at": at, "lots": rows, "by_alloy": alloys, "by_owner": owners, "total": shown(total)})))
}
