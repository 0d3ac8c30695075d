//! Breakouts: shells opened, castings judged, cut off and weighed, and what was found.

mod api;
mod model;
pub mod page;
mod store;
mod verbs;

pub use api::{correctors, routes, schemas};
pub use model::{FindingBody, Verdict};
pub use page::pages;
pub use verbs::{Breakouts, CutOffs, Findings, FoundOn, ShellBreakouts, add_findings};
