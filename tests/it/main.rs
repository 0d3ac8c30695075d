//! Tests of the whole crate from outside: the house rules, and the server as a
//! caller meets it.
#![cfg(test)]

mod along;
mod architecture;
mod bad_input;
mod browser;
mod calls;
mod cascade;
mod completing;
mod cost;
mod dated;
mod every_page;
mod evidence;
mod evidence_chart;
mod export;
mod forget;
mod grid;
mod heels;
mod house;
mod kit;
mod merging;
mod metal;
mod metal_reports;
mod month_counts;
mod pages;
mod queue;
mod quotes;
mod races;
mod rebuild;
mod refusals;
mod report;
mod route;
mod sign_in;
mod slips;
mod stock;
mod trials;
mod two_parts;
mod whole_job;
mod whole_shop;
