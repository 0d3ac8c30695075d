//! Pour day: the page for the hour that matters, and what is logged after it.

mod after;
mod day;
mod page;

pub use day::routes;
pub use page::pages;
