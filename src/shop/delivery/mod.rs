//! Deliveries: pieces handed over, their certificates, and what came of them.

mod after;
mod api;
mod model;
mod store;
mod verbs;

pub use api::{correctors, routes, schemas};
pub use verbs::Deliveries;
