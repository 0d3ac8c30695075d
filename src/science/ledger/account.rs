//! Accounts and movements: the only two things the ledger is made of.

use crate::kernel::{Mass, Money, Order};

/// Where metal lies, or where it went. The number is the `seq` of the record.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Account {
    /// A metal lot.
    Lot(i64),
    /// A heat.
    Heat(i64),
    /// A shell.
    Shell(i64),
    /// A casting.
    Casting(i64),
    /// Sink: skimmed off at a closing.
    Dross,
    /// Sink: spilled from a crucible.
    Spill,
    /// Sink: run out of a shell and lost.
    Leak,
    /// Sink: cut, ground or sawn away.
    Swarf,
    /// Sink: what the scale cannot explain; also gives metal, so its mass may be negative.
    Unexplained,
    /// Handed over to a client, with its value.
    Delivered,
    /// Sold out of stock, with its value.
    Sold,
    /// Written off out of stock, with its value.
    WrittenOff,
    /// Where all metal comes from.
    Outside,
}

/// The accounts that are one of a kind, with their codes and names.
const SINGLE: [(Account, u8, &str); 9] = [
    (Account::Dross, 11, "dross"),
    (Account::Spill, 12, "spill"),
    (Account::Leak, 13, "leak"),
    (Account::Swarf, 14, "swarf"),
    (Account::Unexplained, 15, "unexplained"),
    (Account::Delivered, 21, "delivered"),
    (Account::Sold, 22, "sold"),
    (Account::WrittenOff, 23, "written_off"),
    (Account::Outside, 31, "outside"),
];

impl Account {
    /// As stored: the kind, and the record's `seq` for lots, heats, shells and castings.
    #[must_use]
    pub fn code(self) -> (u8, Option<i64>) {
        match self {
            Self::Lot(seq) => (1, Some(seq)),
            Self::Heat(seq) => (2, Some(seq)),
            Self::Shell(seq) => (3, Some(seq)),
            Self::Casting(seq) => (4, Some(seq)),
            single => (SINGLE.iter().find(|s| s.0 == single).map_or(0, |s| s.1), None),
        }
    }

    /// The inverse of [`Account::code`]; `None` for a code that it never gives.
    #[must_use]
    pub fn from_code(kind: u8, seq: Option<i64>) -> Option<Self> {
        match (kind, seq) {
            (1, Some(seq)) => Some(Self::Lot(seq)),
            (2, Some(seq)) => Some(Self::Heat(seq)),
            (3, Some(seq)) => Some(Self::Shell(seq)),
            (4, Some(seq)) => Some(Self::Casting(seq)),
            (kind, None) => SINGLE.iter().find(|s| s.1 == kind).map(|s| s.0),
            _ => None,
        }
    }

    /// The kind as written in docs/ledger.md: `lot`, `heat`, `dross`, `written_off`, …
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Lot(_) => "lot",
            Self::Heat(_) => "heat",
            Self::Shell(_) => "shell",
            Self::Casting(_) => "casting",
            single => SINGLE.iter().find(|s| s.0 == single).map_or("", |s| s.2),
        }
    }

    /// Whether it is a sink: holds mass, never value.
    #[must_use]
    pub const fn is_sink(self) -> bool {
        matches!(self, Self::Dross | Self::Spill | Self::Leak | Self::Swarf | Self::Unexplained)
    }
}

/// Mass and value going from one account to another at one instant.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Movement {
    /// When it happens in the one order: that of the record that caused it, or for a
    /// leak that of its pour.
    pub order: Order,
    /// The `seq` of the record that caused it.
    pub source: i64,
    /// Unique within `source`, with gaps. Steps of stock come first: 3n + 1 is the n-th
    /// movement in or out of stock, 3n what `unexplained` had to add to the lot for it,
    /// 3n + 2 the value that a return takes out of a heat that is still open. All others
    /// follow in the order of happening. So the line of a step does not depend on any
    /// value, and balances mean something between instants, not within one.
    pub line: u32,
    /// Giver.
    pub from: Account,
    /// Taker.
    pub to: Account,
    /// Milligrams, never negative.
    pub mass: Mass,
    /// Minor units; negative only where a balance to be passed on is.
    pub value: Money,
    /// For returns into a pool: the `seq` of the heat whose V/C values it (rule 2).
    pub unit_heat: Option<i64>,
    /// For those: the scrap price, a kg, in force at the return, whether it was the less or not.
    pub scrap: Option<Money>,
}

impl Movement {
    /// The order in which movements are listed: by instant, a record's own before the
    /// leaks of its pour, then by source and line.
    #[must_use]
    pub fn rank(&self) -> (Order, bool, i64, u32) {
        (self.order, self.source != self.order.seq, self.source, self.line)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_go_both_ways() {
        let many = [Account::Lot(7), Account::Heat(7), Account::Shell(7), Account::Casting(7)];
        for account in many.into_iter().chain(SINGLE.map(|s| s.0)) {
            let (kind, seq) = account.code();
            assert_ne!(kind, 0);
            assert_ne!(account.name(), "");
            assert_eq!(Account::from_code(kind, seq), Some(account));
        }
        assert_eq!(Account::from_code(1, None), None);
        assert_eq!(Account::from_code(11, Some(1)), None);
        assert_eq!(Account::from_code(0, None), None);
    }
}
