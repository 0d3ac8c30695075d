//! Steps of stock as stored, and where they differ from those that follow now.

use crate::kernel::{Mass, Order, Seq};
use crate::science::ledger::{self, Account, Key, Movement, Step, Told};
use std::collections::BTreeMap;

/// Lots and heats that a step touches.
pub fn touches(step: &Step) -> (Vec<Seq>, Vec<Seq>) {
    match step.act {
        ledger::Act::In { lot, .. } | ledger::Act::Count { lot, .. } => (vec![lot], vec![]),
        ledger::Act::Draw { lot, heat, .. } | ledger::Act::Back { lot, heat, .. } => (vec![lot], heat.into_iter().collect()),
        ledger::Act::Transfer { from, to, .. } => (vec![from, to], vec![]),
        ledger::Act::Heel { from, to, .. } => (vec![], vec![from, to]),
    }
}

/// Steps of lots alone as stored. A count has no level here, so that it differs from any
/// that is said: it is walked anew whenever it is at hand.
pub fn recall_lots(movements: &[Movement]) -> Vec<(Step, Told)> {
    let own = movements.iter().filter(|m| m.line % 3 == 1);
    own.filter_map(|m| {
        let act = match (m.from, m.to) {
            (Account::Outside, Account::Lot(lot)) => ledger::Act::In { lot, mass: m.mass, value: m.value },
            (Account::Lot(lot), Account::Sold | Account::WrittenOff) => ledger::Act::Draw { lot, heat: None, mass: m.mass },
            (Account::Lot(from), Account::Lot(to)) => ledger::Act::Transfer { from, to, mass: m.mass },
            (Account::Unexplained, Account::Lot(lot)) | (Account::Lot(lot), Account::Unexplained) => {
                ledger::Act::Count { lot, level: Mass::from_mg(-1) }
            }
            _ => return None,
        };
        let found = match act {
            ledger::Act::Count { .. } if m.from == Account::Unexplained => m.mass,
            ledger::Act::Count { .. } => Mass::ZERO - m.mass,
            ledger::Act::In { .. } => Mass::ZERO,
            _ => movements.iter().find(|a| a.source == m.source && a.line + 1 == m.line).map_or(Mass::ZERO, |a| a.mass),
        };
        let key = Key { source: m.source, nth: m.line / 3 };
        Some((Step { order: m.order, key, act }, Told { value: m.value, found }))
    })
    .collect()
}

/// The earliest order at which steps differ from those stored.
pub fn first_change(known: &BTreeMap<Key, (Step, Told)>, now: &[Step]) -> Option<Order> {
    let new: BTreeMap<Key, &Step> = now.iter().map(|s| (s.key, s)).collect();
    let gone = known.iter().filter(|(k, (s, _))| new.get(*k).is_none_or(|n| *n != s)).map(|(_, (s, _))| s.order);
    let come = new.iter().filter(|(k, n)| known.get(*k).is_none_or(|(s, _)| s != **n) && !is_empty(n)).map(|(_, n)| n.order);
    gone.chain(come).min()
}

/// A step that moves nothing leaves no movement to recall it by.
fn is_empty(step: &Step) -> bool {
    match step.act {
        ledger::Act::In { mass, value, .. } => mass.is_zero() && value.is_zero(),
        ledger::Act::Draw { mass, .. }
        | ledger::Act::Transfer { mass, .. }
        | ledger::Act::Heel { mass, .. }
        | ledger::Act::Back { mass, .. } => mass.is_zero(),
        ledger::Act::Count { .. } => false,
    }
}
