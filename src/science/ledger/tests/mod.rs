//! The ledger held against numbers worked by hand, and against its own identities.

mod breakout;
mod closing;
mod edges;
mod extremes;
mod random;
mod sane;
mod stock;

use super::account::Account::{self, Casting, Heat, Lot, Shell};
use super::history::{self, Closing, Pooled, Poured, Rod, Verdict};
use super::*;
use crate::kernel::Order;

/// A pool that all returns of the tests go into.
const POOL: i64 = 900;

/// Tells a history, one record a second.
#[derive(Default)]
struct Story {
    history: History,
    clock: i64,
}

impl Story {
    /// The next record's order.
    fn tick(&mut self) -> Order {
        self.clock += 1;
        Order::new(self.clock * 1000, self.clock)
    }

    fn log(&mut self, event: Event) -> i64 {
        self.log_parts(vec![event])
    }

    fn log_parts(&mut self, events: Vec<Event>) -> i64 {
        let order = self.tick();
        let entries = (0..).zip(events).map(|(part, event)| Entry { order, part, event });
        self.history.entries.extend(entries);
        order.seq
    }

    fn lot(&mut self, mass: i64, value: i64) -> i64 {
        let lot = self.clock + 1;
        self.receipt(lot, mass, value)
    }

    fn receipt(&mut self, lot: i64, mass: i64, value: i64) -> i64 {
        self.log(Event::LotIn { lot, mass: mg(mass), value: Money::from_minor(value) })
    }

    /// A heat with one charge line.
    fn heat(&mut self, lot: i64, mass: i64) -> i64 {
        let heat = self.heat_in(None);
        self.charge(heat, lot, mass);
        heat
    }

    fn heat_in(&mut self, crucible: Option<i64>) -> i64 {
        let order = self.tick();
        self.history.heats.push(history::Heat { order, crucible });
        order.seq
    }

    fn charge(&mut self, heat: i64, lot: i64, mass: i64) -> i64 {
        self.log(Event::Charge { heat, lot, mass: mg(mass) })
    }

    /// A shell of castings with these estimates; the answer is shell and castings.
    fn shell(&mut self, estimates: &[i64], gating: i64) -> (i64, Vec<i64>) {
        let seq = self.tick().seq;
        let mut castings = Vec::new();
        for &estimate in estimates {
            let casting = self.tick().seq;
            castings.push(history::Casting { seq: casting, tag_rank: casting, estimate: mg(estimate) });
        }
        let seqs = castings.iter().map(|c| c.seq).collect();
        self.history.shells.push(history::Shell { seq, castings, gating: mg(gating) });
        (seq, seqs)
    }

    fn pour(&mut self, heat: i64, shell: i64, poured: Poured) -> i64 {
        self.log(Event::Pour { heat, shell, poured })
    }

    fn close(&mut self, heat: i64, pigged: i64, dross: i64, heel: i64) -> i64 {
        let blank = |mass: i64| (mass != 0).then(|| mg(mass));
        let pigged = (pigged != 0).then(|| pooled(pigged));
        let (dross, heel) = (blank(dross), blank(heel));
        self.log(Event::Closing(Closing { heat, pigged, dross, spilled: None, heel }))
    }

    /// Net, returned gating and verdict in one record.
    fn breakout(&mut self, casting: i64, net: i64, returned: i64, verdict: Verdict) -> i64 {
        self.log_parts(vec![net_of(casting, net, returned), Event::Judged { casting, verdict }])
    }

    fn derive(&self) -> Book {
        let book = derive(&self.history, scale(1));
        assert_eq!(book.impossible, []);
        book
    }
}

fn mg(mg: i64) -> Mass {
    Mass::from_mg(mg)
}

/// A scale of that step, else off by 0.2 %.
fn scale(step: i64) -> Scale {
    Scale { step: mg(step), per_million: 2000 }
}

fn weighed(mass: i64) -> Poured {
    Poured::Weighed(mg(mass))
}

fn estimated(mass: i64) -> Poured {
    Poured::Estimated(mg(mass))
}

fn pooled(mass: i64) -> Pooled {
    Pooled { mass: mg(mass), lot: POOL }
}

fn net_of(casting: i64, net: i64, returned: i64) -> Event {
    let returned = (returned != 0).then(|| pooled(returned));
    Event::Net { casting, net: Some(mg(net)), returned }
}

const SCRAP: Verdict = Verdict::Scrap { lot: POOL, kept: false };

/// The movements that a record caused: from, to, mass, value.
fn caused(book: &Book, source: i64) -> Vec<(Account, Account, i64, i64)> {
    let rows = book.movements.iter().filter(|m| m.source == source);
    rows.map(|m| (m.from, m.to, m.mass.mg(), m.value.minor())).collect()
}

/// What an account holds in the end: mass, value.
fn held(book: &Book, account: Account) -> (i64, i64) {
    let all = balances(&book.movements);
    let (mass, value) = all.get(&account).copied().unwrap_or_default();
    (mass.mg(), value.minor())
}
