//! HTTP: the route table as data, reading requests, answering, problems, the frame of pages.
//! Knows no room.

mod accept;
pub mod assets;
pub mod csv;
pub mod draw;
pub mod help;
pub mod inside;
pub mod letter;
pub mod openapi;
pub mod page;
pub mod reply;
pub mod route;
pub mod serve;
pub mod sheet;
pub mod slip;
pub mod throttle;
pub mod typed;
pub mod visit;

pub use page::{Form, Frame, Page, Shown, Visit};
pub use reply::Reply;
pub use route::{Answer, Ctx, Handler, Method, Param, RequestBody, Route};
