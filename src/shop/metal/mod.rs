//! Metal: lots, receipts, and the ledger that every gram and every cent goes through.
//!
//! Rooms say what happened to metal by [`enter`]; the settler derives the movements with
//! `science::ledger`. docs/ledger.md has the rules.

mod api;
mod composition;
mod flags;
mod heels;
mod holdings;
mod lines;
mod load;
mod model;
mod page;
mod pours;
mod replay;
mod settle;
mod stock;
mod store;
mod verbs;

pub use api::{correctors, extras, routes, schemas};
pub use flags::Residual;
pub use lines::{LedgerLine, enter, set_heat, set_shell};
pub use load::{Loaded, load, metal_of};
pub use page::pages;
pub use pours::{AlloyCorrected, Decided};
pub use settle::settle;
pub use store::at::{Held, held, totals};
pub use store::{
    CastingFigures, DERIVED, HeatFigures, OpenHeat, Taken, WIPE, book_prices, casting_figures, expected, heat_figures, last_pour,
    movement, on_hand, open_heats, scrap_charges, taken_from, taken_within, weighings, worn,
};
pub use verbs::{Lots, Of, Receipts, in_pool, pools_ahead};
