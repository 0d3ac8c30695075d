//! `/v1/heats`, `/v1/charges`, `/v1/heat-events`, `/v1/pours`, `/v1/leaks`, `/v1/closings`.

use super::model::{ChargeBody, ClosingBody, HeatBody, HeatEventBody, LeakBody, PourBody};
use super::store;
use super::verbs::{Charges, Closings, HeatEvents, Heats, Leaks, Pours};
use crate::book::api::{InPath, Kit, ListFilter, find, post, record_schema, standard};
use crate::book::merging::{Corrector, corrector};
use crate::book::render::Adding;
use crate::db::ReadTx;
use crate::kernel::actor::Right;
use crate::kernel::{Kind, Mass, Problem, Seq};
use crate::science::trade::TradeStep;
use crate::shop::house::{settings, trade};
use crate::shop::metal::{HeatFigures, Residual, heat_figures, scrap_charges, weighings};
use crate::web::route::handler;
use crate::web::{Answer, Ctx, Method, Reply, Route};
use serde_json::{Map, Value, json};

const UNDER_HEAT: InPath = InPath { kind: Kind::Heat, member: "heat_id" };

/// The routes.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let mut heats = post::<Heats>(kit, "/v1/heats", "heat_create", "Light a furnace: one melt in one crucible", Right::Log, None);
    if let Some(body) = &mut heats.body {
        body.schema["properties"]["charge"]["minItems"] = json!(1);
        body.schema["properties"]["charge"]["type"] = json!("array");
        if let Some(required) = body.schema["required"].as_array_mut() {
            required.push("charge".into());
        }
    }
    let mut out = vec![
        heats,
        post::<Charges>(kit, "/v1/heats/{id}/charges", "charge_create", "Charge more metal", Right::Log, Some(UNDER_HEAT)),
        post::<HeatEvents>(
            kit,
            "/v1/heats/{id}/events",
            "heat_event_create",
            "Skim, flux, degas, deoxidise, read the temperature, ready",
            Right::Log,
            Some(UNDER_HEAT),
        ),
        post::<Pours>(kit, "/v1/heats/{id}/pours", "pour_create", "Pour into a shell", Right::Log, Some(UNDER_HEAT)),
        post::<Closings>(kit, "/v1/heats/{id}/closings", "closing_create", "Close a heat", Right::Log, Some(UNDER_HEAT)),
        post::<Closings>(kit, "/v1/heats/{id}/close", "heat_close", "Close a heat", Right::Log, Some(UNDER_HEAT)),
        post::<Leaks>(
            kit,
            "/v1/pours/{id}/leaks",
            "leak_create",
            "Record a leak of a pour",
            Right::Log,
            Some(InPath { kind: Kind::Pour, member: "pour_id" }),
        ),
        balance_route(kit),
    ];
    let of_heat: &[ListFilter] = &[ListFilter::Refers { member: "heat_id", kind: Kind::Heat }];
    out.extend(standard::<Heats>(kit, store::FILTERS, Right::Correct));
    out.extend(standard::<Charges>(
        kit,
        &[
            ListFilter::Refers { member: "heat_id", kind: Kind::Heat },
            ListFilter::Refers { member: "lot_id", kind: Kind::MetalLot },
        ],
        Right::Correct,
    ));
    out.extend(standard::<HeatEvents>(kit, of_heat, Right::Correct));
    out.extend(standard::<Pours>(
        kit,
        &[
            ListFilter::Refers { member: "heat_id", kind: Kind::Heat },
            ListFilter::Refers { member: "shell_id", kind: Kind::Shell },
        ],
        Right::Correct,
    ));
    out.extend(standard::<Leaks>(kit, &[ListFilter::Refers { member: "pour_id", kind: Kind::Pour }], Right::Correct));
    out.extend(standard::<Closings>(kit, of_heat, Right::Correct));
    out
}

fn balance_route(kit: &Kit) -> Route {
    let kit = kit.clone();
    let number = json!({"type": "number"});
    let mut properties = Map::new();
    for name in [
        "charged_kg",
        "poured_kg",
        "pigged_kg",
        "dross_kg",
        "spilled_kg",
        "heel_kg",
        "unexplained_kg",
        "limit_kg",
        "charge_recovery",
        "melt_loss",
        "unit_cost_minor_per_kg",
    ] {
        properties.insert(name.into(), number.clone());
    }
    for name in ["within_tolerance", "closed_by_difference", "closed"] {
        properties.insert(name.into(), json!({"type": "boolean"}));
    }
    Route {
        method: Method::Get,
        path: "/v1/heats/{id}/balance".into(),
        operation: "heat_balance".into(),
        right: Right::Read,
        about: "Where the metal of a heat went".into(),
        heading: "Heats and pours",
        params: Vec::new(),
        body: None,
        answer: Answer {
            status: 200,
            about: "The balance",
            media: "application/json",
            schema: json!({"type": "object", "required": ["charged_kg", "closed"], "properties": properties}),
            etag: false,
        },
        handler: handler(move |ctx| {
            let kit = kit.clone();
            async move { balance(&kit, &ctx).await }
        }),
    }
}

async fn balance(kit: &Kit, ctx: &Ctx) -> Result<Reply, Problem> {
    let mut read = kit.db.read().await?;
    let heat = find(&mut read, Kind::Heat, ctx.part("id")).await?;
    let figures = heat_figures(&mut read, &[heat]).await?.pop().ok_or_else(|| Problem::internal(format!("heat {heat}")))?;
    let (alloy, at) = store::alloy_and_closing(&mut read, heat).await?;
    let weighings = weighings(&mut read, &[heat]).await?.get(&heat).copied().unwrap_or(1);
    let (trade, settings) = (trade::of(&mut read).await?, settings::of(&mut read).await?);
    let rule = Residual::of(
        &settings,
        trade.alloy_on(&alloy, settings.day(at)),
        scrap_charges(&mut read, &[heat]).await?.contains(&heat),
        at,
    );
    Ok(Reply::json(&balance_json(&figures, rule.limit(figures.charged, weighings))))
}

fn balance_json(f: &HeatFigures, limit: Mass) -> Value {
    let mut out = json!({
        "charged_kg": f.charged.kg(), "poured_kg": f.poured.kg(), "pigged_kg": f.pigged.kg(), "dross_kg": f.dross.kg(),
        "spilled_kg": f.spilled.kg(), "heel_kg": f.heel.kg(), "unexplained_kg": f.unexplained.kg(), "closed": f.closed,
        "closed_by_difference": f.by_difference, "limit_kg": limit.kg(),
    });
    if !f.charged.is_zero() {
        out["unit_cost_minor_per_kg"] = json!(ratio(f.value.minor(), f.charged.mg()) * 1e6);
        if f.closed {
            let lost = f.charged - f.poured - f.pigged - f.heel - f.spilled;
            out["charge_recovery"] = json!(ratio(f.poured.mg(), f.charged.mg()));
            out["melt_loss"] = json!(ratio(lost.mg(), f.charged.mg()));
            out["within_tolerance"] = (f.unexplained.mg().abs() <= limit.mg()).into();
        }
    }
    out
}

#[expect(clippy::cast_precision_loss, reason = "shown as a ratio")]
fn ratio(a: i64, b: i64) -> f64 {
    a as f64 / b as f64
}

/// The number of each heat, and the cautions of melting and pouring its metal.
pub fn extras<'a>(read: &'a mut ReadTx, seqs: &'a [Seq]) -> Adding<'a> {
    Box::pin(async move {
        let numbers = store::numbers(read, seqs).await?;
        let trade = trade::of(read).await?;
        numbers
            .into_iter()
            .map(|(seq, number, alloy)| {
                let cautions = trade::cautions(&[TradeStep::Heat, TradeStep::Pour], trade.alloy(&alloy))?;
                Ok((seq, Map::from_iter([("number".to_owned(), number.into()), ("cautions".to_owned(), cautions)])))
            })
            .collect()
    })
}

/// How its records are corrected, for what corrects records of many kinds.
#[must_use]
pub fn correctors() -> Vec<(Kind, Corrector)> {
    vec![
        corrector::<Heats>(),
        corrector::<Charges>(),
        corrector::<HeatEvents>(),
        corrector::<Pours>(),
        corrector::<Leaks>(),
        corrector::<Closings>(),
    ]
}

/// The schemas of what is answered.
#[must_use]
pub fn schemas() -> Vec<(Kind, Value)> {
    let number =
        Map::from_iter([("number".to_owned(), json!({"type": "string"})), ("cautions".to_owned(), trade::cautions_schema())]);
    let none = Map::new();
    let children = [("charge", Kind::Charge), ("events", Kind::HeatEvent), ("pours", Kind::Pour), ("closings", Kind::Closing)];
    vec![
        (Kind::Heat, record_schema::<HeatBody>(Kind::Heat, &number, &children)),
        (Kind::Charge, record_schema::<ChargeBody>(Kind::Charge, &none, &[])),
        (Kind::HeatEvent, record_schema::<HeatEventBody>(Kind::HeatEvent, &none, &[])),
        (Kind::Pour, record_schema::<PourBody>(Kind::Pour, &none, &[("leaks", Kind::Leak)])),
        (Kind::Leak, record_schema::<LeakBody>(Kind::Leak, &none, &[])),
        (Kind::Closing, record_schema::<ClosingBody>(Kind::Closing, &none, &[])),
    ]
}
