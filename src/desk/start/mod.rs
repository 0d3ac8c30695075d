//! The start page: where everything is, and what is due.

mod due;
mod page;
mod store;

pub use page::pages;
