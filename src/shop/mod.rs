//! What happened. A room imports only rooms above it in this list.

pub mod house;
pub mod client;
pub mod pattern;
pub mod commission;
pub mod casting;
pub mod metal;
pub mod shell;
pub mod burnout;
pub mod preheat;
pub mod heat;
pub mod breakout;
pub mod bench;
pub mod delivery;
