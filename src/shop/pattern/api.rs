//! `/v1/patterns` and `/v1/moulds`.

use super::model::{MouldBody, PatternBody};
use super::verbs::{Moulds, Patterns};
use crate::book::api::{Kit, ListFilter, post, record_schema, standard};
use crate::book::merging::{Corrector, corrector};
use crate::kernel::Kind;
use crate::kernel::actor::Right;
use crate::web::Route;
use serde_json::{Map, Value};

/// The routes.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let mut out = vec![
        post::<Patterns>(kit, "/v1/patterns", "pattern_create", "Put a pattern on file", Right::Log, None),
        post::<Moulds>(kit, "/v1/moulds", "mould_create", "Record a mould", Right::Log, None),
    ];
    out.extend(standard::<Patterns>(
        kit,
        &[
            ListFilter::Refers { member: "mould_id", kind: Kind::Mould },
            ListFilter::Refers { member: "owner_client_id", kind: Kind::Client },
        ],
        Right::Correct,
    ));
    out.extend(standard::<Moulds>(kit, &[ListFilter::Refers { member: "owner_client_id", kind: Kind::Client }], Right::Correct));
    out
}

/// How its records are corrected, for what corrects records of many kinds.
#[must_use]
pub fn correctors() -> Vec<(Kind, Corrector)> {
    vec![corrector::<Patterns>(), corrector::<Moulds>()]
}

/// The schemas of what is answered.
#[must_use]
pub fn schemas() -> Vec<(Kind, Value)> {
    vec![
        (Kind::Pattern, record_schema::<PatternBody>(Kind::Pattern, &Map::new(), &[])),
        (Kind::Mould, record_schema::<MouldBody>(Kind::Mould, &Map::new(), &[])),
    ]
}
