//! Clients: who commissions work, and what of theirs is in the shop.

mod api;
mod model;
mod page;
mod property;
mod property_page;
mod store;
mod verbs;

pub use api::{correctors, routes, schemas};
pub use model::ClientBody;
pub use page::pages;
pub use store::extras as property_extras;
pub use verbs::Clients;
