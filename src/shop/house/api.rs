//! `/v1/settings`, `/v1/trade/…`, the named things, `/v1/me`, `/v1/tags/{tag}`.

use super::model::{ExpenseBody, IncidentBody, RateBody, SettingBody, TradeEntryBody};
use super::settings;
use super::verbs::{Expenses, Incidents, Rates, Settings, TradeEntries};
use super::{in_force, store, trade};
use crate::book::api::{Kit, find, post, record_schema, standard};
use crate::book::merging::{self, Corrector, corrector};
use crate::book::thing::{ThingBody, Things, not_of};
use crate::kernel::actor::Right;
use crate::kernel::id::{Crucible, Furnace, Hand, Kiln, Kinded, Supplier};
use crate::kernel::{Kind, Problem, ProblemType, Tag};
use crate::science::trade::Catalogue;
use crate::web::route::handler;
use crate::web::{Answer, Ctx, Method, Reply, Route};
use serde_json::{Map, Value, json};

/// The routes.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let mut out = Vec::new();
    things::<Hand>(kit, &mut out);
    things::<Kiln>(kit, &mut out);
    things::<Furnace>(kit, &mut out);
    things::<Crucible>(kit, &mut out);
    things::<Supplier>(kit, &mut out);
    out.push(post::<Settings>(kit, "/v1/settings", "setting_create", "Set something from a day on", Right::Own, None));
    out.extend(standard::<Settings>(kit, &[], Right::Own));
    out.push(post::<Rates>(kit, "/v1/rates", "rate_create", "Set a rate or price from a day on", Right::Own, None));
    out.extend(standard::<Rates>(kit, store::RATE_FILTERS, Right::Own));
    let about = "Record what the shop costs as such";
    out.push(post::<Expenses>(kit, "/v1/expenses", "expense_create", about, Right::Own, None));
    out.extend(standard::<Expenses>(kit, &[], Right::Own));
    let about = "Record what went wrong, or nearly did";
    out.push(post::<Incidents>(kit, "/v1/incidents", "incident_create", about, Right::Log, None));
    out.extend(standard::<Incidents>(kit, &[], Right::Correct));
    out.extend(in_force::routes(kit));
    out.push(post::<TradeEntries>(
        kit,
        "/v1/trade-entries",
        "trade_entry_create",
        "Add to the trade catalogue, or override an entry",
        Right::Own,
        None,
    ));
    out.extend(standard::<TradeEntries>(kit, &[], Right::Own));
    out.extend(trade_routes(kit));
    out.push(plain(kit, "/v1/me", "me", "Who I am", "The shop", me_schema(), |kit, ctx| {
        Box::pin(async move {
            let actor = ctx.actor()?;
            let mut read = kit.db.read().await?;
            let settings = settings::of(&mut read).await?;
            let value = |name| settings.value(name, ctx.now);
            Ok(json!({"name": actor.name, "role": actor.role.name(), "currency": value("currency"),
                      "units": value("units"), "zone": value("zone"), "sees_money": actor.sees_money}))
        })
    }));
    out.push(plain(
        kit,
        "/v1/tags/{tag}",
        "tag_get",
        "What a tag is the tag of",
        "Patterns, pieces and castings",
        tag_schema(),
        |kit, ctx| {
            Box::pin(async move {
                let text = ctx.part("tag").to_owned();
                let none = || Problem::new(ProblemType::NotFound, "No casting or shell bears that tag.");
                let tag = Tag::parse(&text).ok_or_else(none)?.to_string();
                let mut read = kit.db.read().await?;
                for kind in [Kind::Casting, Kind::Shell] {
                    if let Ok(seq) = find(&mut read, kind, &tag).await {
                        let id = crate::book::api::id_of(&mut read, seq).await?;
                        return Ok(json!({"tag": tag, "kind": kind.name(), "id": id.to_string(),
                                     "href": format!("/v1/{}/{id}", kind.collection())}));
                    }
                }
                Err(none())
            })
        },
    ));
    out
}

fn things<K: Kinded>(kit: &Kit, out: &mut Vec<Route>) {
    let collection = K::KIND.collection();
    let name = K::KIND.name();
    let mut routes = vec![post::<Things<K>>(
        kit,
        &format!("/v1/{collection}"),
        &format!("{name}_create"),
        &format!("Put a {name} on record"),
        Right::Log,
        None,
    )];
    routes.extend(standard::<Things<K>>(kit, &[], Right::Correct));
    routes.push(merging::route(kit, K::KIND));
    // A kind is asked only what it bears.
    for body in routes.iter_mut().filter_map(|route| route.body.as_mut()) {
        without(&mut body.schema, K::KIND);
    }
    out.extend(routes);
}

type Plain = for<'a> fn(&'a Kit, &'a Ctx) -> std::pin::Pin<Box<dyn Future<Output = Result<Value, Problem>> + Send + 'a>>;

fn plain(kit: &Kit, path: &str, operation: &str, about: &str, heading: &'static str, schema: Value, run: Plain) -> Route {
    let kit = kit.clone();
    Route {
        method: Method::Get,
        path: path.into(),
        operation: operation.into(),
        right: Right::Read,
        about: about.into(),
        heading,
        params: Vec::new(),
        body: None,
        answer: Answer { status: 200, about: "The answer", media: "application/json", schema, etag: false },
        handler: handler(move |ctx| {
            let kit = kit.clone();
            async move { run(&kit, &ctx).await.map(|v| Reply::json(&v)) }
        }),
    }
}

fn me_schema() -> Value {
    json!({"type": "object", "required": ["name", "role"], "properties": {
        "name": {"type": "string"}, "role": {"type": "string"}, "currency": {"type": "string"},
        "units": {"type": "string"}, "zone": {"type": "string"}, "sees_money": {"type": "boolean"}}})
}

fn tag_schema() -> Value {
    json!({"type": "object", "required": ["tag", "kind", "id", "href"], "properties": {
        "tag": {"type": "string"}, "kind": {"type": "string"}, "id": {"type": "string", "format": "uuid"}, "href": {"type": "string"}}})
}

fn entries_schema() -> Value {
    json!({"type": "object", "required": ["items"], "properties": {"items": {"type": "array", "items": {"type": "object"}}}})
}

fn trade_routes(kit: &Kit) -> Vec<Route> {
    let mut out = vec![
        plain(
            kit,
            "/v1/trade/alloys",
            "trade_alloys",
            "Alloys, each value with its source",
            "Trade",
            entries_schema(),
            |kit, ctx| {
                Box::pin(async move {
                    let trade = today(kit, ctx).await?;
                    own_marked(&trade, "alloys", &trade.alloys, |a| &a.designation)
                })
            },
        ),
        plain(
            kit,
            "/v1/trade/pattern-materials",
            "trade_pattern_materials",
            "What patterns are of",
            "Trade",
            entries_schema(),
            |kit, ctx| {
                Box::pin(async move {
                    let trade = today(kit, ctx).await?;
                    own_marked(&trade, "pattern-materials", &trade.pattern_materials, |m| &m.code)
                })
            },
        ),
        plain(
            kit,
            "/v1/trade/defects",
            "trade_defects",
            "Defects of the international atlas, and house codes for shell casting",
            "Trade",
            entries_schema(),
            |kit, ctx| {
                Box::pin(async move {
                    let trade = today(kit, ctx).await?;
                    own_marked(&trade, "defects", &trade.defects, |d| &d.code)
                })
            },
        ),
    ];
    macro_rules! built_in {
        ($path:literal, $operation:literal, $about:literal, $field:ident) => {
            out.push(plain(kit, $path, $operation, $about, "Trade", entries_schema(), |_, _| {
                Box::pin(async move {
                    let catalogue = Catalogue::builtin().map_err(Problem::internal)?;
                    Ok(json!({"items": catalogue.$field}))
                })
            }));
        };
    }
    built_in!("/v1/trade/cups", "trade_cups", "Viscosity cups", cups);
    built_in!("/v1/trade/units", "trade_units", "Exact factors of units", units);
    built_in!("/v1/trade/cautions", "trade_cautions", "Cautions, by the stage they stand at", cautions);
    built_in!("/v1/trade/operations", "trade_operations", "Operations that minutes are booked on", operations);
    built_in!("/v1/trade/practice", "trade_practice", "Limits and windows, each with its source", practices);
    out
}

/// The trade catalogue as in force today.
async fn today(kit: &Kit, ctx: &Ctx) -> Result<trade::Trade, Problem> {
    let mut read = kit.db.read().await?;
    let today = settings::of(&mut read).await?.day(ctx.now);
    trade::on(&mut read, today).await
}

fn own_marked<T: serde::Serialize>(
    trade: &trade::Trade,
    section: &str,
    list: &[T],
    code: impl Fn(&T) -> &str,
) -> Result<Value, Problem> {
    let items = list
        .iter()
        .map(|entry| {
            let mut value = serde_json::to_value(entry).map_err(Problem::internal)?;
            if let Some(members) = value.as_object_mut() {
                members.retain(|_, v| !v.is_null());
                members.insert("own".into(), trade.is_own(section, code(entry)).into());
            }
            Ok(value)
        })
        .collect::<Result<Vec<_>, Problem>>()?;
    Ok(json!({"items": items}))
}

/// How its records are corrected, for what corrects records of many kinds.
#[must_use]
pub fn correctors() -> Vec<(Kind, Corrector)> {
    vec![
        corrector::<Things<Hand>>(),
        corrector::<Things<Kiln>>(),
        corrector::<Things<Furnace>>(),
        corrector::<Things<Crucible>>(),
        corrector::<Things<Supplier>>(),
        corrector::<Settings>(),
        corrector::<Rates>(),
        corrector::<Expenses>(),
        corrector::<Incidents>(),
        corrector::<TradeEntries>(),
    ]
}

/// The schemas of what is answered.
#[must_use]
pub fn schemas() -> Vec<(Kind, Value)> {
    let mut out: Vec<(Kind, Value)> = [Kind::Hand, Kind::Kiln, Kind::Furnace, Kind::Crucible, Kind::Supplier]
        .into_iter()
        .map(|kind| {
            let mut schema = record_schema::<ThingBody>(kind, &Map::new(), &[]);
            without(&mut schema, kind);
            (kind, schema)
        })
        .collect();
    out.push((Kind::Setting, record_schema::<SettingBody>(Kind::Setting, &Map::new(), &[])));
    out.push((Kind::Rate, record_schema::<RateBody>(Kind::Rate, &Map::new(), &[])));
    out.push((Kind::Expense, record_schema::<ExpenseBody>(Kind::Expense, &Map::new(), &[])));
    out.push((Kind::Incident, record_schema::<IncidentBody>(Kind::Incident, &Map::new(), &[])));
    out.push((Kind::TradeEntry, record_schema::<TradeEntryBody>(Kind::TradeEntry, &Map::new(), &[])));
    out
}

/// A schema of things without what a kind does not bear.
fn without(schema: &mut Value, kind: Kind) {
    if let Some(properties) = schema["properties"].as_object_mut() {
        for name in not_of(kind) {
            properties.shift_remove(name);
        }
    }
}
