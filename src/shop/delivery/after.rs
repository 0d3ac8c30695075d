//! What comes of a piece once it is handed over: the certificate that goes with it, and that it is no more.

use super::store;
use crate::book::api::{InPath, Kit, ListFilter, post, record_schema, standard};
use crate::book::reach;
use crate::book::{Entry, Room};
use crate::db::WriteTx;
use crate::kernel::actor::Right;
use crate::kernel::field::{Parent, Ref, Text};
use crate::kernel::id::{Delivery, Piece};
use crate::kernel::{Kind, Precision, Problem, ProblemType, Seq};
use crate::shop::casting::{self, CastingRow};
use crate::shop::heat;
use crate::web::Route;
use crate::{body, words};
use serde_json::{Map, Value};
use std::collections::BTreeMap;

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
        /// The work, as it is called on it; by the record if not said.
        work: Option<Text<120>>,
        /// The mark on it; by the record if not said.
        mark: Option<Text<20>>,
        /// What it says it was cast in; what was poured by the record if not said.
        cast_in: Option<Text<120>>,
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
        let (at, by_day) = (entry.common.at, entry.common.precision != Precision::Minute);
        let refers = reach::referring(tx, &[piece], &[Kind::Delivery, Kind::PieceLoss]).await?;
        let own = entry.seq;
        let of =
            |kind: Kind| -> Vec<Seq> { refers.iter().filter(|r| r.kind == kind && r.record != own).map(|r| r.record).collect() };
        let delivered = reach::by_seqs(tx, &of(Kind::Delivery)).await?;
        let slack = if by_day { 24 * 3_600_000 } else { 0 };
        let Some(delivery) = delivered.iter().rfind(|found| found.at <= at.plus_ms(slack)) else {
            let detail = if delivered.is_empty() {
                "It was not handed over: give its castings up instead, so that their metal is followed."
            } else {
                "By the record it was handed over later than that: correct one of the times."
            };
            return Err(Problem::new(ProblemType::NotYet, detail).with("despite", Vec::<String>::new()));
        };
        if entry.body.delivery_id.as_ref().is_some_and(|said| said.seq() != delivery.seq) {
            let message = "By the times it was handed over by another delivery before; leave it out.";
            return Err(Problem::field("/delivery_id", "not-of-this", message));
        }
        if reach::referred(tx, &of(Kind::PieceLoss)).await?.iter().any(|r| r.target == delivery.seq) {
            return Err(Problem::field("/piece_id", "taken", "That it is no more is on record; correct or void that."));
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

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<CertificateBody>) -> Result<(), Problem> {
        let piece = entry.body.piece_id.seq();
        if let Some(number) = &entry.body.number
            && store::number_taken(tx, &number.0, entry.seq).await?
        {
            return Err(Problem::field("/number", "taken", "Another certificate bears that number."));
        }
        if !entry.correcting {
            signed(tx, piece, &mut entry.body).await?;
        }
        let number = entry.body.number.as_ref().map(|number| number.0.clone());
        entry.set("piece_seq", piece);
        entry.set("number", number);
        Ok(())
    }
}

/// What a certificate says of a piece, taken from the record when it is signed: what is corrected later
/// does not change what was signed.
async fn signed(tx: &mut WriteTx, piece: Seq, body: &mut CertificateBody) -> Result<(), Problem> {
    let mut last: BTreeMap<i64, CastingRow> = BTreeMap::new();
    for casting in casting::by_pieces(tx, &[piece]).await? {
        if casting.stage != "scrapped" || !last.contains_key(&casting.part_n) {
            last.insert(casting.part_n, casting);
        }
    }
    if last.is_empty() || last.values().any(|casting| !matches!(casting.stage.as_str(), "done" | "delivered")) {
        let detail = "It is not finished by the record: a certificate is signed for what is there.";
        return Err(Problem::new(ProblemType::NotYet, detail).with("despite", Vec::<String>::new()));
    }
    let found = reach::by_seqs(tx, &[piece]).await?;
    let said = |name: &str| found.first().and_then(|piece| piece.body[name].as_str()).map(str::to_owned);
    if body.mark.is_none() {
        body.mark = said("edition_mark").map(Text);
    }
    if body.work.is_none() {
        let of = reach::referred(tx, &[piece]).await?;
        let pattern: Vec<Seq> = of.iter().filter(|r| r.member == "pattern_id").map(|r| r.target).collect();
        let pattern = reach::by_seqs(tx, &pattern).await?;
        body.work = pattern.first().and_then(|pattern| pattern.body["name"].as_str()).map(|name| Text(name.to_owned()));
    }
    if body.cast_in.is_none() {
        let shells: Vec<Seq> = last.values().filter_map(|casting| casting.shell_seq).collect();
        let mut alloys: Vec<String> = heat::poured_as(tx, &shells).await?;
        if alloys.is_empty() {
            alloys.extend(said("alloy"));
        }
        alloys.sort_unstable();
        alloys.dedup();
        body.cast_in = Some(Text(alloys.join(", ").chars().take(120).collect()));
    }
    Ok(())
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
