//! One envelope and one mechanism each for every record: recording, correcting,
//! voiding, the journal, idempotency, references, tokens, sessions, and reading back.

pub mod api;
pub mod children;
pub mod common;
pub mod door;
pub mod flags;
pub mod forget;
pub mod history;
pub mod idempotency;
pub mod journal;
pub mod list;
pub mod merging;
mod own;
pub mod reach;
pub mod render;
pub mod resolve;
pub mod room;
pub mod secret;
pub mod series;
pub mod session;
pub mod story;
pub mod thing;
pub mod token;
pub mod verbs;
pub mod void;

pub use common::{Common, Despite, Draft};
pub use render::{Catalogue, ChildSpec, Extras, render, render_one};
pub use room::{Entry, Room};
pub use verbs::{correct, create};
