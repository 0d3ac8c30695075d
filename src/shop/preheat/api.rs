//! `/v1/preheats`.

use super::model::PreheatBody;
use super::verbs::Preheats;
use crate::book::api::{Kit, ListFilter, post, record_schema, standard};
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
        &[ListFilter::Refers { member: "kiln", kind: Kind::Kiln }, ListFilter::Found {
            name: "shell_ids",
            kind: Kind::Shell,
            sql: "r.seq IN (SELECT record_seq FROM bearing WHERE on_seq = ?)",
        }],
        Right::Correct,
    ));
    out
}

/// The schemas of what is answered.
#[must_use]
pub fn schemas() -> Vec<(Kind, Value)> {
    vec![(Kind::Preheat, record_schema::<PreheatBody>(Kind::Preheat, &Map::new(), &[]))]
}
