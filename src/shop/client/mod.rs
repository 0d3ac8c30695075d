//! Clients: who commissions work.

mod api;
mod model;
mod verbs;

pub use api::{routes, schemas};
pub use model::ClientBody;
pub use verbs::Clients;
