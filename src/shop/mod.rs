//! What happened. A room imports only rooms above it in this list.

pub mod bench;
pub mod breakout;
pub mod burnout;
pub mod casting;
pub mod client;
pub mod commission;
pub mod delivery;
pub mod heat;
pub mod house;
pub mod metal;
pub mod pattern;
pub mod preheat;
pub mod shell;
