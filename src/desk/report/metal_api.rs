//! The reports on the metal ledger: heat balances and their chart, melt loss, losses, work in
//! progress, a client's metal.

use super::schemas;
use super::{heat_balances, in_progress, losses, melt_loss, statement};
use crate::book::api::{Kit, list_params};
use crate::kernel::actor::Right;
use crate::web::route::handler;
use crate::web::{Answer, Method, Param, Reply, Route};
use serde_json::{Value, json};

/// Which report a route answers.
#[derive(Clone, Copy)]
enum Of {
    HeatBalances,
    Unexplained,
    MeltLoss,
    Losses,
    InProgress,
    Statement,
}

/// The routes.
pub fn routes(kit: &Kit) -> Vec<Route> {
    let of_heats = || filters("closed", heat_balances::FILTERS);
    let by = |names: &[&str]| Param {
        required: true,
        name: "by",
        about: "the factor",
        schema: json!({"type": "string", "enum": names}),
    };
    let paging = list_params().into_iter().filter(|p| matches!(p.name, "limit" | "cursor"));
    let out = Param {
        required: false,
        name: "out_of_balance",
        about: "only those that leave more unexplained than their limit",
        schema: json!({"type": "string", "enum": ["true", "false"]}),
    };
    let at = Param {
        required: false,
        name: "at",
        about: "as it stood then, what happened at that instant among it; now, when left out",
        schema: json!({"type": "string", "format": "date-time"}),
    };
    vec![
        route(
            kit,
            Of::HeatBalances,
            ("/v1/reports/heat-balances", "report_heat_balances", "How closed heats balance, newest first"),
            of_heats().into_iter().chain([out]).chain(paging).collect(),
            schemas::heat_balances(),
        ),
        route(
            kit,
            Of::Unexplained,
            ("/v1/reports/unexplained", "report_unexplained", "Chart of what heats leave unexplained, in the order of closing"),
            of_heats(),
            schemas::unexplained(),
        ),
        route(
            kit,
            Of::MeltLoss,
            ("/v1/reports/melt-loss", "report_melt_loss", "Metal lost in melting, with its interval, by a factor"),
            std::iter::once(by(melt_loss::BY)).chain(of_heats()).collect(),
            schemas::melt_loss(),
        ),
        route(
            kit,
            Of::Losses,
            ("/v1/reports/losses", "report_losses", "Castings lost by stage or by cause, and metal lost by sink"),
            std::iter::once(by(losses::BY)).chain(filters("lost", losses::FILTERS)).collect(),
            schemas::losses(),
        ),
        route(
            kit,
            Of::InProgress,
            ("/v1/reports/work-in-progress", "report_work_in_progress", "Metal in heats, shells and castings not yet delivered"),
            vec![at],
            schemas::in_progress(),
        ),
        route(
            kit,
            Of::Statement,
            (
                "/v1/clients/{id}/metal-statement",
                "client_metal_statement",
                "A client's own metal: what came, where it went, what is left",
            ),
            filters("moved", &["from", "to"]),
            schemas::statement(),
        ),
    ]
}

fn route(kit: &Kit, of: Of, (path, operation, about): (&str, &str, &str), params: Vec<Param>, schema: Value) -> Route {
    let kit = kit.clone();
    Route {
        method: Method::Get,
        path: path.into(),
        operation: operation.into(),
        right: Right::Read,
        about: about.into(),
        heading: "Reports",
        params,
        body: None,
        answer: Answer { status: 200, about: "The report", media: "application/json", schema, etag: false },
        handler: handler(move |ctx| {
            let kit = kit.clone();
            async move {
                let mut read = kit.db.read().await?;
                let read = &mut read;
                Ok(match of {
                    Of::HeatBalances => heat_balances::list(read, &ctx).await?,
                    Of::Unexplained => Reply::json(&heat_balances::chart(read, &ctx).await?),
                    Of::MeltLoss => Reply::json(&melt_loss::report(read, &ctx).await?),
                    Of::Losses => Reply::json(&losses::report(read, &ctx).await?),
                    Of::InProgress => Reply::json(&in_progress::report(read, &ctx).await?),
                    Of::Statement => Reply::json(&statement::report(read, &ctx).await?),
                })
            }
        }),
    }
}

/// The parameters that filter; `happened` is what the time is of.
fn filters(happened: &str, names: &[&'static str]) -> Vec<Param> {
    let of = |name: &'static str| match name {
        "from" | "to" => {
            let about = match (happened, name) {
                ("closed", "from") => "closed from here, inclusive",
                ("closed", _) => "closed up to here, exclusive",
                ("lost", "from") => "lost from here, inclusive",
                ("lost", _) => "lost up to here, exclusive",
                (_, "from") => "from here, inclusive",
                _ => "up to here, exclusive",
            };
            Param { required: false, name, about, schema: json!({"type": "string", "format": "date-time"}) }
        }
        "charge_kind" => Param {
            required: false,
            name,
            about: "only what was charged from that",
            schema: json!({"type": "string", "enum": melt_loss::CHARGE_KINDS}),
        },
        _ => {
            let about = match name {
                "alloy" => "only what was poured as that",
                "recipe" => "only in shells of that recipe",
                "pattern" => "only castings of that pattern",
                "commission" => "only castings of that commission",
                "furnace" => "only in that furnace, by id or name",
                _ => "only in that crucible, by id or name",
            };
            Param { required: false, name, about, schema: json!({"type": "string", "minLength": 1, "maxLength": 128}) }
        }
    };
    names.iter().copied().map(of).collect()
}

/// A path with a query.
#[must_use]
pub fn href(path: &str, query: &[(String, String)]) -> String {
    let pairs: Vec<String> = query.iter().map(|(name, value)| format!("{name}={}", crate::book::api::encode(value))).collect();
    if pairs.is_empty() { path.to_owned() } else { format!("{path}?{}", pairs.join("&")) }
}
