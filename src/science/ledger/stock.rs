//! Pass 2: the values of lots and heats, by one walk in order (docs/ledger.md, rules 1
//! and 2). Pools are at moving average, so what a charge costs depends on all that went
//! in and out before: this is the one pass that runs across clusters.
//!
//! The walk can start from the balances at any instant: [`Stock`] is its whole state.

use std::collections::BTreeMap;

use crate::kernel::quantity::half_even;
use crate::kernel::{Mass, Money, Order};

use super::account::{Account, Movement};
use super::history::{Entry, Event, Gone};

/// Milligrams in the kg that a scrap price is of.
const MG_A_KG: i64 = 1_000_000;

/// Which of the steps that a record causes: the n-th in order of happening.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Key {
    /// The `seq` of the record.
    pub source: i64,
    /// Its n-th step, from 0.
    pub nth: u32,
}

impl Key {
    /// The line of the step's movement; see [`Movement::line`].
    #[must_use]
    pub const fn line(self) -> u32 {
        self.nth.saturating_mul(3).saturating_add(1)
    }
}

/// Metal in or out of stock, or from heat to heat, with its mass known.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Step {
    /// When.
    pub order: Order,
    /// Which.
    pub key: Key,
    /// What.
    pub act: Act,
}

impl Step {
    /// The order of the walk.
    #[must_use]
    pub const fn rank(&self) -> (Order, Key) {
        (self.order, self.key)
    }
}

/// What a step does.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Act {
    /// Into a lot at a stated value (rule 1).
    In {
        /// The lot.
        lot: i64,
        /// How much.
        mass: Mass,
        /// Worth how much.
        value: Money,
    },
    /// Out of a lot with its value (rule 1): a charge line when `heat` is given.
    Draw {
        /// The lot.
        lot: i64,
        /// The heat charged; `None` for rod and for metal sold or written off.
        heat: Option<i64>,
        /// How much.
        mass: Mass,
    },
    /// From lot to lot.
    Transfer {
        /// The giving lot.
        from: i64,
        /// The taking lot.
        to: i64,
        /// How much.
        mass: Mass,
    },
    /// A lot weighed.
    Count {
        /// The lot.
        lot: i64,
        /// What it holds.
        level: Mass,
    },
    /// A heel taken over (rule 2).
    Heel {
        /// The heat that left it.
        from: i64,
        /// The heat that takes it.
        to: i64,
        /// How much.
        mass: Mass,
    },
    /// A return into a pool at the unit value of a heat, or at the scrap price when that is
    /// less (rule 2).
    Back {
        /// The pool.
        lot: i64,
        /// The heat; `None`, and no value, when no stream says where the metal is from.
        heat: Option<i64>,
        /// How much.
        mass: Mass,
        /// The scrap price then in force, a kg.
        scrap: Option<Money>,
    },
}

/// What the walk found out about a step.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Told {
    /// The value that goes with the mass.
    pub value: Money,
    /// The mass that `unexplained` had to add to the lot first, since the book held less
    /// (rule 1); for a count the whole difference, negative when metal was missing.
    pub found: Mass,
}

/// What the walk found out, by step.
pub type Values = BTreeMap<Key, Told>;

/// The state of the walk: what all lots hold and what all heats were charged with.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Stock {
    /// Mass and value of each lot.
    pub lots: BTreeMap<i64, (Mass, Money)>,
    /// C and V of each heat: sums over its charge lines, heels taken over among them.
    pub heats: BTreeMap<i64, (Mass, Money)>,
}

impl Stock {
    /// Takes the steps in order, whatever order they are given in, and tells the value
    /// of each. They must all be later than what the state already holds.
    pub fn walk(&mut self, steps: &[Step]) -> Values {
        let mut sorted: Vec<&Step> = steps.iter().collect();
        sorted.sort_by_key(|s| s.rank());
        sorted.into_iter().map(|s| (s.key, self.take(s.act))).collect()
    }

    /// Takes one step.
    pub fn take(&mut self, act: Act) -> Told {
        match act {
            Act::In { lot, mass, value } => {
                put(&mut self.lots, lot, mass, value);
                Told { value, found: Mass::ZERO }
            }
            Act::Draw { lot, heat, mass } => {
                let told = self.draw(lot, mass);
                if let Some(heat) = heat {
                    put(&mut self.heats, heat, mass, told.value);
                }
                told
            }
            Act::Transfer { from, to, mass } => {
                let told = self.draw(from, mass);
                put(&mut self.lots, to, mass, told.value);
                told
            }
            Act::Count { lot, level } => {
                let holds = self.lots.entry(lot).or_default();
                let found = level - holds.0;
                holds.0 = level;
                Told { value: Money::ZERO, found }
            }
            Act::Heel { from, to, mass } => {
                let value = self.at_unit(from, mass);
                put(&mut self.heats, to, mass, value);
                Told { value, found: Mass::ZERO }
            }
            Act::Back { lot, heat, mass, scrap } => {
                let value = heat.map_or(Money::ZERO, |heat| self.carried(heat, mass, scrap));
                put(&mut self.lots, lot, mass, value);
                Told { value, found: Mass::ZERO }
            }
        }
    }

    /// Rule 2: half-even(m·V/C) at the heat's unit value; 0 when C = 0.
    #[must_use]
    pub fn at_unit(&self, heat: i64, mass: Mass) -> Money {
        at_unit(self.heats.get(&heat).copied().unwrap_or_default(), mass)
    }

    /// Rule 2: what a return carries: its mass at the heat's unit value, or at the scrap price
    /// in force when that is less.
    fn carried(&self, heat: i64, mass: Mass, scrap: Option<Money>) -> Money {
        let standing = self.at_unit(heat, mass);
        scrap.map_or(standing, |a_kg| standing.min(Money::from_minor(half_even(mass.mg(), a_kg.minor(), MG_A_KG))))
    }

    /// Rule 1: all of the value with all of the mass or more.
    fn draw(&mut self, lot: i64, mass: Mass) -> Told {
        let holds = self.lots.entry(lot).or_default();
        if mass.is_zero() {
            return Told::default();
        }
        let found = (mass - holds.0).max(Mass::ZERO);
        let value = if mass < holds.0 { at_unit(*holds, mass) } else { holds.1 };
        *holds = (holds.0 + found - mass, holds.1 - value);
        Told { value, found }
    }
}

/// half-even(m·value/mass) of a balance or of a heat's pair; 0 without mass.
pub(super) fn at_unit((whole, value): (Mass, Money), mass: Mass) -> Money {
    Money::from_minor(half_even(mass.mg(), value.minor(), whole.mg()))
}

fn put(balances: &mut BTreeMap<i64, (Mass, Money)>, seq: i64, mass: Mass, value: Money) {
    let holds = balances.entry(seq).or_default();
    *holds = (holds.0 + mass, holds.1 + value);
}

/// The steps of the entries that concern lots alone; all others are passed over.
#[must_use]
pub fn lot_steps(entries: &[Entry]) -> Vec<Step> {
    let mut sorted: Vec<&Entry> = entries.iter().collect();
    sorted.sort_by_key(|e| (e.order, e.part));
    let mut counts: BTreeMap<i64, u32> = BTreeMap::new();
    let mut steps = Vec::new();
    for entry in sorted {
        let act = match entry.event {
            Event::LotIn { lot, mass, value } => Act::In { lot, mass, value },
            Event::LotOut { lot, mass, .. } => Act::Draw { lot, heat: None, mass },
            Event::LotTransfer { from, to, mass } => Act::Transfer { from, to, mass },
            Event::LotCount { lot, level } => Act::Count { lot, level },
            _ => continue,
        };
        let nth = counts.entry(entry.order.seq).or_default();
        steps.push(Step { order: entry.order, key: Key { source: entry.order.seq, nth: *nth }, act });
        *nth += 1;
    }
    steps
}

/// The movements of the entries that concern lots alone, given what the walk told.
#[must_use]
pub fn lot_movements(entries: &[Entry], values: &Values) -> Vec<Movement> {
    let gone: BTreeMap<i64, Gone> = entries.iter().filter_map(gone).collect();
    let mut rows = Vec::new();
    for step in lot_steps(entries) {
        let told = values.get(&step.key).copied().unwrap_or_default();
        let (from, to, mass) = match step.act {
            Act::In { lot, mass, .. } => (Account::Outside, Account::Lot(lot), mass),
            Act::Transfer { from, to, mass } => (Account::Lot(from), Account::Lot(to), mass),
            Act::Count { lot, .. } if told.found >= Mass::ZERO => (Account::Unexplained, Account::Lot(lot), told.found),
            Act::Count { lot, .. } => (Account::Lot(lot), Account::Unexplained, -told.found),
            Act::Draw { lot, mass, .. } => {
                let to = match gone.get(&step.key.source) {
                    Some(Gone::Sold) => Account::Sold,
                    Some(Gone::WrittenOff) | None => Account::WrittenOff,
                };
                (Account::Lot(lot), to, mass)
            }
            Act::Heel { .. } | Act::Back { .. } => continue,
        };
        let is_draw = matches!(step.act, Act::Draw { .. } | Act::Transfer { .. });
        rows.extend(is_draw.then(|| excess(&step, from, told)).flatten());
        rows.extend(row(&step, from, to, mass, told.value));
    }
    rows
}

fn gone(entry: &Entry) -> Option<(i64, Gone)> {
    match entry.event {
        Event::LotOut { to, .. } => Some((entry.order.seq, to)),
        _ => None,
    }
}

/// What `unexplained` adds to a lot that the book says holds too little.
pub(super) fn excess(step: &Step, lot: Account, told: Told) -> Option<Movement> {
    let mut found = row(step, Account::Unexplained, lot, told.found, Money::ZERO)?;
    found.line -= 1;
    Some(found)
}

/// The movement of a step; none when nothing moves.
pub(super) fn row(step: &Step, from: Account, to: Account, mass: Mass, value: Money) -> Option<Movement> {
    let (order, source, line) = (step.order, step.key.source, step.key.line());
    let something = !(mass.is_zero() && value.is_zero());
    something.then_some(Movement { order, source, line, from, to, mass, value, unit_heat: None, scrap: None })
}

/// Reads the steps of clusters, and what the walk told of them, back from their stored
/// movements, so that stock can be replayed without loading the clusters. Movements of
/// lots alone are passed over: their steps come from [`lot_steps`].
#[must_use]
pub fn recall(movements: &[Movement]) -> Vec<(Step, Told)> {
    let lines: BTreeMap<(i64, u32), &Movement> = movements.iter().map(|m| ((m.source, m.line), m)).collect();
    let mut found = Vec::new();
    for m in movements.iter().filter(|m| !m.mass.is_zero()) {
        let Some(act) = act_of(m) else { continue };
        let key = Key { source: m.source, nth: m.line / 3 };
        let mut told = Told { value: m.value, found: Mass::ZERO };
        match act {
            Act::Draw { .. } => {
                let added = lines.get(&(m.source, m.line.saturating_sub(1)));
                let added = added.filter(|a| a.from == Account::Unexplained && a.to == m.from);
                told.found = added.map_or(Mass::ZERO, |a| a.mass);
            }
            Act::Back { .. } => {
                let taken = lines.get(&(m.source, m.line.saturating_add(1)));
                let taken = taken.filter(|t| t.mass.is_zero() && t.to == m.to);
                told.value += taken.map_or(Money::ZERO, |t| t.value);
            }
            _ => {}
        }
        found.push((Step { order: m.order, key, act }, told));
    }
    found
}

/// The step that a movement with mass is of, unless of lots alone or none.
fn act_of(m: &Movement) -> Option<Act> {
    let mass = m.mass;
    match (m.from, m.to) {
        (Account::Lot(lot), Account::Heat(heat)) => Some(Act::Draw { lot, heat: Some(heat), mass }),
        (Account::Lot(lot), Account::Casting(_)) => Some(Act::Draw { lot, heat: None, mass }),
        (Account::Heat(from), Account::Heat(to)) => Some(Act::Heel { from, to, mass }),
        (Account::Heat(_) | Account::Shell(_) | Account::Casting(_), Account::Lot(lot)) => {
            Some(Act::Back { lot, heat: m.unit_heat, mass, scrap: m.scrap })
        }
        _ => None,
    }
}
