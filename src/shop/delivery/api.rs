//! `/v1/deliveries`.

use super::after::{Certificates, PieceLosses};
use super::model::DeliveryBody;
use super::verbs::Deliveries;
use crate::book::api::{InPath, Kit, ListFilter, post, record_schema, standard};
use crate::book::merging::{Corrector, corrector};
use crate::kernel::Kind;
use crate::kernel::actor::Right;
use crate::web::Route;
use serde_json::{Map, Value};

/// The routes.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let under = InPath { kind: Kind::Piece, member: "piece_id" };
    let mut out =
        vec![post::<Deliveries>(kit, "/v1/pieces/{id}/deliver", "delivery_create", "Hand a piece over", Right::Log, Some(under))];
    out.extend(standard::<Deliveries>(kit, &[ListFilter::Refers { member: "piece_id", kind: Kind::Piece }], Right::Correct));
    out.extend(super::after::routes(kit));
    out
}

/// How its records are corrected, for what corrects records of many kinds.
#[must_use]
pub fn correctors() -> Vec<(Kind, Corrector)> {
    vec![corrector::<Deliveries>(), corrector::<PieceLosses>(), corrector::<Certificates>()]
}

/// The schemas of what is answered.
#[must_use]
pub fn schemas() -> Vec<(Kind, Value)> {
    let mut out = vec![(Kind::Delivery, record_schema::<DeliveryBody>(Kind::Delivery, &Map::new(), &[]))];
    out.extend(super::after::schemas());
    out
}
