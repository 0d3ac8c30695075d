//! What rooms tell the ledger.

use super::store;
use crate::book::Entry;
use crate::db::WriteTx;
use crate::kernel::{Kind, Mass, Money, Seq};

/// One thing that a record says of metal; which members count depends on the event, as
/// `load` reads them.
#[derive(Clone, Debug, Default)]
pub struct LedgerLine {
    /// `in`, `out`, `count`, `transfer` with `taker`, `charge`, `pour`, `leak`, `closing`, `net`, `judged`, `gross`, `scrap`,
    /// `finish`, `work`, `deliver`.
    pub event: &'static str,
    /// The heat.
    pub heat: Option<Seq>,
    /// The shell.
    pub shell: Option<Seq>,
    /// The casting.
    pub casting: Option<Seq>,
    /// The lot.
    pub lot: Option<Seq>,
    /// The pour of a leak.
    pub pour: Option<Seq>,
    /// Masses, as the event has them.
    pub masses: [Option<Mass>; 4],
    /// The value of metal that comes in.
    pub value: Option<Money>,
    /// A word, as the event has it.
    pub word: Option<&'static str>,
}

/// Enters what a record says of metal, in place of what it said before.
pub fn enter<B>(tx: &mut WriteTx, entry: &Entry<B>, lines: Vec<LedgerLine>) {
    if entry.correcting {
        store::forget_lines(tx, entry.seq);
    }
    for (part, line) in (0_i64..).zip(lines) {
        store::write_line(tx, entry.seq, part, &line);
        for (kind, seq) in
            [(Kind::Heat, line.heat), (Kind::Shell, line.shell), (Kind::Casting, line.casting), (Kind::MetalLot, line.lot)]
        {
            if let Some(seq) = seq {
                tx.touch(kind, seq);
            }
        }
    }
}

/// Tells the ledger of a heat, its crucible and what it is poured as.
pub fn set_heat(tx: &mut WriteTx, heat: Seq, crucible: Option<Seq>, alloy: &str) {
    store::write_heat(tx, heat, crucible, alloy);
    tx.touch(Kind::Heat, heat);
}

/// Tells the ledger of a shell: its gating as pattern, and the castings in it.
pub fn set_shell(tx: &mut WriteTx, shell: Seq, gating: Option<Mass>, gating_cm3: Option<f64>, material: &str, castings: &[Seq]) {
    store::write_shell(tx, shell, (gating, gating_cm3), material, castings);
}
