//! The metal ledger: docs/ledger.md as code. Where every gram and every cent is, derived
//! from the live records alone; no IO, no clock, integers only.
//!
//! | pass | over | finds | file |
//! | --- | --- | --- | --- |
//! | 1 | one cluster | the mass of every stream (rule 3) | [`masses`](mod@masses) |
//! | plan | one cluster | what moves in and out of stock (its *steps*) | [`value`] |
//! | 2 | all lots and heats, in order | the value of every step (rules 1, 2) | [`stock`] |
//! | 3 | one cluster | all movements and figures (rules 4 to 8) | [`value`] |
//!
//! A *cluster* is the heats that are connected through common shells, with everything
//! that happened to their shells and castings. Masses never depend on values, so that
//! only pass 2 crosses clusters. [`derive()`] does it all from nothing. A store that
//! keeps the movements does the same in parts, after a write:
//!
//! 1. load the touched clusters (heels by [`heels()`]) and [`plan()`] them;
//! 2. find T, the earliest order at which their steps, or those of lots alone
//!    ([`lot_steps`]), differ from what is stored;
//! 3. make [`Stock`] from the stored balances before T: of every lot mass and value,
//!    of every heat the mass and value of its movements from lots and other heats;
//! 4. [`Stock::walk`] from T over the new steps and those of all other clusters, which
//!    [`recall`] reads from stored movements;
//! 5. [`derive_cluster`] for the touched clusters and for those with a step whose told
//!    value changed, with what is recalled before T and told after it; and
//!    [`lot_movements`] for the entries of lots alone from T on.

mod account;
mod chemistry;
mod facts;
mod figures;
pub mod history;
mod impossible;
mod journal;
pub mod masses;
pub mod owners;
pub mod share;
pub mod stock;
pub mod value;

use std::collections::BTreeMap;

use crate::kernel::{Mass, Money};

pub use account::{Account, Movement};
pub use chemistry::{Analysis, Chemistry, chemistry};
pub use figures::{CastingBalance, Figures, HeatBalance, JobCost, ShellBalance, State, job_cost};
pub use history::{Cluster, Entry, Event, History, Prices, clusters, heels};
pub use impossible::{Impossible, Scale, negative_mass, tolerance};
pub use masses::{Basis, HeatMasses, Masses, Stream, masses};
pub use owners::{Owner, SHOP, owners};
pub use share::{Taker, share};
pub use stock::{Act, Key, Step, Stock, Told, Values, lot_movements, lot_steps, recall};
pub use value::{Derived, derive_cluster, plan};

/// The whole ledger.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Book {
    /// All movements, by [`Movement::rank`].
    pub movements: Vec<Movement>,
    /// The figures of every heat, shell and casting.
    pub figures: Figures,
    /// What all lots hold and all heats were charged with.
    pub stock: Stock,
    /// What the walk told of every step, found metal among it.
    pub values: Values,
    /// What cannot have happened.
    pub impossible: Vec<Impossible>,
}

/// Derives everything from nothing. What the shop's `scale` may be off
/// decides only what is [`Impossible`]. Neither the order of the entries
/// nor that of heats and shells matters.
#[must_use]
pub fn derive(history: &History, scale: Scale) -> Book {
    let clusters = clusters(history);
    let planned: Vec<(Masses, Vec<Step>)> = clusters.iter().map(plan).collect();
    let mut steps = lot_steps(&history.entries);
    steps.extend(planned.iter().flat_map(|(_, steps)| steps));
    let mut book = Book::default();
    book.values = book.stock.walk(&steps);
    book.movements = lot_movements(&history.entries, &book.values);
    let lots = history.entries.iter().filter(|e| e.event.is_of_lots_alone());
    book.impossible = lots.filter_map(negative_mass).collect();
    for (cluster, (masses, _)) in clusters.iter().zip(&planned) {
        let derived = derive_cluster(cluster, masses, &book.values, scale);
        book.movements.extend(derived.movements);
        book.impossible.extend(derived.impossible);
        book.figures.extend(derived.figures);
    }
    book.movements.sort_by_key(Movement::rank);
    book.impossible.sort_unstable();
    book
}

/// What every account holds after some movements, in mass and value.
#[must_use]
pub fn balances<'a>(movements: impl IntoIterator<Item = &'a Movement>) -> BTreeMap<Account, (Mass, Money)> {
    let mut held: BTreeMap<Account, (Mass, Money)> = BTreeMap::new();
    for m in movements {
        let from = held.entry(m.from).or_default();
        *from = (from.0 - m.mass, from.1 - m.value);
        let to = held.entry(m.to).or_default();
        *to = (to.0 + m.mass, to.1 + m.value);
    }
    held
}

#[cfg(test)]
mod tests;
