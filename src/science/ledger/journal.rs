//! The running account of one cluster: posts movements, numbers them, keeps balances.

use std::collections::BTreeMap;

use crate::kernel::{Mass, Money, Order};

use super::account::{Account, Movement};
use super::history::Prices;
use super::stock::{Act, Key, Step, Told, Values, excess, row};

/// The record at hand: when it happens and whose movements it causes.
#[derive(Clone, Copy)]
pub(super) struct Cause {
    pub order: Order,
    pub source: i64,
}

/// Who numbers a movement.
enum Line {
    /// Fixed by its step or by its place in the record's own list.
    Fixed,
    /// The next after the lines of all steps of its source.
    Next,
}

/// Movements and balances of one cluster, in the making.
pub(super) struct Journal<'a> {
    values: &'a Values,
    prices: &'a Prices,
    rows: Vec<(Movement, Line)>,
    pub steps: Vec<Step>,
    counts: BTreeMap<i64, u32>,
    balances: BTreeMap<Account, (Mass, Money)>,
}

impl<'a> Journal<'a> {
    pub fn new(values: &'a Values, prices: &'a Prices) -> Self {
        let (rows, steps, counts) = (Vec::new(), Vec::new(), BTreeMap::new());
        Self { values, prices, rows, steps, counts, balances: BTreeMap::new() }
    }

    /// What the cluster's movements so far have left on an account.
    pub fn holds(&self, account: Account) -> (Mass, Money) {
        self.balances.get(&account).copied().unwrap_or_default()
    }

    /// Posts a movement of mass and value that is not a step. A negative mass goes the
    /// other way, and its value alone.
    pub fn post(&mut self, cause: Cause, from: Account, to: Account, mass: Mass, value: Money) {
        if mass < Mass::ZERO {
            self.post(cause, to, from, -mass, Money::ZERO);
            return self.post(cause, from, to, Mass::ZERO, value);
        }
        if !(mass.is_zero() && value.is_zero()) {
            let Cause { order, source } = cause;
            let m = Movement { order, source, line: 0, from, to, mass, value, unit_heat: None, scrap: None };
            self.push(m, Line::Next);
        }
    }

    /// Posts all that an account holds at a line of the caller's choice, for a record without steps. A
    /// mass below nothing, of a history that cannot have been, comes the other way, and its value with
    /// it turned round: the accounts end alike.
    pub fn post_at(&mut self, cause: Cause, line: u32, from: Account, to: Account) {
        let (mass, value) = self.holds(from);
        let turned = mass < Mass::ZERO;
        let (from, to, mass, value) = if turned { (to, from, -mass, -value) } else { (from, to, mass, value) };
        if !(mass.is_zero() && value.is_zero()) {
            let Cause { order, source } = cause;
            let m = Movement { order, source, line, from, to, mass, value, unit_heat: None, scrap: None };
            self.push(m, Line::Fixed);
        }
    }

    /// Metal out of a lot (rule 1), for a heat or for a casting's rod.
    pub fn draw(&mut self, cause: Cause, lot: i64, to: Account, mass: Mass) -> Money {
        let heat = match to {
            Account::Heat(heat) => Some(heat),
            _ => None,
        };
        let Some((step, told)) = self.step(cause, mass, Act::Draw { lot, heat, mass }) else {
            return Money::ZERO;
        };
        let from = Account::Lot(lot);
        for m in excess(&step, from, told).into_iter().chain(row(&step, from, to, mass, told.value)) {
            self.push(m, Line::Fixed);
        }
        told.value
    }

    /// A heel taken over (rule 2).
    pub fn heel(&mut self, cause: Cause, from: i64, to: i64, mass: Mass) -> Money {
        let Some((step, told)) = self.step(cause, mass, Act::Heel { from, to, mass }) else {
            return Money::ZERO;
        };
        if let Some(m) = row(&step, Account::Heat(from), Account::Heat(to), mass, told.value) {
            self.push(m, Line::Fixed);
        }
        told.value
    }

    /// A return (rules 2 and 5): mass from where it lies, value from `payer`. Its movements bear
    /// the heat and the scrap price by which their value was told.
    pub fn give_back(&mut self, cause: Cause, from: Account, payer: Account, heat: Option<i64>, lot: i64, mass: Mass) {
        let scrap = heat.and_then(|heat| self.prices.of(heat, cause.order.at));
        let Some((step, told)) = self.step(cause, mass, Act::Back { lot, heat, mass, scrap }) else {
            return;
        };
        let to = Account::Lot(lot);
        let with = if payer == from { told.value } else { Money::ZERO };
        let paid = told.value - with;
        let mass_row = row(&step, from, to, mass, with);
        let value_row = row(&step, payer, to, Mass::ZERO, paid);
        let value_row = value_row.map(|m| Movement { line: m.line.saturating_add(1), ..m });
        for m in mass_row.into_iter().chain(value_row) {
            self.push(Movement { unit_heat: heat, scrap, ..m }, Line::Fixed);
        }
    }

    /// Registers a step and looks up what the walk told of it; none without mass.
    fn step(&mut self, cause: Cause, mass: Mass, act: Act) -> Option<(Step, Told)> {
        if mass.is_zero() {
            return None;
        }
        let nth = self.counts.entry(cause.source).or_default();
        let key = Key { source: cause.source, nth: *nth };
        *nth += 1;
        let step = Step { order: cause.order, key, act };
        self.steps.push(step);
        Some((step, self.values.get(&key).copied().unwrap_or_default()))
    }

    fn push(&mut self, m: Movement, line: Line) {
        let from = self.balances.entry(m.from).or_default();
        *from = (from.0 - m.mass, from.1 - m.value);
        let to = self.balances.entry(m.to).or_default();
        *to = (to.0 + m.mass, to.1 + m.value);
        self.rows.push((m, line));
    }

    /// All movements, numbered and in order.
    pub fn finish(self) -> Vec<Movement> {
        let mut next: BTreeMap<i64, u32> = self.counts.iter().map(|(source, n)| (*source, n.saturating_mul(3))).collect();
        let mut rows = Vec::new();
        for (mut m, line) in self.rows {
            if matches!(line, Line::Next) {
                let next = next.entry(m.source).or_default();
                m.line = *next;
                *next += 1;
            }
            rows.push(m);
        }
        rows.sort_by_key(Movement::rank);
        rows
    }
}
