//! What comes of a piece once it is handed over: the certificate that goes with it, and that it is no more.

use crate::book::api::{InPath, Kit, ListFilter, post, record_schema, standard};
use crate::book::reach;
use crate::book::{Entry, Room};
use crate::db::WriteTx;
use crate::kernel::actor::Right;
use crate::kernel::field::{Parent, Ref, Text};
use crate::kernel::id::{Delivery, Piece};
use crate::kernel::{Kind, Problem, ProblemType, Seq};
use crate::web::Route;
use crate::{body, words};
use serde_json::{Map, Value};

words! {
    /// What came of a piece.
    pub enum Fate {
        /// Destroyed, seen by somebody.
        Destroyed = "destroyed",
        /// Melted down.
        Melted = "melted",
        /// Lost.
        Lost = "lost",
        /// Stolen.
        Stolen = "stolen",
    }
}

body! {
    /// A piece that is no more, after it was handed over. Its mark stays its own: a register that gives it
    /// out again could not be trusted.
    pub struct PieceLossBody {
        /// The piece.
        piece_id: Parent<Piece>,
        /// What came of it.
        fate: Fate,
        /// Who saw it, or says so.
        told_by: Text<200>,
        /// How it had been handed over; found by the book.
        delivery_id: Option<Ref<Delivery>>,
        /// Notes.
        notes: Option<Text<2000>>,
    }
}

body! {
    /// A certificate that goes with a piece.
    pub struct CertificateBody {
        /// The piece.
        piece_id: Parent<Piece>,
        /// Its own number, where the shop numbers them.
        number: Option<Text<40>>,
        /// Who signed it.
        signed_by: Text<120>,
        /// Who has it.
        given_to: Option<Text<200>>,
        /// What stands on it besides.
        statement: Option<Text<2000>>,
    }
}

/// Pieces that are no more.
pub enum PieceLosses {}

impl Room for PieceLosses {
    const KIND: Kind = Kind::PieceLoss;
    const TABLE: &'static str = "piece_loss";
    type Body = PieceLossBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<PieceLossBody>) -> Result<(), Problem> {
        let piece = entry.body.piece_id.seq();
        let before = reach::referring(tx, &[piece], &[Kind::Delivery, Kind::PieceLoss]).await?;
        if before.iter().any(|r| r.kind == Kind::PieceLoss && r.record != entry.seq) {
            return Err(Problem::field("/piece_id", "taken", "That it is no more is on record; correct or void that."));
        }
        let delivery: Vec<Seq> = before.iter().filter(|r| r.kind == Kind::Delivery).map(|r| r.record).collect();
        let Some(delivery) = reach::by_seqs(tx, &delivery).await?.pop() else {
            let detail = "It was not handed over: give its castings up instead, so that their metal is followed.";
            return Err(Problem::new(ProblemType::NotYet, detail).with("despite", Vec::<String>::new()));
        };
        if entry.body.delivery_id.as_ref().is_some_and(|said| said.seq() != delivery.seq) {
            return Err(Problem::field("/delivery_id", "not-of-this", "That is the delivery of another piece; leave it out."));
        }
        entry.body.delivery_id = Some(Ref::known(delivery.seq, delivery.id));
        entry.set("piece_seq", piece);
        Ok(())
    }
}

/// Certificates.
pub enum Certificates {}

impl Room for Certificates {
    const KIND: Kind = Kind::Certificate;
    const TABLE: &'static str = "certificate";
    type Body = CertificateBody;

    async fn enter(_: &mut WriteTx, entry: &mut Entry<CertificateBody>) -> Result<(), Problem> {
        let piece = entry.body.piece_id.seq();
        entry.set("piece_seq", piece);
        Ok(())
    }
}

/// The routes.
pub(super) fn routes(kit: &Kit) -> Vec<Route> {
    let under = Some(InPath { kind: Kind::Piece, member: "piece_id" });
    let of_piece: &[ListFilter] = &[ListFilter::Refers { member: "piece_id", kind: Kind::Piece }];
    let (lost, signed) = ("Record that a piece handed over is no more", "Sign a certificate for a piece");
    let mut out = vec![
        post::<PieceLosses>(kit, "/v1/pieces/{id}/loss", "piece_loss_create", lost, Right::Log, under),
        post::<Certificates>(kit, "/v1/pieces/{id}/certificate", "certificate_create", signed, Right::Log, under),
    ];
    out.extend(standard::<PieceLosses>(kit, of_piece, Right::Correct));
    out.extend(standard::<Certificates>(kit, of_piece, Right::Correct));
    out
}

/// The schemas of what is answered.
pub(super) fn schemas() -> [(Kind, Value); 2] {
    [
        (Kind::PieceLoss, record_schema::<PieceLossBody>(Kind::PieceLoss, &Map::new(), &[])),
        (Kind::Certificate, record_schema::<CertificateBody>(Kind::Certificate, &Map::new(), &[])),
    ]
}
