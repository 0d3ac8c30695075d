//! Heats: charges, events, pours with their leaks, closings.

mod api;
mod crucible;
mod flags;
mod model;
mod page;
mod store;
mod verbs;

pub use api::{correctors, extras, routes, schemas};
pub use crucible::settle as settle_crucibles;
pub use flags::settle as settle_flags;
pub use model::{Filled, PourBody, Support};
pub use page::pages;
pub use store::{PouredShell, numbers, poured_as, pours_of};
pub use verbs::{Charges, Closings, HeatEvents, Heats, Leaks, Pours};
