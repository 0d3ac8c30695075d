//! A setting or a trade entry holds from its day on, also for what happened before it was
//! written: all that is derived is derived anew.

use super::store;
use crate::db::WriteTx;
use crate::kernel::{Kind, Problem};
use std::pin::Pin;

/// The settler of settings and trade entries; runs before all others.
pub fn settle<'t>(tx: &'t mut WriteTx) -> Pin<Box<dyn Future<Output = Result<(), Problem>> + Send + 't>> {
    Box::pin(async move {
        if tx.recall::<Done>().is_some() || !tx.acting().iter().any(|a| matches!(a.kind, Kind::Setting | Kind::TradeEntry)) {
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

/// That this turn has been over it all.
struct Done;
