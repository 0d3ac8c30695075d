//! Clients: who commissions work.

mod api;
mod model;
mod page;
mod verbs;

pub use api::{routes, schemas};
pub use model::ClientBody;
pub use page::pages;
pub use verbs::Clients;
