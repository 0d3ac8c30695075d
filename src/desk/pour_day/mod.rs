//! Pour day: the page for the hour that matters, and what is logged after it.

mod after;
mod page;

pub use page::pages;
