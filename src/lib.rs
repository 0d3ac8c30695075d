//! Pourbook: the book of a small ceramic-shell foundry.
//!
//! | room | what |
//! | --- | --- |
//! | [`kernel`] | ids, units, money, instants, text, problems, actors; no IO |
//! | [`science`] | pure computation: ledger, trade, statistics |
//! | [`db`] | one SQLite file: readers, the writer's queue, migrations, backup |
//! | [`web`] | HTTP: the route table, reading, answering; knows no room |
//! | [`book`] | one envelope and one mechanism each for every record |
//! | [`shop`] | what happened, room by room along the route |
//! | [`desk`] | what we make of it |
//! | [`app`] | the one file that knows every room |
//! | [`demo`] | a filled demonstration shop, made through the public service |

pub mod app;
pub mod book;
pub mod db;
pub mod demo;
pub mod desk;
pub mod kernel;
pub mod science;
pub mod shop;
pub mod web;
