//! Patterns and the moulds they are pulled from.

mod api;
mod model;
pub mod page;
mod store;
mod verbs;

pub use api::{correctors, routes, schemas};
pub use model::{MouldBody, PatternBody, PatternKind};
pub use page::pages;
pub use store::kept_until;
pub use verbs::{Moulds, Patterns};
