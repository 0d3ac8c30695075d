//! Quotes: what a job that is described will cost, by what such jobs really cost here, and the price.
//!
//! [`asked`] reads what is asked for against the book, [`record`] takes finished jobs out of it,
//! `science::quoting` works the cost out, [`answer`] and [`price`] say it. What was answered is kept in
//! the quote, since the record goes on. An accepted quote becomes a commission with its pieces; what that
//! really cost widens or narrows the quotes after it (docs/quoting.md).

mod answer;
mod api;
mod asked;
mod card;
mod learnt_page;
mod letter;
mod model;
mod movers;
mod page;
mod price;
mod prices;
mod ranges;
mod record;
mod schemas;
mod store;
mod verbs;
mod worked;

pub use api::{correctors, extras, routes, schemas};
pub use page::pages;
