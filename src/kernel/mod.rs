//! Words that every room shares: ids, quantities, instants, text, problems, actors.
//!
//! No IO. The only clock and the only source of randomness are the ones in
//! [`clock`], which `main` makes and hands in.

pub mod actor;
pub mod clock;
pub mod field;
pub mod id;
pub mod instant;
pub mod json;
pub mod problem;
pub mod quantity;
pub mod tag;
pub mod units;

pub use actor::{Actor, Role};
pub use clock::Clock;
pub use id::{Id, Kind, Seq};
pub use instant::{Instant, Order, Precision};
pub use problem::{Fault, Problem, ProblemType};
pub use quantity::{Celsius, Mass, Millimetres, Money};
pub use tag::Tag;
