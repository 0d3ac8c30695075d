//! Preheats: shells brought back to heat before a pour.

mod api;

mod model;
mod page;
mod store;
mod verbs;

pub use api::{correctors, extras, routes, schemas};
pub use page::pages;

pub use verbs::Preheats;
