//! Whose metal goes where: docs/ledger.md, *A client's metal*.
//!
//! A lot has one owner. What is in a heat, a shell or a casting belongs to all whose metal
//! went in; what goes out is shared over them by what each has standing there.

use std::collections::BTreeMap;

use crate::kernel::Mass;

use super::account::{Account, Movement};
use super::share::{Taker, share};

/// A client by number, or [`SHOP`].
pub type Owner = i64;

/// The shop itself, and everybody it buys from.
pub const SHOP: Owner = 0;

/// The shares of the owners in one movement; they sum to its mass.
pub type Parts = Vec<(Owner, Mass)>;

/// What stands on one account, and what ever came in, by owner, in milligrams.
#[derive(Clone, Default)]
struct Mixed {
    standing: BTreeMap<Owner, i64>,
    came: BTreeMap<Owner, i64>,
}

/// Shares a mass by weights of owners; to the shop where there are none.
fn shared(mass: i64, weights: &BTreeMap<Owner, i64>) -> Vec<(Owner, i64)> {
    let takers: Vec<Taker> = weights.iter().map(|(owner, weight)| Taker::new(*weight, *owner)).collect();
    if weights.values().all(|w| *w <= 0) {
        return vec![(SHOP, mass)];
    }
    weights.keys().copied().zip(share(mass, &takers)).filter(|(_, part)| *part != 0).collect()
}

impl Mixed {
    /// Shares what goes out: by what stands there; what is taken beyond that by what came in.
    fn out(&self, mass: i64) -> Vec<(Owner, i64)> {
        let there: i64 = self.standing.values().copied().filter(|m| *m > 0).sum();
        if mass <= there {
            return shared(mass, &self.standing);
        }
        let standing = self.standing.iter().filter(|(_, m)| **m > 0).map(|(owner, m)| (*owner, *m));
        merge(standing.chain(shared(mass - there, &self.came)))
    }

    /// Shares what is found: first to those from whom more was taken than they had, then by
    /// what stands there, else by what came in.
    fn found(&self, mass: i64) -> Vec<(Owner, i64)> {
        let owing: BTreeMap<Owner, i64> = self.standing.iter().filter(|(_, m)| **m < 0).map(|(o, m)| (*o, -m)).collect();
        let back = mass.min(owing.values().sum());
        let first = if back > 0 { shared(back, &owing) } else { Vec::new() };
        if mass == back {
            return first;
        }
        let weights = if self.standing.values().any(|m| *m > 0) { &self.standing } else { &self.came };
        merge(first.into_iter().chain(shared(mass - back, weights)))
    }

    fn add(&mut self, parts: &[(Owner, i64)], sign: i64) {
        for (owner, mass) in parts {
            *self.standing.entry(*owner).or_default() += sign * mass;
            if sign > 0 {
                *self.came.entry(*owner).or_default() += mass;
            }
        }
    }
}

fn merge(parts: impl Iterator<Item = (Owner, i64)>) -> Vec<(Owner, i64)> {
    let mut sums: BTreeMap<Owner, i64> = BTreeMap::new();
    for (owner, mass) in parts {
        *sums.entry(owner).or_default() += mass;
    }
    sums.into_iter().filter(|(_, mass)| *mass != 0).collect()
}

/// Within one record metal goes on from where it came to: stock, heats, shells, castings.
/// What was found comes first, so that it is there to be taken.
pub(super) const fn stage(from: Account) -> u8 {
    match from {
        Account::Lot(_) => 1,
        Account::Heat(_) => 2,
        Account::Shell(_) => 3,
        Account::Casting(_) => 4,
        _ => 0,
    }
}

/// The owners' shares of some movements, in their order as given. All movements of every
/// heat, shell and casting that one of them touches must be there; of lots only those that
/// matter. A lot without an owner on the list is the shop's.
#[must_use]
pub fn owners(movements: &[Movement], lots: &BTreeMap<i64, Owner>) -> Vec<Parts> {
    let mut queue: Vec<usize> = (0..movements.len()).collect();
    queue.sort_by_key(|&i| {
        let m = &movements[i];
        (m.order, m.source != m.order.seq, m.source, stage(m.from), m.line)
    });
    let mut mixed: BTreeMap<Account, Mixed> = BTreeMap::new();
    let mut out = vec![Parts::new(); movements.len()];
    let holds = |a: Account| matches!(a, Account::Heat(_) | Account::Shell(_) | Account::Casting(_));
    for i in queue {
        let m = &movements[i];
        let mass = m.mass.mg();
        if mass == 0 {
            continue;
        }
        let parts = match (m.from, m.to) {
            (Account::Lot(lot), _) => vec![(lots.get(&lot).copied().unwrap_or(SHOP), mass)],
            (from, _) if holds(from) => mixed.entry(from).or_default().out(mass),
            (_, Account::Lot(lot)) => vec![(lots.get(&lot).copied().unwrap_or(SHOP), mass)],
            (Account::Unexplained, to) if holds(to) => mixed.entry(to).or_default().found(mass),
            _ => vec![(SHOP, mass)],
        };
        if holds(m.from) {
            mixed.entry(m.from).or_default().add(&parts, -1);
        }
        if holds(m.to) {
            mixed.entry(m.to).or_default().add(&parts, 1);
        }
        out[i] = parts.into_iter().map(|(owner, mass)| (owner, Mass::from_mg(mass))).collect();
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernel::{Money, Order};
    use proptest::prelude::*;

    fn moved(at: i64, from: Account, to: Account, mg: i64) -> Movement {
        let (mass, value) = (Mass::from_mg(mg), Money::ZERO);
        Movement { order: Order::new(at, at), source: at, line: 1, from, to, mass, value, unit_heat: None, scrap: None }
    }

    const fn mg(owner: Owner, mass: i64) -> (Owner, Mass) {
        (owner, Mass::from_mg(mass))
    }

    #[test]
    fn a_heat_of_two_owners_is_shared_to_the_milligram() {
        use Account::{Casting, Dross, Heat, Lot, Shell, Swarf};
        // Client 7 brings 2 parts of 3. Out of 3000 mg: 1001 poured is 667⅓ and 333⅔, so 667
        // and 334; of 1 mg of dross the larger remainder is the client's; the rest is theirs.
        let lots = BTreeMap::from([(1, 7)]);
        let all = [
            moved(1, Lot(1), Heat(5), 2000),
            moved(2, Lot(2), Heat(5), 1000),
            moved(3, Heat(5), Shell(6), 1001),
            moved(4, Heat(5), Dross, 1),
            moved(5, Heat(5), Lot(2), 1998),
            moved(6, Shell(6), Casting(9), 1001),
            moved(7, Casting(9), Swarf, 1000),
        ];
        let parts = owners(&all, &lots);
        assert_eq!(parts[2], [mg(SHOP, 334), mg(7, 667)]);
        assert_eq!(parts[3], [mg(7, 1)]);
        assert_eq!(parts[4], [mg(SHOP, 666), mg(7, 1332)]);
        assert_eq!(parts[5], parts[2]);
        // 1000 of 1001: 333.67 and 666.33.
        assert_eq!(parts[6], [mg(SHOP, 334), mg(7, 666)]);
    }

    #[test]
    fn more_poured_than_charged_is_made_good_by_what_is_found() {
        use Account::{Heat, Lot, Shell, Unexplained};
        let lots = BTreeMap::from([(1, 7)]);
        let all = [
            moved(1, Lot(1), Heat(5), 100),
            moved(1, Lot(2), Heat(5), 300),
            moved(2, Heat(5), Shell(6), 404),
            moved(3, Unexplained, Heat(5), 4),
        ];
        let parts = owners(&all, &lots);
        assert_eq!(parts[2], [mg(SHOP, 303), mg(7, 101)]);
        assert_eq!(parts[3], [mg(SHOP, 3), mg(7, 1)]);
    }

    #[test]
    fn what_a_record_brings_is_there_when_it_takes() {
        use Account::{Casting, Heat, Lot, Shell};
        // The return of a casting stands on an earlier line than its net.
        let lots = BTreeMap::from([(1, 7)]);
        let mut all = vec![moved(1, Lot(1), Heat(5), 10), moved(2, Heat(5), Shell(6), 10)];
        all.push(moved(3, Casting(9), Lot(3), 8));
        all.push(Movement { line: 4, ..moved(3, Shell(6), Casting(9), 8) });
        assert_eq!(owners(&all, &lots)[2], [mg(7, 8)]);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(200))]

        #[test]
        fn shares_sum_to_every_movement_and_nobody_goes_below_nothing(
            charged in prop::collection::vec(1_i64..5_000_000, 2..5),
            outs in prop::collection::vec(1_i64..3_000_000, 1..12),
        ) {
            let lots: BTreeMap<i64, Owner> = (0..charged.len()).map(|n| (i64::try_from(n).unwrap(), i64::try_from(n).unwrap() * 10)).collect();
            let mut all: Vec<Movement> = (0..).zip(&charged).map(|(n, mass)| moved(1, Account::Lot(n), Account::Heat(1), *mass)).collect();
            let mut left: i64 = charged.iter().sum();
            for (at, mass) in (2..).zip(&outs) {
                let mass = (*mass).min(left);
                left -= mass;
                all.push(moved(at, Account::Heat(1), Account::Shell(at), mass));
            }
            all.push(moved(100, Account::Heat(1), Account::Dross, left));
            let parts = owners(&all, &lots);
            let mut standing: BTreeMap<Owner, i64> = BTreeMap::new();
            for (m, parts) in all.iter().zip(&parts) {
                prop_assert_eq!(parts.iter().map(|p| p.1).sum::<Mass>(), m.mass);
                let sign = if matches!(m.from, Account::Lot(_)) { 1 } else { -1 };
                for (owner, mass) in parts {
                    *standing.entry(*owner).or_default() += sign * mass.mg();
                }
                prop_assert!(standing.values().all(|s| *s >= 0) || sign > 0);
            }
            prop_assert!(standing.values().all(|s| *s == 0), "{standing:?}");
        }
    }
}
