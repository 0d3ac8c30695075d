//! Tests of the whole crate from outside: the house rules, and the server as a
//! caller meets it.
#![cfg(test)]

mod architecture;
mod house;
mod bad_input;
mod grid;
mod kit;
mod races;
mod refusals;
mod route;
