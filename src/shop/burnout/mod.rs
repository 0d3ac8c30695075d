//! Burnouts: one kiln load that melts out and fires.

mod api;
mod flags;
mod model;
mod store;
mod verbs;

pub use api::{extras, routes, schemas};
pub use flags::settle as settle_flags;
pub use verbs::Burnouts;
