//! A setting, a trade entry or a scrap price holds from its day on, also for what happened
//! before it was written: all that is derived is derived anew. Of the other rates nothing is
//! stored that would follow from them.

use super::store;
use crate::db::WriteTx;
use crate::kernel::{Kind, Problem, Seq};
use std::pin::Pin;

/// The settler of settings, trade entries and scrap prices; runs before all others.
pub fn settle<'t>(tx: &'t mut WriteTx) -> Pin<Box<dyn Future<Output = Result<(), Problem>> + Send + 't>> {
    Box::pin(async move {
        if tx.recall::<Done>().is_some() || !reaches_back(tx).await? {
            return Ok(());
        }
        tx.remember(Done);
        // Also when one is voided, which no room is asked about.
        tx.forget_shared();
        for (kind, seq) in store::derived_from(tx).await? {
            tx.touch(kind, seq);
            tx.note_acting(kind, seq, false);
        }
        Ok(())
    })
}

/// Whether something is written that earlier records are costed or flagged by.
async fn reaches_back(tx: &mut WriteTx) -> Result<bool, Problem> {
    if tx.acting().iter().any(|a| matches!(a.kind, Kind::Setting | Kind::TradeEntry)) {
        return Ok(true);
    }
    let rates: Vec<Seq> = tx.acting().iter().filter(|a| a.kind == Kind::Rate).map(|a| a.seq).collect();
    Ok(!rates.is_empty() && (tx.recall::<ScrapPriced>().is_some() || store::any_scrap_price(tx, &rates).await?))
}

/// That a rate which was a scrap price is corrected to something else.
pub(super) struct ScrapPriced;

/// That this turn has been over it all.
struct Done;
