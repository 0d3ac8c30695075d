//! Pieces, their parts, and castings: one attempt each to cast one part of one piece.
//! Holds the route: stages, order, and what depends on what.

mod api;
mod model;
pub mod page;
pub mod route;
mod settle;
mod store;
mod verbs;

pub use api::{correctors, extras, piece_extras, routes, schemas};
pub use model::{CastingBody, Part, PartBody, PieceBody, RecastBody, WaxBody};
pub use settle::{settle, stood};
pub use store::{
    CastingRow, DERIVED, IN_THE_SHOP, Listed, by_commission, by_commissions, by_pieces, by_seqs, in_the_shop, listed_of, seen_by,
    shells_at, standing_at, still_owed, thinnest_in, unapproved,
};
pub use verbs::{Castings, Pieces, Recasts, Waxes, refit_piece};
