//! What jobs cost: their metal, and everything else that the record tells (docs/costing.md).
//!
//! [`gather`] finds the records that cost something, of one job or of a span of time, and who bears
//! them; [`price`] makes lines of them at the rates in force on their days; `science::costing` shares
//! each line out; [`answer`] adds up.

mod answer;
mod gather;
mod hours;
mod jobs;
mod metal;
mod page;
mod price;
mod store;
mod year;

pub use jobs::{Borne, CastingCost, JobCost, jobs, unit_price};
pub use metal::MetalCost;
pub use page::pages;

use crate::book::api::Kit;
use crate::web::Route;

/// The routes.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let mut out = answer::routes(kit);
    out.extend(year::routes(kit));
    out.extend(hours::routes(kit));
    out
}
