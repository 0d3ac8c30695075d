//! What we make of it: reads any room by its read functions, writes only its own tables.

pub mod cost;
pub mod route_card;

use crate::book::api::Kit;
use crate::web::Route;

/// The routes of all desks.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let mut out = route_card::routes(kit);
    out.extend(cost::routes(kit));
    out
}
