//! The house: dated settings, the trade catalogue with the shop's own entries, and the
//! routes of its named things.

mod api;
mod model;
pub mod settings;
mod settle;
mod store;
pub mod trade;
mod verbs;

pub use api::{routes, schemas};
pub use settle::settle;
pub use verbs::{Settings, TradeEntries};
