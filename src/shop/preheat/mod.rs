//! Preheats: shells brought back to heat before a pour.

mod api;

mod model;
mod store;
mod verbs;

pub use api::{routes, schemas};

pub use verbs::Preheats;
