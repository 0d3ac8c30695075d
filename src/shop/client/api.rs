//! `/v1/clients`.

use super::model::ClientBody;
use super::verbs::Clients;
use crate::book::api::{Kit, post, record_schema, standard};
use crate::kernel::Kind;
use crate::kernel::actor::Right;
use crate::web::Route;
use serde_json::{Map, Value};

/// The routes.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let mut out = vec![post::<Clients>(kit, "/v1/clients", "client_create", "Record a client", Right::Log, None)];
    out.extend(standard::<Clients>(kit, &[], Right::Correct));
    out
}

/// The schemas of what is answered.
#[must_use]
pub fn schemas() -> Vec<(Kind, Value)> {
    vec![(Kind::Client, record_schema::<ClientBody>(Kind::Client, &Map::new(), &[]))]
}
