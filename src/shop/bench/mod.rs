//! The bench: minutes by operation, castings finished and given up.

mod api;
mod assembly;
mod away;
mod model;
mod page;
mod patina;
mod patina_page;
mod store;
mod verbs;

pub use api::{correctors, routes, schemas};
pub use model::{Operation, OutsideWorkBody, ScrapBody, WorkBody};
pub use page::pages;
pub use patina::version_extras as patina_extras;
pub use store::overdue;
pub use verbs::{Finishes, OutsideWorkDone, Scraps, WorkDone};
