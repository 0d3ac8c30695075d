//! Recording counts of lots, metal out of stock and from lot to pool.

use super::lines::{LedgerLine, enter};
use super::model::{CountBody, GoneTo, OutBody, TransferBody};
use super::store;
use crate::book::{Despite, Entry, Room};
use crate::db::WriteTx;
use crate::kernel::{Kind, Mass, Problem, ProblemType, Seq};

fn line(event: &'static str, lot: Seq, mass: Mass) -> LedgerLine {
    LedgerLine { event, lot: Some(lot), masses: [Some(mass), None, None, None], ..LedgerLine::default() }
}

/// Lots weighed.
pub enum Counts {}

impl Room for Counts {
    const KIND: Kind = Kind::Count;
    const TABLE: &'static str = "count";
    type Body = CountBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<CountBody>) -> Result<(), Problem> {
        let lot = entry.body.lot_id.seq();
        entry.columns = vec![("lot_seq", lot.into())];
        let said = line("count", lot, entry.body.mass_kg.0);
        enter(tx, entry, vec![said]);
        entry.bear(lot);
        Ok(())
    }
}

/// Metal sold or written off.
pub enum Outs {}

impl Room for Outs {
    const KIND: Kind = Kind::Out;
    const TABLE: &'static str = "out";
    type Body = OutBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<OutBody>) -> Result<(), Problem> {
        let body = &entry.body;
        if body.to != GoneTo::Sold && body.income_minor.is_some() {
            return Err(Problem::field("/income_minor", "not-sold", "What is written off brings no income; leave it out."));
        }
        let lot = body.lot_id.seq();
        let said = LedgerLine { word: Some(body.to.name()), ..line("out", lot, body.mass_kg.0) };
        entry.columns = vec![("lot_seq", lot.into())];
        enter(tx, entry, vec![said]);
        entry.bear(lot);
        Ok(())
    }
}

/// Metal moved into a pool.
pub enum Transfers {}

impl Room for Transfers {
    const KIND: Kind = Kind::Transfer;
    const TABLE: &'static str = "transfer";
    type Body = TransferBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<TransferBody>) -> Result<(), Problem> {
        let (from, to) = (entry.body.lot_id.seq(), entry.body.to_lot_id.seq());
        if from == to {
            return Err(Problem::field("/to_lot_id", "same-lot", "Name another lot than the one that gives."));
        }
        let (Some(gives), Some(takes)) = (store::lot(tx, from).await?, store::lot(tx, to).await?) else {
            return Err(Problem::internal("a lot of a transfer is not on file"));
        };
        if takes.0 != "returns" {
            return Err(Problem::field("/to_lot_id", "no-pool", "Metal goes back only into pools: lots of kind returns."));
        }
        if gives.2 != takes.2 {
            return Err(Problem::field("/to_lot_id", "other-owner", "Both lots must belong to the same owner."));
        }
        if gives.1 != takes.1 && !entry.despite(Despite::AlloyDiffers) {
            return Err(Problem::new(
                ProblemType::AlloyDiffers,
                format!("The metal is {}, the pool {}. If it really went there, say despite: [alloy_differs].", gives.1, takes.1),
            )
            .with("despite", vec!["alloy_differs"]));
        }
        entry.columns = vec![("lot_seq", from.into()), ("to_lot_seq", to.into())];
        let (said, taker) = (line("transfer", from, entry.body.mass_kg.0), line("taker", to, entry.body.mass_kg.0));
        enter(tx, entry, vec![said, taker]);
        entry.bear(from);
        entry.bear(to);
        Ok(())
    }
}
