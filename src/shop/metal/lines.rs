//! What rooms tell the ledger.

use crate::book::Entry;
use crate::db::{Cell, WriteTx};
use crate::kernel::{Kind, Mass, Money, Seq};

/// One thing that a record says of metal; which members count depends on the event, as
/// `load` reads them.
#[derive(Clone, Debug, Default)]
pub struct LedgerLine {
    /// `in`, `charge`, `pour`, `leak`, `closing`, `net`, `judged`, `gross`, `scrap`,
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
        tx.push("DELETE FROM ledger_line WHERE record_seq = ?", vec![Cell::Int(entry.seq)]);
    }
    for (part, line) in (0_i64..).zip(lines) {
        let [m1, m2, m3, m4] = line.masses;
        tx.push_late(
            "INSERT INTO ledger_line (record_seq, part, event, heat_seq, shell_seq, casting_seq, lot_seq, pour_seq, \
             m1_mg, m2_mg, m3_mg, m4_mg, value_minor, word) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            vec![
                entry.seq.into(), part.into(), line.event.into(), line.heat.into(), line.shell.into(),
                line.casting.into(), line.lot.into(), line.pour.into(), m1.into(), m2.into(), m3.into(),
                m4.into(), line.value.into(), line.word.into(),
            ],
        );
        for (kind, seq) in [
            (Kind::Heat, line.heat),
            (Kind::Shell, line.shell),
            (Kind::Casting, line.casting),
            (Kind::MetalLot, line.lot),
        ] {
            if let Some(seq) = seq {
                tx.touch(kind, seq);
            }
        }
    }
}

/// Tells the ledger of a heat, its crucible and what it is poured as.
pub fn set_heat(tx: &mut WriteTx, heat: Seq, crucible: Option<Seq>, alloy: &str) {
    tx.push_late(
        "INSERT INTO ledger_heat (heat_seq, crucible_seq, alloy) VALUES (?, ?, ?) \
         ON CONFLICT (heat_seq) DO UPDATE SET crucible_seq = excluded.crucible_seq, alloy = excluded.alloy",
        vec![heat.into(), crucible.into(), alloy.into()],
    );
    tx.touch(Kind::Heat, heat);
}

/// Tells the ledger of a shell: its gating as pattern, and the castings in it.
pub fn set_shell(tx: &mut WriteTx, shell: Seq, gating: Option<Mass>, gating_cm3: Option<f64>, material: &str, castings: &[Seq]) {
    tx.push_late(
        "INSERT INTO ledger_shell (shell_seq, gating_wax_mg, gating_cm3, gating_material) VALUES (?, ?, ?, ?) \
         ON CONFLICT (shell_seq) DO UPDATE SET gating_wax_mg = excluded.gating_wax_mg, \
         gating_cm3 = excluded.gating_cm3, gating_material = excluded.gating_material",
        vec![shell.into(), gating.into(), gating_cm3.into(), material.into()],
    );
    tx.push_late("DELETE FROM ledger_casting WHERE shell_seq = ?", vec![shell.into()]);
    for casting in castings {
        tx.push_late(
            "INSERT INTO ledger_casting (casting_seq, shell_seq) VALUES (?, ?) \
             ON CONFLICT (casting_seq) DO UPDATE SET shell_seq = excluded.shell_seq",
            vec![(*casting).into(), shell.into()],
        );
    }
}
