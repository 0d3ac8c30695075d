//! Pourbook.
pub mod kernel;
pub mod science;
pub mod db;
pub mod web;
pub mod book;
pub mod shop;
