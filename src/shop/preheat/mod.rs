//! Preheats: shells brought back to heat before a pour.

mod api;

mod model;
mod store;
mod verbs;

pub use api::{extras, routes, schemas};

pub use verbs::Preheats;
