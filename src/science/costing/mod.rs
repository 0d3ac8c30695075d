//! What the shop's records cost, and on whom each cost falls (docs/costing.md).
//!
//! A [`Line`] is one cost of one record, on something: a casting, a shell, a heat, a kiln load, a
//! pour day, a mould, a piece, a commission, or the shop itself. [`fall`] shares it down to those
//! who bear it. Every step is by largest remainder, so that a line's shares sum to it exactly and
//! the costs of all jobs, with what stays on moulds and on the shop, are what the records cost.

mod area;
mod edition;

pub use area::{Faces, rod, sphere, wall};
pub use edition::{Mark, copies};

use crate::kernel::quantity::half_even;
use crate::kernel::{Money, Seq};
use crate::science::ledger::{Taker, share};
use std::collections::BTreeMap;

/// The parts of a job's cost beside its metal.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Part {
    /// Moulds and patterns: making them, buying them.
    Mould,
    /// Waxes and prints.
    Wax,
    /// Slurry and stucco.
    Shell,
    /// What burnt under heats and in kilns.
    Fuel,
    /// The wear of crucibles.
    Crucible,
    /// What a pour day costs whatever is poured.
    PourDay,
    /// Hours.
    Work,
    /// Bench materials, bases.
    Material,
    /// Work done outside, and what is bought in otherwise.
    Services,
    /// Royalties.
    Royalty,
    /// Crates and freight.
    Delivery,
    /// The shop's share by its rule.
    Overhead,
}

impl Part {
    /// All of them, from the first hour to the last.
    pub const ALL: [Self; 12] = [
        Self::Mould,
        Self::Wax,
        Self::Shell,
        Self::Fuel,
        Self::Crucible,
        Self::PourDay,
        Self::Work,
        Self::Material,
        Self::Services,
        Self::Royalty,
        Self::Delivery,
        Self::Overhead,
    ];
    /// As the API has it; its amount is the member of that name and `_minor`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Mould => "mould",
            Self::Wax => "wax",
            Self::Shell => "shell",
            Self::Fuel => "fuel",
            Self::Crucible => "crucible",
            Self::PourDay => "pour_day",
            Self::Work => "work",
            Self::Material => "material",
            Self::Services => "services",
            Self::Royalty => "royalty",
            Self::Delivery => "delivery",
            Self::Overhead => "overhead",
        }
    }
    /// The inverse of [`Part::name`].
    #[must_use]
    pub fn parse(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|part| part.name() == name)
    }
}

/// What a cost was on. Numbers are those of records; a day is counted from 1970-01-01.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum On {
    /// A whole job.
    Commission(Seq),
    /// A piece.
    Piece(Seq),
    /// A casting.
    Casting(Seq),
    /// A shell: its castings, by their estimated metal.
    Shell(Seq),
    /// A heat: the shells poured from it, by what each took.
    Heat(Seq),
    /// A kiln load: its shells, by their fired mass.
    Load(Seq),
    /// A pour day: the shells poured on it, by what each took.
    Day(i64),
    /// A mould: the copies of its edition, alike.
    Mould(Seq),
    /// The shop itself.
    Shop,
}

/// On whom it falls in the end.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Bearer {
    /// A job as a whole.
    Commission(Seq),
    /// A piece of a job.
    Piece(Seq),
    /// A casting of a job.
    Casting(Seq),
    /// Copies of an edition that are not on record yet: it stays on the mould.
    Mould(Seq),
    /// Nobody: a heat that poured nothing, a load of no shells. The shop bears it.
    Shop,
}

/// One cost of one record.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Line {
    /// The record.
    pub record: Seq,
    /// Which part of the cost it is.
    pub part: Part,
    /// What it was on.
    pub on: On,
    /// How much.
    pub amount: Money,
}

/// A mould's edition: how many copies bear its cost, and the pieces on record, first first.
#[derive(Clone, Default, PartialEq, Eq, Debug)]
pub struct Edition {
    /// Copies planned, or pieces on record where those are more.
    pub copies: usize,
    /// The pieces.
    pub pieces: Vec<Seq>,
}

/// Who bears what is shared, and by which weights.
#[derive(Clone, Default, Debug)]
pub struct Bearers {
    /// The castings of each shell, by estimated metal in mg.
    pub shells: BTreeMap<Seq, Vec<(Seq, i64)>>,
    /// The shells of each heat, by metal poured from it in mg.
    pub heats: BTreeMap<Seq, Vec<(Seq, i64)>>,
    /// The shells of each kiln load, by fired mass in mg.
    pub loads: BTreeMap<Seq, Vec<(Seq, i64)>>,
    /// The shells of each pour day, by metal poured on it in mg.
    pub days: BTreeMap<i64, Vec<(Seq, i64)>>,
    /// The edition of each mould.
    pub moulds: BTreeMap<Seq, Edition>,
}

/// Shares an amount among takers by their weights, ties to the lowest number; weights that are
/// all 0 count as alike.
fn among(amount: Money, takers: &[(Seq, i64)]) -> Vec<(Seq, Money)> {
    let weighed: Vec<Taker> = takers.iter().map(|(seq, weight)| Taker::new(*weight, *seq)).collect();
    let shares = share(amount.minor(), &weighed);
    takers.iter().zip(shares).map(|((seq, _), minor)| (*seq, Money::from_minor(minor))).collect()
}

impl Bearers {
    fn over_shells(&self, amount: Money, shells: Option<&Vec<(Seq, i64)>>) -> Vec<(Bearer, Money)> {
        let shells = shells.map_or(&[][..], Vec::as_slice);
        if shells.is_empty() {
            return vec![(Bearer::Shop, amount)];
        }
        among(amount, shells).into_iter().flat_map(|(shell, share)| self.over_castings(share, shell)).collect()
    }
    fn over_castings(&self, amount: Money, shell: Seq) -> Vec<(Bearer, Money)> {
        match self.shells.get(&shell).filter(|castings| !castings.is_empty()) {
            None => vec![(Bearer::Shop, amount)],
            Some(castings) => {
                among(amount, castings).into_iter().map(|(casting, share)| (Bearer::Casting(casting), share)).collect()
            }
        }
    }
    fn over_copies(&self, amount: Money, mould: Seq) -> Vec<(Bearer, Money)> {
        let none = Edition::default();
        let edition = self.moulds.get(&mould).unwrap_or(&none);
        let copies = edition.copies.max(edition.pieces.len());
        if copies == 0 {
            return vec![(Bearer::Mould(mould), amount)];
        }
        // Copies bear alike; a remainder goes to the first of them.
        let takers: Vec<Taker> = (0..).take(copies).map(|rank| Taker::new(1, rank)).collect();
        let shares = share(amount.minor(), &takers);
        let mut out: Vec<(Bearer, Money)> =
            edition.pieces.iter().zip(&shares).map(|(piece, minor)| (Bearer::Piece(*piece), Money::from_minor(*minor))).collect();
        let rest: i64 = shares.iter().skip(edition.pieces.len()).sum();
        if rest != 0 {
            out.push((Bearer::Mould(mould), Money::from_minor(rest)));
        }
        out
    }
}

/// On whom a line falls, and how much of it on each; the shares sum to the line.
#[must_use]
pub fn fall(line: &Line, bearers: &Bearers) -> Vec<(Bearer, Money)> {
    match line.on {
        On::Commission(seq) => vec![(Bearer::Commission(seq), line.amount)],
        On::Piece(seq) => vec![(Bearer::Piece(seq), line.amount)],
        On::Casting(seq) => vec![(Bearer::Casting(seq), line.amount)],
        On::Shell(shell) => bearers.over_castings(line.amount, shell),
        On::Heat(heat) => bearers.over_shells(line.amount, bearers.heats.get(&heat)),
        On::Load(load) => bearers.over_shells(line.amount, bearers.loads.get(&load)),
        On::Day(day) => bearers.over_shells(line.amount, bearers.days.get(&day)),
        On::Mould(mould) => bearers.over_copies(line.amount, mould),
        On::Shop => vec![(Bearer::Shop, line.amount)],
    }
}

/// By which rule a shop charges jobs with what it costs as such.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Overhead {
    /// Not at all.
    None,
    /// So many percent of the cost of work, in ten-thousandths of it (25 % is 2,500).
    Work(i64),
    /// So much an hour of hands.
    Hour(Money),
    /// So much a kg poured.
    Kg(Money),
    /// So much a pour day.
    Day(Money),
}

impl Overhead {
    /// What a record of work brings in by it.
    #[must_use]
    pub fn of_work(self, cost: Money, minutes: f64) -> Money {
        match self {
            Self::Work(rate) => Money::from_minor(half_even(cost.minor(), rate, 10_000)),
            Self::Hour(rate) => by_hour(rate, minutes),
            Self::None | Self::Kg(_) | Self::Day(_) => Money::ZERO,
        }
    }
    /// What a pour day brings in by it, for so many mg poured.
    #[must_use]
    pub fn of_day(self, poured_mg: i64) -> Money {
        match self {
            Self::Kg(rate) => Money::from_minor(half_even(rate.minor(), poured_mg, 1_000_000)),
            Self::Day(rate) => rate,
            Self::None | Self::Work(_) | Self::Hour(_) => Money::ZERO,
        }
    }
}

/// Minutes at so much an hour: to the thousandth of a minute, then half to even.
#[must_use]
#[expect(clippy::cast_possible_truncation, reason = "minutes of a record are at most 100,000")]
pub fn by_hour(rate: Money, minutes: f64) -> Money {
    let thousandths = (minutes * 1000.0).round() as i64;
    Money::from_minor(half_even(rate.minor(), thousandths, 60_000))
}

/// kWh or kg of fuel at so much each: to the millionth, then half to even.
#[must_use]
#[expect(clippy::cast_possible_truncation, reason = "fuel of a record is at most 1,000,000")]
pub fn by_amount(rate: Money, amount: f64) -> Money {
    let millionths = (amount * 1e6).round() as i64;
    Money::from_minor(half_even(rate.minor(), millionths, 1_000_000))
}

/// A dm² of coat at so much each, of an area in mm².
#[must_use]
pub fn by_area(rate: Money, area_mm2: i64) -> Money {
    Money::from_minor(half_even(rate.minor(), area_mm2, 10_000))
}

#[cfg(test)]
mod tests;
