//! Assembly: castings of the parts of a piece joined to one.

use crate::book::api::{InPath, Kit, ListFilter, post, record_schema, standard};
use crate::book::{Entry, Room, reach};
use crate::db::WriteTx;
use crate::kernel::actor::Right;
use crate::kernel::field::{Many, Parent, Ref, Text};
use crate::kernel::id::{Casting, Piece};
use crate::kernel::{Fault, Kind, Problem};
use crate::shop::casting;
use crate::web::Route;
use crate::{body, words};
use serde_json::{Map, Value};
use std::collections::BTreeSet;

words! {
    /// How parts are joined.
    pub enum Joint {
        /// Welded.
        Weld = "weld",
        /// Brazed.
        Braze = "braze",
        /// Bolted.
        Bolt = "bolt",
        /// Pinned.
        Pin = "pin",
        /// Glued.
        Glue = "glue",
    }
}

body! {
    /// Castings joined to the piece that they are parts of. Minutes, rod and what was ground off are booked
    /// as work on them.
    pub struct AssemblyBody {
        /// The piece.
        piece_id: Parent<Piece>,
        /// The castings, each of another part.
        casting_ids: Many<Ref<Casting>, 50>,
        /// How they are joined.
        joint: Option<Joint>,
        /// Notes.
        notes: Option<Text<1000>>,
    }
}

/// Assemblies.
pub enum Assemblies {}

impl Room for Assemblies {
    const KIND: Kind = Kind::Assembly;
    const TABLE: &'static str = "assembly";
    type Body = AssemblyBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<AssemblyBody>) -> Result<(), Problem> {
        let piece = entry.body.piece_id.seq();
        let known = casting::by_pieces(tx, &[piece]).await?;
        let (mut faults, mut parts, mut joined) = (Vec::new(), BTreeSet::new(), Vec::new());
        for (n, casting) in entry.body.casting_ids.0.iter().enumerate() {
            let mut fault = |code, message: &str| {
                faults.push(Fault { pointer: format!("/casting_ids/{n}"), code, message: message.to_owned() });
            };
            match known.iter().find(|c| c.seq == casting.seq()) {
                None => fault("not-of-this", "That is no casting of this piece."),
                Some(row) if !parts.insert(row.part_n) => fault("twice", "Two castings of one part cannot both be in it."),
                Some(row) => joined.push(row.seq),
            }
        }
        if faults.is_empty() && joined.len() < 2 {
            faults.push(Fault {
                pointer: "/casting_ids".into(),
                code: "length",
                message: "Give two castings or more: what is cast in one is not joined.".into(),
            });
        }
        if !faults.is_empty() {
            return Err(Problem::invalid(faults));
        }
        let before = reach::referring(tx, &joined, &[Kind::Assembly]).await?;
        if let Some(twice) = before.iter().find(|r| r.record != entry.seq && r.member == "casting_ids") {
            let at = entry.body.casting_ids.0.iter().position(|c| c.seq() == twice.target).unwrap_or(0);
            let message = "That it was joined is on record already; correct or void that.";
            return Err(Problem::field(&format!("/casting_ids/{at}"), "taken", message));
        }
        entry.set("piece_seq", piece);
        for casting in joined {
            entry.bear(casting);
            tx.touch(Kind::Casting, casting);
        }
        Ok(())
    }
}

/// The routes.
pub(super) fn routes(kit: &Kit) -> Vec<Route> {
    let under = InPath { kind: Kind::Piece, member: "piece_id" };
    let about = "Join the parts of a piece";
    let mut out = vec![post::<Assemblies>(kit, "/v1/pieces/{id}/assemble", "assembly_create", about, Right::Log, Some(under))];
    out.extend(standard::<Assemblies>(kit, &[ListFilter::Refers { member: "piece_id", kind: Kind::Piece }], Right::Correct));
    out
}

/// The schema of what is answered.
pub(super) fn schema() -> (Kind, Value) {
    (Kind::Assembly, record_schema::<AssemblyBody>(Kind::Assembly, &Map::new(), &[]))
}
