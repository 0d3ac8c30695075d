//! `/v1/clients`.

use super::model::ClientBody;
use super::property::{self, Properties};
use super::store;
use super::verbs::Clients;
use crate::body;
use crate::book::api::{Acted, Kit, act, check_match, in_path, post, record_schema, standard};
use crate::book::forget::forget;
use crate::book::merging::{Corrector, corrector};
use crate::book::resolve::Asks;
use crate::kernel::actor::Right;
use crate::kernel::field::{Faults, Field as _, Nested, Text};
use crate::kernel::{Kind, Problem};
use crate::web::route::handler;
use crate::web::{RequestBody, Route};
use serde_json::{Map, Value};

/// The routes.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let mut out = vec![post::<Clients>(kit, "/v1/clients", "client_create", "Record a client", Right::Log, None)];
    out.extend(standard::<Clients>(kit, &[], Right::Correct));
    out.push(forget_route(kit));
    out.extend(property::routes(kit));
    out
}

body! {
    /// Why a client's contact is forgotten.
    pub struct ForgetBody {
        /// Why.
        reason: Text<500>,
    }
}

/// What is forgotten of a client: how to reach them, and notes.
const CONTACT: &[&str] = &["email", "phone", "notes"];

fn forget_route(kit: &Kit) -> Route {
    let mut route = post::<Clients>(
        kit,
        "/v1/clients/{id}/forget",
        "client_forget",
        "Forget how a client is reached, and who took their property, in every line of the journal; the chain holds",
        Right::Own,
        None,
    );
    route.body = Some(RequestBody { name: "Forget".into(), schema: Nested::<ForgetBody>::schema(), merge_patch: false });
    route.answer.status = 200;
    let kit = kit.clone();
    route.handler = handler(move |ctx| {
        let kit = kit.clone();
        async move {
            let mut faults = Faults::default();
            let body = Nested::<ForgetBody>::read(Some(&ctx.body), "", &mut faults);
            let Some(Nested(body)) = body else { return Err(Problem::invalid(faults.0)) };
            let text = ctx.part("id").to_owned();
            let mut asks = Asks::default();
            asks.add(Kind::Client, &text);
            let if_match = ctx.if_match.clone();
            act(&kit, &ctx, asks, |tx, answers| {
                let (body, text, if_match) = (body.clone(), text.clone(), if_match.clone());
                Box::pin(async move {
                    let found = in_path(answers, Kind::Client, &text)?;
                    check_match(tx, Kind::Client, found.seq, if_match.as_deref()).await?;
                    forget(tx, Kind::Client, found.seq, CONTACT, &body.reason.0).await?;
                    for thing in store::of_client(tx, found.seq).await? {
                        forget(tx, Kind::Property, thing, &["out_to", "notes"], &body.reason.0).await?;
                    }
                    Ok(Acted { many: None, status: 200, ..Acted::many("", vec![found.seq]) })
                })
            })
            .await
        }
    });
    route
}

/// How its records are corrected, for what corrects records of many kinds.
#[must_use]
pub fn correctors() -> Vec<(Kind, Corrector)> {
    vec![corrector::<Clients>(), corrector::<Properties>()]
}

/// The schemas of what is answered.
#[must_use]
pub fn schemas() -> Vec<(Kind, Value)> {
    vec![(Kind::Client, record_schema::<ClientBody>(Kind::Client, &Map::new(), &[])), property::schema()]
}
