//! A link for a client: whoever holds it sees how far a job is, and nothing else; the owner ends it.

mod page;
mod store;

pub use page::pages;
