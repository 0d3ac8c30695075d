//! Stories along the route: what is refused once, what is refused for good, what is
//! flagged, and what does not matter: arrival, correction, void.

mod flags;
mod history;
mod late;
mod never;
mod patched;
mod slips;
mod stories;
mod times;
