//! Recording deliveries.

use super::model::DeliveryBody;
use super::store;
use crate::book::{Entry, Room, reach};
use crate::db::WriteTx;
use crate::kernel::{Kind, Problem, ProblemType, Seq};
use crate::shop::casting;
use crate::shop::metal::{self, LedgerLine};
use std::collections::BTreeMap;

/// Deliveries.
pub enum Deliveries {}

impl Room for Deliveries {
    const KIND: Kind = Kind::Delivery;
    const TABLE: &'static str = "delivery";
    type Body = DeliveryBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<DeliveryBody>) -> Result<(), Problem> {
        let piece = entry.body.piece_id.seq();
        if let Some(mark) = store::mark_taken(tx, piece, entry.seq).await? {
            return Err(Problem::new(
                ProblemType::EditionMarkTaken,
                format!("A delivered work from this pattern bears {mark} already."),
            ));
        }
        if entry.correcting {
            let lost = reach::referring(tx, &[entry.seq], &[Kind::PieceLoss]).await?;
            let lost = reach::by_seqs(tx, &lost.iter().map(|r| r.record).collect::<Vec<_>>()).await?;
            if lost.iter().any(|loss| loss.at < entry.common.at) {
                return Err(Problem::new(
                    ProblemType::TimesContradict,
                    "By the record it was no more by then: correct that first.",
                ));
            }
        }
        // Of each part the last attempt that is not scrapped goes out.
        let mut last: BTreeMap<i64, (Seq, bool)> = BTreeMap::new();
        for casting in casting::by_pieces(tx, &[piece]).await? {
            let gone = casting.stage == "scrapped";
            if !gone || !last.contains_key(&casting.part_n) {
                last.insert(casting.part_n, (casting.seq, gone));
            }
        }
        let waiting = last.values().any(|(_, gone)| *gone);
        if waiting || last.is_empty() {
            return Err(Problem::new(ProblemType::NotYet, "A part of the piece has only scrapped castings on record.")
                .with("despite", Vec::<String>::new()));
        }
        entry.columns = vec![("piece_seq", piece.into())];
        let lines = last
            .values()
            .map(|(casting, _)| LedgerLine { event: "deliver", casting: Some(*casting), ..LedgerLine::default() })
            .collect();
        for (casting, _) in last.values() {
            entry.bear(*casting);
            tx.touch(Kind::Casting, *casting);
        }
        metal::enter(tx, entry, lines);
        Ok(())
    }
}
