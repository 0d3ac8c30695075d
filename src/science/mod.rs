//! What is computed from the record: pure functions, no IO, no clock, no database.

pub mod costing;
pub mod ledger;
pub mod quoting;
pub mod statistics;
pub mod trade;
