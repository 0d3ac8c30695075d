//! HTTP: the route table as data, reading requests, answering, problems. Knows no room.

pub mod help;
pub mod openapi;
pub mod reply;
pub mod route;
pub mod serve;

pub use reply::Reply;
pub use route::{Answer, Ctx, Handler, Method, Param, RequestBody, Route};
