//! The bench: minutes by operation, castings finished and given up.

mod api;
mod model;
mod verbs;

pub use api::{routes, schemas};
pub use model::{Operation, ScrapBody, WorkBody};
pub use verbs::{Finishes, Scraps, WorkDone};
