//! Deliveries: pieces handed over.

mod api;
mod model;
mod store;
mod verbs;

pub use api::{routes, schemas};
pub use verbs::Deliveries;
