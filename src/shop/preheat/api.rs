//! `/v1/preheats`.

use super::model::PreheatBody;
use super::store;
use super::verbs::Preheats;
use crate::book::api::{Kit, post, record_schema, standard};
use crate::kernel::Kind;
use crate::kernel::actor::Right;
use crate::web::Route;
use serde_json::{Map, Value};

/// The routes.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let mut out = vec![post::<Preheats>(kit, "/v1/preheats", "preheat_create", "Bring shells back to heat", Right::Log, None)];
    out.extend(standard::<Preheats>(
        kit,
        store::FILTERS,
        Right::Correct,
    ));
    out
}

/// The schemas of what is answered.
#[must_use]
pub fn schemas() -> Vec<(Kind, Value)> {
    vec![(Kind::Preheat, record_schema::<PreheatBody>(Kind::Preheat, &Map::new(), &[]))]
}
