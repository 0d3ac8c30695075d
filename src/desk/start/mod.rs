//! The start page: where everything is, and what is due.

mod page;

pub use page::pages;
