//! Recording burnouts.

use super::model::{BurnoutBody, Purpose};
use crate::book::{Entry, Room};
use crate::db::WriteTx;
use crate::kernel::{Fault, Kind, Problem};
use crate::shop::house::fuel::Fuel;

/// Burnouts.
pub enum Burnouts {}

impl Room for Burnouts {
    const KIND: Kind = Kind::Burnout;
    const TABLE: &'static str = "burnout";
    type Body = BurnoutBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<BurnoutBody>) -> Result<(), Problem> {
        let body = &entry.body;
        let told = body.fuel_kg.is_some() || body.fuel_kwh.is_some();
        let (before, after) = (body.bottles_before_kg.map(|m| m.0), body.bottles_after_kg.map(|m| m.0));
        Fuel { told, before, after }.check()?;
        let mut faults = Vec::new();
        let shells: Vec<i64> = entry.body.shells.0.iter().map(|s| s.0.shell_id.seq()).collect();
        let mut sorted = shells.clone();
        sorted.sort_unstable();
        if sorted.windows(2).any(|w| w[0] == w[1]) {
            faults.push(Fault { pointer: "/shells".into(), code: "twice", message: "A shell is named twice.".into() });
        }
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
        let purpose = entry.body.purpose.unwrap_or(Purpose::DewaxAndFire);
        entry.body.purpose = Some(purpose);
        let body = &entry.body;
        entry.columns = vec![
            ("kiln_seq", body.kiln.0.seq().into()),
            ("purpose", purpose.name().into()),
            ("peak_c", body.peak_c.map(crate::kernel::Celsius::get).into()),
            ("out_ms", body.out_at.into()),
        ];
        for shell in shells {
            entry.bear(shell);
            tx.touch(Kind::Shell, shell);
        }
        Ok(())
    }
}
