//! The one file that knows every room: routes, settlers in order, what is embedded in what.

pub mod account;
pub mod check;
pub mod export;
pub mod log;
pub mod places;
pub mod rebuild;
pub mod serve;

use crate::book::api::Kit;
use crate::book::merging::Corrector;
use crate::book::{Catalogue, ChildSpec, door, session, token};
use crate::db::{Db, Settler};
use crate::desk;
use crate::kernel::actor::Right;
use crate::kernel::{Kind, Problem};
use crate::shop::house::floor::Floor;
use crate::shop::{bench, breakout, burnout, casting, client, commission, delivery, heat, house, metal, pattern, preheat, shell};
use crate::web::inside::Inside;
use crate::web::route::handler;
use crate::web::serve::{Credential, Holder, router};
use crate::web::visit::Pages;
use crate::web::{Answer, Method, Reply, Route, help, openapi};
use serde_json::{Map, Value, json};
use std::sync::Arc;

/// The settlers, in the order in which they run.
pub const SETTLERS: &[Settler] = &[
    house::settle,
    casting::settle,
    metal::settle,
    shell::settle_flags,
    burnout::settle_flags,
    heat::settle_flags,
    heat::settle_crucibles,
    desk::facts::settle,
];

/// What is embedded in what.
const CHILDREN: &[ChildSpec] = &[
    ChildSpec { parent: Kind::Commission, name: "pieces", child: Kind::Piece, member: "commission_id" },
    ChildSpec { parent: Kind::Piece, name: "castings", child: Kind::Casting, member: "piece_id" },
    ChildSpec { parent: Kind::Recipe, name: "versions", child: Kind::RecipeVersion, member: "recipe_id" },
    ChildSpec { parent: Kind::Patina, name: "versions", child: Kind::PatinaVersion, member: "patina_id" },
    ChildSpec { parent: Kind::SlurryBatch, name: "checks", child: Kind::SlurryCheck, member: "slurry_batch_id" },
    ChildSpec { parent: Kind::Shell, name: "coats", child: Kind::Coat, member: "shell_id" },
    ChildSpec { parent: Kind::Shell, name: "patches", child: Kind::Patch, member: "shell_id" },
    ChildSpec { parent: Kind::MetalLot, name: "receipts", child: Kind::Receipt, member: "lot_id" },
    ChildSpec { parent: Kind::MetalLot, name: "counts", child: Kind::Count, member: "lot_id" },
    ChildSpec { parent: Kind::MetalLot, name: "outs", child: Kind::Out, member: "lot_id" },
    ChildSpec { parent: Kind::MetalLot, name: "transfers", child: Kind::Transfer, member: "lot_id" },
    ChildSpec { parent: Kind::Heat, name: "charge", child: Kind::Charge, member: "heat_id" },
    ChildSpec { parent: Kind::Heat, name: "events", child: Kind::HeatEvent, member: "heat_id" },
    ChildSpec { parent: Kind::Heat, name: "pours", child: Kind::Pour, member: "heat_id" },
    ChildSpec { parent: Kind::Heat, name: "closings", child: Kind::Closing, member: "heat_id" },
    ChildSpec { parent: Kind::Pour, name: "leaks", child: Kind::Leak, member: "pour_id" },
    ChildSpec { parent: Kind::ShellBreakout, name: "castings", child: Kind::Breakout, member: "shell_breakout_id" },
    ChildSpec { parent: Kind::Breakout, name: "findings", child: Kind::Finding, member: "breakout_id" },
    ChildSpec { parent: Kind::Scrap, name: "findings", child: Kind::Finding, member: "scrap_id" },
];

/// Prints a line for whoever runs a command.
///
/// # Errors
/// That nobody reads on: the pipe is closed, the disk full.
pub fn say(line: std::fmt::Arguments<'_>) -> Result<(), String> {
    use std::io::Write as _;
    writeln!(std::io::stdout().lock(), "{line}").map_err(|e| format!("What there is to say cannot be printed: {e}."))
}

/// What the kinds add to their records, and what is embedded in what.
#[must_use]
pub fn catalogue() -> Catalogue {
    Catalogue {
        extras: vec![
            (Kind::Property, client::property_extras),
            (Kind::Commission, commission::extras),
            (Kind::Casting, casting::extras),
            (Kind::Shell, shell::extras),
            (Kind::RecipeVersion, shell::version_extras),
            (Kind::PatinaVersion, bench::patina_extras),
            (Kind::MetalLot, metal::extras),
            (Kind::Burnout, burnout::extras),
            (Kind::Preheat, preheat::extras),
            (Kind::Heat, heat::extras),
            (Kind::Trial, desk::trial::extras),
            (Kind::TrialPair, desk::trial::pair_extras),
            (Kind::Quote, desk::quote::extras),
        ],
        children: CHILDREN.to_vec(),
        correctors: correctors().into(),
    }
}

/// How records of every kind are corrected.
#[must_use]
pub fn correctors() -> Vec<(Kind, Corrector)> {
    [
        house::correctors(),
        client::correctors(),
        commission::correctors(),
        pattern::correctors(),
        casting::correctors(),
        metal::correctors(),
        shell::correctors(),
        burnout::correctors(),
        preheat::correctors(),
        heat::correctors(),
        breakout::correctors(),
        bench::correctors(),
        delivery::correctors(),
        desk::trial::correctors(),
        desk::quote::correctors(),
    ]
    .concat()
}

/// What handlers need.
#[must_use]
pub fn kit(db: &Db) -> Kit {
    Kit { db: db.clone(), catalogue: Arc::new(catalogue()) }
}

/// Every route there is.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let mut out = vec![health(kit)];
    out.extend(help::routes());
    out.extend(crate::book::history::routes(kit));
    out.extend(house::routes(kit));
    out.extend(client::routes(kit));
    out.extend(commission::routes(kit));
    out.extend(pattern::routes(kit));
    out.extend(casting::routes(kit));
    out.extend(metal::routes(kit));
    out.extend(shell::routes(kit));
    out.extend(burnout::routes(kit));
    out.extend(preheat::routes(kit));
    out.extend(heat::routes(kit));
    out.extend(breakout::routes(kit));
    out.extend(bench::routes(kit));
    out.extend(delivery::routes(kit));
    out.extend(desk::route_card::routes(kit));
    out.extend(desk::cost::routes(kit));
    out.extend(desk::report::routes(kit));
    out.extend(desk::trial::routes(kit));
    out.extend(desk::quote::routes(kit));
    out.extend(desk::edition::routes(kit));
    out.extend(desk::pour_day::routes(kit));
    out
}

/// The schemas of all records.
fn schemas() -> Map<String, Value> {
    let mut out = Map::new();
    for (kind, schema) in [
        house::schemas(),
        client::schemas(),
        commission::schemas(),
        pattern::schemas(),
        casting::schemas(),
        metal::schemas(),
        shell::schemas(),
        burnout::schemas(),
        preheat::schemas(),
        heat::schemas(),
        breakout::schemas(),
        bench::schemas(),
        delivery::schemas(),
        desk::trial::schemas(),
        desk::quote::schemas(),
    ]
    .concat()
    {
        out.insert(kind.type_name().to_owned(), schema);
    }
    out
}

/// The API document.
#[must_use]
pub fn document(routes: &[Route]) -> Value {
    openapi::document(routes, schemas())
}

/// Serves the book.
pub fn service(db: &Db) -> axum::Router {
    let kit = kit(db);
    let mut routes = routes(&kit);
    let text = Arc::new(document(&with_document(routes.clone(), String::new())).to_string());
    routes = with_document(routes, text.to_string());
    router(db, &routes, &pages(&kit, &Inside::new(routes.clone())), &holder(db))
}

/// Every page there is.
#[must_use]
pub fn pages(kit: &Kit, inside: &Inside) -> Pages {
    let floor = Floor { kit: kit.clone(), inside: inside.clone() };
    let mut pages = door::pages(&kit.db);
    pages.all.extend(places::pages());
    pages.all.extend(house::things::pages(&floor));
    pages.all.extend(house::incidents::pages(&floor));
    pages.all.extend(client::pages(&floor));
    pages.all.extend(pattern::pages(&floor));
    pages.all.extend(commission::pages(&floor));
    pages.all.extend(casting::page::pages(&floor));
    pages.all.extend(desk::shells::pages(&floor));
    pages.all.extend(shell::pages(&floor));
    pages.all.extend(shell::recipes::pages(&floor));
    pages.all.extend(preheat::pages(&floor));
    pages.all.extend(metal::pages(&floor));
    pages.all.extend(heat::pages(&floor));
    pages.all.extend(breakout::pages(&floor));
    pages.all.extend(bench::pages(&floor));
    pages.all.extend(desk::history::pages(&floor));
    pages.all.extend(desk::report::pages::pages(&floor));
    pages.all.extend(desk::trial::pages(&floor));
    pages.all.extend(desk::quote::pages(&floor));
    pages.all.extend(desk::cost::pages(&floor));
    pages.all.extend(desk::edition::pages(&floor));
    pages.all.extend(desk::progress::pages(&floor));
    pages.all.extend(desk::pour_day::pages(&floor));
    pages.all.extend(desk::start::pages(kit));
    pages.all.extend(desk::search::pages(kit));
    pages.all.extend(desk::route_card::pages(kit));
    let log = log::pages(&kit.db, inside, &pages.all);
    pages.all.extend(log);
    pages
}

fn with_document(mut routes: Vec<Route>, text: String) -> Vec<Route> {
    let text = Arc::new(text);
    routes.push(Route {
        method: Method::Get,
        path: "/v1/openapi.json".into(),
        operation: "openapi".into(),
        right: Right::Open,
        about: "This document".into(),
        heading: "Help",
        params: Vec::new(),
        body: None,
        answer: Answer {
            status: 200,
            about: "OpenAPI 3.1",
            media: "application/json",
            schema: json!({"type": "object"}),
            etag: false,
        },
        handler: handler(move |_| {
            let text = text.clone();
            async move { Ok(Reply::file("application/json", text.as_bytes())) }
        }),
    });
    routes
}

/// Every route, the document's own among them.
#[must_use]
pub fn all_routes(kit: &Kit) -> Vec<Route> {
    with_document(routes(kit), String::new())
}

fn holder(db: &Db) -> Holder {
    let db = db.clone();
    Arc::new(move |shown| {
        let db = db.clone();
        Box::pin(async move {
            let now = db.clock().now();
            let mut read = db.read().await?;
            let found = match &shown {
                Credential::Token(secret) => token::holder(&mut read, secret).await?.map(|actor| (actor, false)),
                Credential::Session(secret) => session::holder(&mut read, secret, now).await?.map(|in_| (in_.actor, in_.stale)),
            };
            let Some((mut actor, stale)) = found else { return Ok(None) };
            let settings = house::settings::of(&mut read).await?;
            actor.sees_money = settings.sees_money(actor.role, now);
            drop(read);
            if let (true, Credential::Session(secret)) = (stale, &shown) {
                session::note(&db, secret, &actor).await?;
            }
            Ok(Some(actor))
        })
    })
}

fn health(kit: &Kit) -> Route {
    let kit = kit.clone();
    Route {
        method: Method::Get,
        path: "/health".into(),
        operation: "health".into(),
        right: Right::Open,
        about: "Whether the book can be read".into(),
        heading: "Help",
        params: Vec::new(),
        body: None,
        answer: Answer {
            status: 200,
            about: "It can",
            media: "application/json",
            schema: json!({"type": "object", "required": ["status"], "properties": {"status": {"type": "string"}, "version": {"type": "string"}}}),
            etag: false,
        },
        handler: handler(move |_| {
            let kit = kit.clone();
            async move {
                kit.db.read().await?;
                Ok::<_, Problem>(Reply::json(&json!({"status": "ok", "version": env!("CARGO_PKG_VERSION")})))
            }
        }),
    }
}
