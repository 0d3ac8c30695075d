//! The routes that every kind of record has: record, list, read, correct, void.

mod act;
mod lists;
mod path;
mod routes;
mod schema;

pub use act::{Acted, Acting, Kit, act};
pub use lists::{ListFilter, encode, list_params, page, paged};
pub use path::{check_match, fill_draft, find, id_of, in_path, read_draft};
pub use routes::{InPath, heading, post, reading, record, standard};
pub use schema::{by_ref, patch_schema, record_schema, request_schema};
