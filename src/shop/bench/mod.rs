//! The bench: minutes by operation, castings finished and given up.

mod api;
mod model;
mod page;
mod verbs;

pub use api::{routes, schemas};
pub use model::{Operation, OutsideWorkBody, ScrapBody, WorkBody};
pub use page::pages;
pub use verbs::{Finishes, OutsideWorkDone, Scraps, WorkDone};
