//! Random histories held against the identities of docs/ledger.md.
//!
//! *Wild* ones say anything at any time, possible or not: the ledger must still close,
//! and parts must still make the same book as the whole. *Sane* ones tell of a shop in
//! which metal behaves, so nothing in them may be impossible or fall below nothing.

use std::collections::BTreeSet;

use proptest::prelude::*;

use super::*;

/// Numbers to decide by, one after the other; 0 when they run out.
#[derive(Debug)]
pub(super) struct Dice(std::vec::IntoIter<u32>);

impl Dice {
    pub fn below(&mut self, n: i64) -> i64 {
        i64::from(self.0.next().unwrap_or(0)) % n
    }

    pub fn one_in(&mut self, n: i64) -> bool {
        self.below(n) == n - 1
    }

    fn mass(&mut self, below: i64) -> Mass {
        mg(self.below(below))
    }

    fn maybe(&mut self, below: i64) -> Option<Mass> {
        self.one_in(2).then(|| self.mass(below))
    }
}

pub(super) fn dice(rolls: usize) -> impl Strategy<Value = Dice> {
    prop::collection::vec(0_u32..1_000_000_000, rolls).prop_map(|rolls| Dice(rolls.into_iter()))
}

/// Four heats in two crucibles, three shells of five castings, one that is in none.
const CASTINGS: i64 = 31;

fn wild(dice: &mut Dice, count: i64) -> History {
    let mut history = History::default();
    for seq in 11..15 {
        let crucible = (seq < 14).then_some(seq % 2);
        let order = Order::new(dice.below(20), seq);
        history.heats.push(history::Heat { order, crucible });
    }
    for (seq, castings) in [(21, 31..33), (22, 33..34), (23, 34..36)] {
        let castings = castings.map(|seq| {
            let (tag_rank, estimate) = (40 - seq, dice.mass(900));
            history::Casting { seq, tag_rank, estimate }
        });
        let (castings, gating) = (castings.collect(), dice.mass(300));
        history.shells.push(history::Shell { seq, castings, gating });
    }
    for seq in 100..100 + count {
        let order = Order::new(dice.below(20), seq);
        let event = wild_event(dice, seq);
        if let (Event::Net { casting, .. }, true) = (&event, dice.one_in(2)) {
            let event = Event::Judged { casting: *casting, verdict: wild_verdict(dice) };
            history.entries.push(Entry { order, part: 1, event });
        }
        history.entries.push(Entry { order, part: 0, event });
    }
    history
}

fn wild_event(dice: &mut Dice, seq: i64) -> Event {
    match dice.below(18) {
        kind @ 0..=5 => wild_stock(dice, kind),
        kind @ 6..=11 => wild_heat(dice, kind, seq),
        kind => wild_casting(dice, kind),
    }
}

fn wild_stock(dice: &mut Dice, kind: i64) -> Event {
    let (lot, heat) = (1 + dice.below(3), 11 + dice.below(4));
    let mass = dice.mass(1000);
    match kind {
        0 => Event::LotIn { lot, mass, value: Money::from_minor(dice.below(500)) },
        1 => Event::LotCount { lot, level: mass },
        2 => Event::LotOut { lot, mass, to: history::Gone::Sold },
        3 => Event::LotTransfer { from: lot, to: 1 + lot % 3, mass },
        _ => Event::Charge { heat, lot, mass },
    }
}

fn wild_heat(dice: &mut Dice, kind: i64, seq: i64) -> Event {
    let (lot, heat, shell) = (1 + dice.below(3), 11 + dice.below(4), 21 + dice.below(3));
    let mass = dice.mass(1000);
    let pooled = |mass: Option<Mass>| mass.map(|mass| Pooled { mass, lot });
    match kind {
        6 => Event::Pour { heat, shell, poured: Poured::Weighed(mass) },
        7 => Event::Pour { heat, shell, poured: Poured::Estimated(mass) },
        8 => Event::Pour { heat, shell, poured: Poured::Blank },
        9 => {
            let swept = pooled(dice.maybe(100));
            Event::Leak { pour: 100 + dice.below(seq - 99), lost: dice.mass(50), swept }
        }
        _ => {
            let pigged = pooled(dice.maybe(400));
            let (dross, spilled, heel) = (dice.maybe(50), dice.maybe(50), dice.maybe(200));
            Event::Closing(Closing { heat, pigged, dross, spilled, heel })
        }
    }
}

fn wild_casting(dice: &mut Dice, kind: i64) -> Event {
    let (lot, shell) = (1 + dice.below(3), 21 + dice.below(3));
    let casting = CASTINGS + dice.below(6);
    let pooled = |mass: Option<Mass>| mass.map(|mass| Pooled { mass, lot });
    match kind {
        12 => {
            let (net, returned) = (dice.maybe(900), pooled(dice.maybe(300)));
            Event::Net { casting, net, returned }
        }
        13 => Event::Gross { shell, gross: dice.mass(1000) },
        14 => Event::Judged { casting, verdict: wild_verdict(dice) },
        15 => Event::Scrap { casting, returned: dice.maybe(900), lot, kept: dice.one_in(3) },
        16 => {
            let lot = dice.one_in(2).then_some(lot);
            let rod = dice.maybe(50).map(|mass| Rod { mass, lot });
            Event::Work { casting, rod, mass_after: dice.maybe(900) }
        }
        _ => Event::Deliver { castings: vec![casting, CASTINGS + dice.below(6)] },
    }
}

fn wild_verdict(dice: &mut Dice) -> Verdict {
    match dice.below(6) {
        0 => Verdict::NotJudged,
        1 => Verdict::Repair,
        2 | 3 => Verdict::Accepted,
        lot => Verdict::Scrap { lot: lot - 3, kept: dice.one_in(3) },
    }
}

/// The movements of each order together, and all balances after them.
pub(super) fn at_every_instant(book: &Book, mut check: impl FnMut(Order, &BTreeMap<Account, (Mass, Money)>)) {
    let mut held = BTreeMap::new();
    for (i, m) in book.movements.iter().enumerate() {
        for (account, sign) in [(m.from, -1), (m.to, 1)] {
            let holds: &mut (Mass, Money) = held.entry(account).or_default();
            holds.0 += mg(sign * m.mass.mg());
            holds.1 += Money::from_minor(sign * m.value.minor());
        }
        if book.movements.get(i + 1).is_none_or(|next| next.order != m.order) {
            check(m.order, &held);
        }
    }
}

/// What must hold of any history whatever.
pub(super) fn check_identities(book: &Book) {
    let mut lines = BTreeSet::new();
    for m in &book.movements {
        assert!(m.mass >= Mass::ZERO && m.from != m.to, "{m:?}");
        assert!(lines.insert((m.source, m.line)), "{m:?}");
    }
    at_every_instant(book, |order, held| {
        let (mut mass, mut value) = (Mass::ZERO, Money::ZERO);
        for (account, holds) in held {
            mass += holds.0;
            value += holds.1;
            assert!(!account.is_sink() || holds.1.is_zero(), "{account:?} at {order:?}");
            let is_lot = matches!(account, Lot(_));
            assert!(!is_lot || holds.0 >= Mass::ZERO && holds.1 >= Money::ZERO, "{account:?}");
        }
        assert!(mass.is_zero() && value.is_zero());
    });
    let held = balances(&book.movements);
    for (lot, holds) in &book.stock.lots {
        assert_eq!(held.get(&Lot(*lot)).copied().unwrap_or_default(), *holds);
    }
    for (seq, casting) in &book.figures.castings {
        let to_delivered = |m: &&Movement| (m.from, m.to) == (Casting(*seq), Account::Delivered);
        let sent: Money = book.movements.iter().filter(to_delivered).map(|m| m.value).sum();
        let (mass, value) = held.get(&Casting(*seq)).copied().unwrap_or_default();
        assert_eq!((casting.mass, casting.resting), (mass, value + sent));
    }
    for (seq, shell) in &book.figures.shells {
        let holds = held.get(&Shell(*seq)).copied().unwrap_or_default();
        assert_eq!((shell.mass, shell.standing), holds);
    }
}

/// A book in the keeping of a store: movements by cluster, nothing else.
struct Kept {
    clusters: Vec<(Cluster, Derived)>,
    lots: Vec<Movement>,
}

impl Kept {
    fn all(history: &History, values: &Values) -> Self {
        let derived = |c: Cluster| {
            let derived = derive_cluster(&c, &masses(&c), values, scale(1));
            (c, derived)
        };
        let clusters = clusters(history).into_iter().map(derived).collect();
        Self { clusters, lots: lot_movements(&history.entries, values) }
    }

    fn movements(&self) -> Vec<Movement> {
        let clusters = self.clusters.iter().flat_map(|(_, d)| d.movements.clone());
        let mut all: Vec<Movement> = clusters.chain(self.lots.clone()).collect();
        all.sort_by_key(Movement::rank);
        all
    }

    /// The state of stock before `t`, from stored movements alone.
    fn stock_before(&self, t: Order) -> Stock {
        let mut stock = Stock::default();
        for m in self.movements().iter().filter(|m| m.order < t) {
            let add = |to: &mut (Mass, Money), sign: i64| {
                to.0 += mg(sign * m.mass.mg());
                to.1 += Money::from_minor(sign * m.value.minor());
            };
            if let Lot(lot) = m.from {
                add(stock.lots.entry(lot).or_default(), -1);
            }
            if let Lot(lot) = m.to {
                add(stock.lots.entry(lot).or_default(), 1);
            }
            if let (Lot(_) | Heat(_), Heat(heat)) = (m.from, m.to) {
                add(stock.heats.entry(heat).or_default(), 1);
            }
        }
        stock
    }

    /// What a store does on a write: the steps of the ledger's face.
    fn update(&self, old: &History, new: &History, t_at_most: Order) -> Self {
        let now = clusters(new);
        let (kept, gone): (Vec<_>, Vec<_>) = self.clusters.iter().partition(|(c, _)| now.contains(c));
        let touched = || now.iter().filter(|c| !kept.iter().any(|(k, _)| k == *c));
        let recall_of = |d: &Derived| recall(&d.movements);
        let before = gone.iter().flat_map(|(_, d)| recall_of(d)).map(|(step, _)| step);
        let before: Vec<Step> = before.chain(lot_steps(&old.entries)).collect();
        let after = touched().flat_map(|c| plan(c).1);
        let after: Vec<Step> = after.chain(lot_steps(&new.entries)).collect();
        let differ = |one: &[Step], other: &[Step]| one.iter().filter(|s| !other.contains(s)).map(|s| s.order).min();
        let first = [differ(&before, &after), differ(&after, &before), Some(t_at_most)];
        let t = first.into_iter().flatten().min().unwrap_or_default();

        let stored: Vec<(Step, Told)> = recall(&self.movements());
        let mut known: Values = stored.iter().filter(|(s, _)| s.order < t).map(|(s, told)| (s.key, *told)).collect();
        let others = kept.iter().flat_map(|(_, d)| recall_of(d));
        let mut late: Vec<Step> = others.map(|(step, _)| step).collect();
        late.extend(after);
        late.retain(|s| s.order >= t);
        let told = self.stock_before(t).walk(&late);
        let is_changed = |d: &Derived| {
            let now = |key: &Key| told.get(key).copied();
            recall_of(d).iter().any(|(s, was)| now(&s.key).is_some_and(|now| now != *was))
        };
        let changed: Vec<&Cluster> = kept.iter().filter(|(_, d)| is_changed(d)).map(|(c, _)| c).collect();
        known.extend(&told);
        let derive_one = |c: &Cluster| (c.clone(), derive_cluster(c, &masses(c), &known, scale(1)));
        let mut clusters: Vec<(Cluster, Derived)> = touched().map(derive_one).collect();
        for (c, derived) in kept {
            let again = changed.contains(&c);
            clusters.push(if again { derive_one(c) } else { (c.clone(), derived.clone()) });
        }
        let later = |e: &&Entry| e.order >= t;
        let later: Vec<Entry> = new.entries.iter().filter(later).cloned().collect();
        let mut lots: Vec<Movement> = self.lots.clone();
        lots.retain(|m| m.order < t);
        lots.extend(lot_movements(&later, &told));
        Self { clusters, lots }
    }
}

fn shuffled(history: &History, dice: &mut Dice) -> History {
    let mut other = history.clone();
    for i in (1..other.entries.len()).rev() {
        let j = usize::try_from(dice.below(i64::try_from(i + 1).unwrap())).unwrap();
        other.entries.swap(i, j);
    }
    other.heats.reverse();
    other.shells.reverse();
    other
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(150))]

    #[test]
    fn wild_histories_close(mut dice in dice(900)) {
        let history = wild(&mut dice, 40);
        let book = derive(&history, scale(1));
        check_identities(&book);
        prop_assert_eq!(&book, &derive(&shuffled(&history, &mut dice), scale(1)));
    }

    #[test]
    fn steps_are_read_back_from_movements(mut dice in dice(900)) {
        let history = wild(&mut dice, 40);
        let book = derive(&history, scale(1));
        let mut want: Vec<Step> =
            clusters(&history).iter().flat_map(|c| plan(c).1).collect();
        want.sort_by_key(Step::rank);
        let mut got = recall(&book.movements);
        got.sort_by_key(|(step, _)| step.rank());
        for (step, told) in &got {
            prop_assert_eq!(book.values.get(&step.key), Some(told));
        }
        prop_assert_eq!(got.into_iter().map(|(step, _)| step).collect::<Vec<_>>(), want);
    }

    #[test]
    fn replay_from_any_instant_is_the_whole(mut dice in dice(900), t in 0_i64..21) {
        let history = wild(&mut dice, 40);
        let book = derive(&history, scale(1));
        let kept = Kept::all(&history, &book.values);
        prop_assert_eq!(kept.movements(), book.movements.clone());
        let again = kept.update(&history, &history, Order::new(t, 0));
        prop_assert_eq!(again.movements(), book.movements);
    }

    #[test]
    fn a_write_in_parts_is_the_whole(mut dice in dice(900), at in 0_usize..40) {
        let new = wild(&mut dice, 40);
        let mut old = new.clone();
        let cut = old.entries.len() - 1 - at % old.entries.len();
        old.entries.remove(cut);
        let (was, is) = (derive(&old, scale(1)), derive(&new, scale(1)));
        let never = Order::new(i64::MAX, 0);
        let kept = Kept::all(&old, &was.values).update(&old, &new, never);
        prop_assert_eq!(kept.movements(), is.movements.clone());
        let back = kept.update(&new, &old, never);
        prop_assert_eq!(back.movements(), was.movements);
    }
}
