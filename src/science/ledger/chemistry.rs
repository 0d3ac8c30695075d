//! What a lot is made of, by what went into it (docs/ledger.md, rule 1): mass-weighted, and an
//! element that one entry did not tell of is not told of the whole.

use std::collections::BTreeMap;

use super::account::{Account, Movement};
use super::owners::stage;

/// Percent by mass of the elements that were measured.
pub type Analysis = BTreeMap<String, f64>;

/// What is known of a lot's metal.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Chemistry {
    /// The elements that every entry told of; empty where it is unmeasured.
    pub analysis: Analysis,
    /// The record by which the last known element was lost, where it is unmeasured.
    pub lost_by: Option<i64>,
}

/// Metal on an account with its chemistry.
#[derive(Clone, Default)]
struct Melt {
    mass: i64,
    known: Chemistry,
}

impl Melt {
    /// Takes metal in.
    #[expect(clippy::cast_precision_loss, reason = "masses lie far below 2^53 mg")]
    fn take(&mut self, mass: i64, metal: &Chemistry, record: i64) {
        if self.mass <= 0 {
            let lost_by = metal.analysis.is_empty().then(|| metal.lost_by.unwrap_or(record));
            self.known = Chemistry { analysis: metal.analysis.clone(), lost_by };
        } else if !self.known.analysis.is_empty() {
            let (there, comes) = (self.mass as f64, mass as f64);
            let both = |(element, percent): (&String, &f64)| {
                let other = metal.analysis.get(element)?;
                Some((element.clone(), (percent * there + other * comes) / (there + comes)))
            };
            self.known.analysis = self.known.analysis.iter().filter_map(both).collect();
            self.known.lost_by = self.known.analysis.is_empty().then_some(record);
        }
        self.mass += mass;
    }
}

/// The chemistry of a lot after some movements: all that ever went into it, into the heats
/// whose returns it took, and into the lots that those were charged from, and all that left
/// those lots. `brought` has the analyses that came with records of metal brought in.
///
/// What was found by a count is as what is there; a pool that was emptied begins anew.
#[must_use]
pub fn chemistry(movements: &[Movement], brought: &BTreeMap<i64, Analysis>, lot: i64) -> Chemistry {
    let mut queue: Vec<&Movement> = movements.iter().filter(|m| m.mass.mg() > 0).collect();
    queue.sort_by_key(|m| (m.order, m.source != m.order.seq, m.source, stage(m.from), m.line));
    let mut melts: BTreeMap<Account, Melt> = BTreeMap::new();
    for m in queue {
        let mass = m.mass.mg();
        let of = |account: Account| melts.get(&account).map(|melt| melt.known.clone()).unwrap_or_default();
        let metal = match (m.from, m.unit_heat) {
            (_, Some(heat)) => of(Account::Heat(heat)),
            (Account::Lot(_) | Account::Heat(_), None) => of(m.from),
            (Account::Unexplained, None) if melts.get(&m.to).is_some_and(|melt| melt.mass > 0) => of(m.to),
            _ => Chemistry { analysis: brought.get(&m.source).cloned().unwrap_or_default(), lost_by: None },
        };
        if let Account::Lot(_) = m.from {
            melts.entry(m.from).or_default().mass -= mass;
        }
        // A heat keeps all that was charged: what leaves it is as what stays.
        let into_heat = matches!(m.to, Account::Heat(_)) && matches!(m.from, Account::Lot(_) | Account::Heat(_));
        if into_heat || matches!(m.to, Account::Lot(_)) {
            melts.entry(m.to).or_default().take(mass, &metal, m.source);
        }
    }
    melts.remove(&Account::Lot(lot)).map(|melt| melt.known).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernel::{Mass, Money, Order};

    fn moved(at: i64, from: Account, to: Account, mg: i64) -> Movement {
        let (mass, value) = (Mass::from_mg(mg), Money::ZERO);
        Movement { order: Order::new(at, at), source: at, line: 1, from, to, mass, value, unit_heat: None, scrap: None }
    }

    fn of(elements: &[(&str, f64)]) -> Analysis {
        elements.iter().map(|(name, percent)| ((*name).to_owned(), *percent)).collect()
    }

    #[test]
    fn a_pool_is_the_mean_of_what_went_in() {
        use Account::{Heat, Lot, Outside, Shell};
        // 3 parts of 94 % and 1 part of 90 % copper are 93 %; tin was told of one alone.
        let brought = BTreeMap::from([(1, of(&[("Cu", 94.0), ("Si", 4.0)])), (2, of(&[("Cu", 90.0), ("Sn", 10.0)]))]);
        let mut all = vec![
            moved(1, Outside, Lot(1), 300),
            moved(2, Outside, Lot(2), 100),
            moved(3, Lot(1), Heat(5), 300),
            moved(4, Lot(2), Heat(5), 100),
            moved(5, Heat(5), Shell(6), 250),
            Movement { unit_heat: Some(5), ..moved(6, Shell(6), Lot(7), 50) },
        ];
        assert_eq!(chemistry(&all, &brought, 7), Chemistry { analysis: of(&[("Cu", 93.0)]), lost_by: None });
        // 50 of 93 % and 50 of 95 %.
        let mut more = brought.clone();
        more.insert(7, of(&[("Cu", 95.0)]));
        all.push(moved(7, Outside, Lot(7), 50));
        assert_eq!(chemistry(&all, &more, 7).analysis, of(&[("Cu", 94.0)]));
        // One unmeasured entry makes it unmeasured, and is named.
        assert_eq!(chemistry(&all, &brought, 7), Chemistry { analysis: Analysis::new(), lost_by: Some(7) });
        // Emptied, it begins anew.
        all.push(moved(8, Lot(7), Heat(9), 100));
        all.push(moved(10, Lot(2), Lot(7), 1));
        assert_eq!(chemistry(&all, &brought, 7).analysis, of(&[("Cu", 90.0), ("Sn", 10.0)]));
    }

    #[test]
    fn what_tells_nothing_of_the_metal_changes_nothing() {
        use Account::{Heat, Lot, Outside, Shell, Unexplained};
        let brought = BTreeMap::from([(1, of(&[("Cu", 94.0)]))]);
        // Value without mass is no metal.
        let all = [moved(1, Outside, Lot(1), 300), moved(2, Outside, Lot(1), 0)];
        assert_eq!(chemistry(&all, &brought, 1).analysis, of(&[("Cu", 94.0)]));
        // What is found where nothing is has no chemistry.
        let all = [moved(1, Outside, Lot(1), 300), moved(2, Lot(1), Heat(5), 300), moved(3, Unexplained, Lot(1), 5)];
        assert_eq!(chemistry(&all, &brought, 1), Chemistry { analysis: Analysis::new(), lost_by: Some(3) });
        // A gain at a closing is as what was charged.
        let all = [
            moved(1, Outside, Lot(1), 300),
            moved(2, Lot(1), Heat(5), 300),
            moved(3, Unexplained, Heat(5), 5),
            Movement { unit_heat: Some(5), ..moved(4, Shell(6), Lot(7), 50) },
        ];
        assert_eq!(chemistry(&all, &brought, 7).analysis, of(&[("Cu", 94.0)]));
        // At one instant a record's own movements go before those of its leaks.
        let own = moved(9, Outside, Lot(1), 300);
        let along = Movement { source: 3, ..moved(9, Lot(1), Lot(2), 50) };
        let brought = BTreeMap::from([(9, of(&[("Cu", 94.0)]))]);
        assert_eq!(chemistry(&[along, own], &brought, 2).analysis, of(&[("Cu", 94.0)]));
    }

    #[test]
    fn what_was_found_is_as_what_is_there() {
        use Account::{Lot, Outside, Unexplained};
        let brought = BTreeMap::from([(1, of(&[("Cu", 94.0)]))]);
        let all = [moved(1, Outside, Lot(1), 300), moved(2, Unexplained, Lot(1), 5)];
        assert_eq!(chemistry(&all, &brought, 1).analysis, of(&[("Cu", 94.0)]));
        let none = [moved(2, Unexplained, Lot(1), 5)];
        assert_eq!(chemistry(&none, &brought, 1), Chemistry { analysis: Analysis::new(), lost_by: Some(2) });
        assert_eq!(chemistry(&[], &brought, 1), Chemistry::default());
    }
}
