//! Recording preheats.

use super::model::PreheatBody;
use crate::book::{Entry, Room};
use crate::db::WriteTx;
use crate::kernel::{Fault, Kind, Problem};
use crate::shop::house::fuel::Fuel;

/// Preheats.
pub enum Preheats {}

impl Room for Preheats {
    const KIND: Kind = Kind::Preheat;
    const TABLE: &'static str = "preheat";
    type Body = PreheatBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<PreheatBody>) -> Result<(), Problem> {
        let body = &entry.body;
        let told = body.fuel_kg.is_some() || body.fuel_kwh.is_some();
        let (before, after) = (body.bottles_before_kg.map(|m| m.0), body.bottles_after_kg.map(|m| m.0));
        Fuel { told, before, after }.check()?;
        let mut faults = Vec::new();
        if entry.body.out_at.is_some_and(|out| out < entry.common.at) {
            faults.push(Fault {
                pointer: "/out_at".into(),
                code: "before",
                message: "They came out before they went in.".into(),
            });
        }
        if entry.body.fuel_kg.is_some() && entry.body.fuel_kwh.is_some() {
            faults.push(Fault {
                pointer: "/fuel_kwh".into(),
                code: "one-of",
                message: "Give fuel_kg or fuel_kwh, not both.".into(),
            });
        }
        if !faults.is_empty() {
            return Err(Problem::invalid(faults));
        }
        let body = &entry.body;
        let shells: Vec<i64> = body.shell_ids.0.iter().map(crate::kernel::field::Ref::seq).collect();
        entry.columns = vec![("kiln_seq", body.kiln.0.seq().into()), ("out_ms", body.out_at.into())];
        for shell in shells {
            entry.bear(shell);
            tx.touch(Kind::Shell, shell);
        }
        Ok(())
    }
}
