//! Facts: one narrow row for each shell, casting and heat that reports count, settled in
//! the transaction of the record that it follows from.
//!
//! What hangs on settings (bands of a measure), on the trade's tables (superheat) or on the
//! metal ledger (masses) is no fact: reports find it when they are asked, so that nothing here
//! goes stale. Only the counts by month hang on a setting, the zone, and follow it.
//! Everything here is derived and can be remade.

mod settle;
mod store;

pub use settle::settle;
pub use store::{Alike, CameOf, DERIVED, WIPE, came_of, months, poured_alike};
