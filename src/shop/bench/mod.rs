//! The bench: minutes by operation, castings finished and given up.

mod api;
mod model;
mod page;
mod verbs;

pub use api::{routes, schemas};
pub use model::{Operation, ScrapBody, WorkBody};
pub use page::pages;
pub use verbs::{Finishes, Scraps, WorkDone};
