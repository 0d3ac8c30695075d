//! The start page: where everything is, and what is due.

mod page;
mod reminders;

pub use page::pages;
