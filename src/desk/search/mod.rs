//! One field for a tag, a number or a name.

mod page;
mod store;

pub use page::pages;
