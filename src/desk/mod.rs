//! What we make of it: reads any room by its read functions, writes only its own tables.

pub mod cost;
pub mod edition;
pub mod facts;
pub mod history;
pub mod pour_day;
pub mod progress;
pub mod quote;
pub mod report;
pub mod route_card;
pub mod search;
pub mod shells;
pub mod start;
pub mod trial;
