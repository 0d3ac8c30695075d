//! Trials: two ways of working compared by pairs of shells and a coin.
//!
//! Two named, ready shells that agree in what the trial pairs by are put on record, and only then
//! does one coin say which of them is A and which is B. The coin follows from the seed that the
//! book gave the trial and from the number of the pair, so that anyone can toss it again. What
//! came of the shells is taken from the facts; each is counted as it was assigned, whatever was
//! done, and what was done otherwise is listed. A pair that is void stays listed with its reason,
//! and its shells get no second coin.

mod api;
mod card;
mod level;
mod model;
mod outcome;
mod page;
mod plan;
mod ready;
mod store;
mod verbs;

pub use api::{correctors, extras, pair_extras, routes, schemas};
pub use page::pages;
