//! Reports: leaks, shorts and defects by any factor of the shop, and the yields.
//!
//! Every rate stands beside its count and its Wilson interval; what has not come to the
//! point of observation is in no denominator and is said to be waiting. The definitions are
//! those of the table *Yields and rates* of the design; the choices it leaves open are said
//! in [`yields`] and [`factor`].

mod api;
mod ask;
mod chart;
mod chart_drawing;
mod chart_words;
mod evidence;
mod evidence_api;
mod factor;
mod heat_balances;
mod in_progress;
mod losses;
mod melt_loss;
mod metal_api;
mod model;
mod model_curve;
mod model_fit;
mod model_schema;
mod model_terms;
mod model_words;
mod outcome;
pub mod pages;
mod rates;
mod rates_drawing;
mod schemas;
mod statement;
mod store;
mod words;
mod yields;

pub use api::routes;

#[cfg(test)]
mod tests;
