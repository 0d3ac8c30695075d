//! Burnouts: one kiln load that melts out and fires.

mod against;
mod api;
mod flags;
mod model;
mod store;
mod verbs;

pub use against::against;
pub use api::{correctors, extras, routes, schemas};
pub use flags::settle as settle_flags;
pub use store::flags;
pub use verbs::Burnouts;
