//! `/v1/burnouts`.

use super::model::BurnoutBody;
use super::store;
use super::verbs::Burnouts;
use crate::book::api::{Kit, post, record_schema, standard};
use crate::kernel::Kind;
use crate::kernel::actor::Right;
use crate::web::Route;
use serde_json::{Map, Value};

/// The routes.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let mut out = vec![post::<Burnouts>(kit, "/v1/burnouts", "burnout_create", "Load a kiln to melt out and fire", Right::Log, None)];
    out.extend(standard::<Burnouts>(
        kit,
        store::FILTERS,
        Right::Correct,
    ));
    out
}

/// The schemas of what is answered.
#[must_use]
pub fn schemas() -> Vec<(Kind, Value)> {
    vec![(Kind::Burnout, record_schema::<BurnoutBody>(Kind::Burnout, &Map::new(), &[]))]
}
