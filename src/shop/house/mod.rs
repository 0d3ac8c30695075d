//! The house: dated settings and rates, the trade catalogue with the shop's own entries, and the
//! routes of its named things.

mod api;
mod checks;
pub mod floor;
pub mod fuel;
mod in_force;
pub mod incidents;
mod model;
pub mod overhead;
pub mod rates;
pub mod settings;
mod settle;
pub mod shown;
mod specs;
mod store;
pub mod things;
pub mod trade;
mod verbs;

pub use api::{correctors, routes, schemas};
pub use model::What;
pub use settle::settle;
pub use verbs::{Expenses, Incidents, Rates, Settings, TradeEntries};
