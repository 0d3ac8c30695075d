//! Pass 3: the movements of one cluster, its masses (pass 1) and the values of its
//! steps (pass 2) being known (docs/ledger.md, rules 4 to 8).
//!
//! The same walk, run without values, plans the steps that pass 2 needs: which metal
//! moves never depends on what it is worth.

use std::collections::BTreeMap;

use crate::kernel::{Mass, Money, Order};

use super::account::{Account, Movement};
use super::facts::{Facts, Mark};
use super::figures::Figures;
use super::history::{Closing, Cluster, Entry, Event, Heel, Pooled, Rod, Shell};
use super::impossible::{Impossible, Scale, impossible, tolerance};
use super::journal::{Cause, Journal};
use super::masses::{Masses, masses_of};
use super::share::{Taker, share};
use super::stock::{Step, Values, at_unit};

/// All that follows for one cluster.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Derived {
    /// Its movements, by [`Movement::rank`].
    pub movements: Vec<Movement>,
    /// What rests where, and the figures of each heat, shell and casting.
    pub figures: Figures,
    /// What cannot have happened; the caller refuses the write when there is any.
    pub impossible: Vec<Impossible>,
}

/// The steps that a cluster takes in pass 2, in order.
#[must_use]
pub fn steps(cluster: &Cluster, masses: &Masses) -> Vec<Step> {
    let facts = Facts::new(cluster);
    let nothing = Values::new();
    let mut steps = Walk::run(&facts, cluster, masses, &nothing).journal.steps;
    steps.sort_by_key(Step::rank);
    steps
}

/// Rules 4 to 8 for one cluster. `values` must hold what the walk told of all of its
/// [`steps`]; a step it does not hold is worth nothing. `scale` is the shop's
/// scale: see [`super::tolerance`].
#[must_use]
pub fn derive_cluster(cluster: &Cluster, masses: &Masses, values: &Values, scale: Scale) -> Derived {
    let facts = Facts::new(cluster);
    let walk = Walk::run(&facts, cluster, masses, values);
    let mut found = impossible(&facts, cluster, masses, scale);
    let over = walk.over.iter().filter(|o| o.over > tolerance(scale, o.moved));
    found.extend(over.map(|o| Impossible::CastingOverdrawn { source: o.source, casting: o.casting, over: o.over }));
    found.sort_unstable();
    let figures = Figures::new(&facts, masses, &walk.journal, &walk.pairs, &walk.delivered);
    Derived { movements: walk.journal.finish(), figures, impossible: found }
}

/// Pass 1 and the plan of pass 2 at one go.
#[must_use]
pub fn plan(cluster: &Cluster) -> (Masses, Vec<Step>) {
    let masses = masses_of(&Facts::new(cluster), cluster);
    let steps = steps(cluster, &masses);
    (masses, steps)
}

/// One thing to be taken in order.
enum Happening<'a> {
    Heel(&'a Heel),
    Entry(&'a Entry),
}

/// Metal out of a casting beyond what was on it.
struct Excess {
    source: i64,
    casting: i64,
    over: Mass,
    moved: Mass,
}

/// Where the walk stands.
struct Walk<'a> {
    facts: &'a Facts<'a>,
    masses: &'a Masses,
    journal: Journal<'a>,
    /// C and V of each heat so far.
    pairs: BTreeMap<i64, (Mass, Money)>,
    /// What each delivered casting took with it.
    delivered: BTreeMap<i64, Money>,
    /// The last net of each casting so far.
    netted: BTreeMap<i64, Mass>,
    /// Metal out of castings beyond what was on them.
    over: Vec<Excess>,
}

impl<'a> Walk<'a> {
    fn run(facts: &'a Facts<'a>, cluster: &'a Cluster, masses: &'a Masses, values: &'a Values) -> Self {
        let journal = Journal::new(values, &cluster.prices);
        let (pairs, delivered) = (BTreeMap::new(), BTreeMap::new());
        let (netted, over) = (BTreeMap::new(), Vec::new());
        let mut walk = Self { facts, masses, journal, pairs, delivered, netted, over };
        let scraps = scraps(facts);
        let mut complete: BTreeMap<Order, Vec<&Shell>> = BTreeMap::new();
        for shell in facts.shells.values() {
            if let Some(order) = facts.completes(shell) {
                complete.entry(order).or_default().push(shell);
            }
        }
        for (order, happenings) in happenings(facts, cluster) {
            let cause = Cause { order, source: order.seq };
            for happening in happenings {
                walk.take(cause, &happening);
            }
            for &casting in scraps.get(&order).into_iter().flatten() {
                walk.scrap(cause, casting);
            }
            for shell in complete.get(&order).into_iter().flatten() {
                walk.complete(cause, shell);
            }
            walk.send_on(cause);
        }
        walk
    }

    fn take(&mut self, cause: Cause, happening: &Happening) {
        let entry = match happening {
            Happening::Heel(heel) => {
                let value = self.journal.heel(cause, heel.from, heel.to, heel.mass);
                return self.charge(heel.to, heel.mass, value);
            }
            Happening::Entry(entry) => entry,
        };
        match &entry.event {
            Event::Charge { heat, lot, mass } => {
                let value = self.journal.draw(cause, *lot, Account::Heat(*heat), *mass);
                self.charge(*heat, *mass, value);
            }
            Event::Pour { heat, shell, .. } => {
                let mass = self.masses.streams.get(&cause.source).map_or(Mass::ZERO, |s| s.mass);
                self.journal.post(cause, Account::Heat(*heat), Account::Shell(*shell), mass, Money::ZERO);
            }
            Event::Leak { pour, lost, swept } => {
                let cause = Cause { source: entry.order.seq, ..cause };
                self.leak(cause, *pour, *lost, *swept);
            }
            Event::Closing(closing) => self.close(cause, closing),
            Event::Net { casting, net, returned } => self.net(cause, *casting, *net, *returned),
            Event::Work { casting, rod, mass_after } => self.work(cause, *casting, *rod, *mass_after),
            Event::Deliver { castings } => self.deliver(cause, castings),
            Event::Scrap { .. } => {
                if let Some((shell, pooled)) = self.facts.scrapped_in_shell(entry) {
                    self.return_from(cause, Account::Shell(shell), shell, pooled);
                }
            }
            _ => {}
        }
    }

    fn charge(&mut self, heat: i64, mass: Mass, value: Money) {
        let pair = self.pairs.entry(heat).or_default();
        *pair = (pair.0 + mass, pair.1 + value);
    }

    /// Rule 4.
    fn leak(&mut self, cause: Cause, pour: i64, lost: Mass, swept: Option<Pooled>) {
        let Some(stream) = self.facts.streams.get(&pour) else {
            return;
        };
        let shell = Account::Shell(stream.shell);
        self.journal.post(cause, shell, Account::Leak, lost, Money::ZERO);
        if let Some(swept) = swept {
            self.return_from(cause, shell, stream.shell, swept);
        }
    }

    /// Rule 5: a return out of a shell, split over the heats that filled it. Before the
    /// closing of its heat a part takes its value from the heat, else from the shell.
    fn return_from(&mut self, cause: Cause, from: Account, shell: i64, pooled: Pooled) {
        for (heat, mass) in parts(self.masses, Some(shell), cause.order, pooled.mass) {
            let open = heat.filter(|h| self.facts.closings.get(h).is_none_or(|c| cause.order < c.0));
            let payer = open.map_or(from, Account::Heat);
            self.journal.give_back(cause, from, payer, heat, pooled.lot, mass);
        }
    }

    /// Rule 5: the closing, mass first, then the value that stands on the heat.
    fn close(&mut self, cause: Cause, closing: &Closing) {
        let counts = self.facts.closings.get(&closing.heat).is_some_and(|c| c.0 == cause.order);
        let Some(balance) = self.masses.heats.get(&closing.heat).filter(|_| counts) else {
            return;
        };
        let heat = Account::Heat(closing.heat);
        if let Some(pigged) = closing.pigged {
            let heat_seq = Some(closing.heat);
            self.journal.give_back(cause, heat, heat, heat_seq, pigged.lot, pigged.mass);
        }
        self.journal.post(cause, heat, Account::Dross, balance.dross, Money::ZERO);
        self.journal.post(cause, heat, Account::Spill, balance.spilled, Money::ZERO);
        self.journal.post(cause, heat, Account::Unexplained, balance.unexplained, Money::ZERO);
        let pair = self.pairs.get(&closing.heat).copied().unwrap_or_default();
        let rest = self.journal.holds(heat).1 - at_unit(pair, balance.heel);
        let mut brought: BTreeMap<i64, Mass> = BTreeMap::new();
        for stream in self.masses.streams.values().filter(|s| s.heat == closing.heat) {
            *brought.entry(stream.shell).or_default() += stream.mass;
        }
        let takers: Vec<Taker> = brought.iter().map(|(shell, mass)| Taker::new(mass.mg(), *shell)).collect();
        for (shell, minor) in brought.keys().zip(share(rest.minor(), &takers)) {
            let value = Money::from_minor(minor);
            self.journal.post(cause, heat, Account::Shell(*shell), Mass::ZERO, value);
        }
    }

    /// Rule 6: a net, and what was returned with it. A later net of the same casting
    /// moves the difference; the net of a casting in no shell is unexplained metal.
    fn net(&mut self, cause: Cause, casting: i64, net: Option<Mass>, returned: Option<Pooled>) {
        let home = self.facts.home.get(&casting).copied();
        let shell = home.map_or(Account::Unexplained, Account::Shell);
        let to = Account::Casting(casting);
        if let Some(net) = net {
            let more = net - self.netted.insert(casting, net).unwrap_or_default();
            self.journal.post(cause, shell, to, more, Money::ZERO);
            self.note_over(cause, casting, Mass::ZERO - self.journal.holds(to).0, more);
        }
        match (returned, home) {
            (Some(pooled), Some(home)) => self.return_from(cause, shell, home, pooled),
            (Some(pooled), None) => {
                self.journal.post(cause, shell, to, pooled.mass, Money::ZERO);
                self.journal.give_back(cause, to, to, None, pooled.lot, pooled.mass);
            }
            (None, _) => {}
        }
    }

    /// Rule 6: a scrapped casting goes into the pool, at its own expense.
    fn scrap(&mut self, cause: Cause, casting: i64) {
        let mark = self.facts.castings.get(&casting).and_then(|c| c.mark);
        let Some((_, _, Mark::Failed { lot, returned, .. })) = mark else {
            return;
        };
        let from = Account::Casting(casting);
        let on = self.journal.holds(from).0;
        let mass = returned.unwrap_or(on).max(Mass::ZERO);
        let home = self.facts.home.get(&casting).copied();
        for (heat, part) in parts(self.masses, home, cause.order, mass) {
            self.journal.give_back(cause, from, from, heat, lot, part);
        }
        self.journal.post(cause, from, Account::Unexplained, on - mass, Money::ZERO);
        self.note_over(cause, casting, mass - on, mass);
    }

    fn note_over(&mut self, cause: Cause, casting: i64, over: Mass, moved: Mass) {
        if over > Mass::ZERO {
            self.over.push(Excess { source: cause.source, casting, over, moved });
        }
    }

    /// Rule 6: what lies in a complete shell is swarf or unexplained, and its value goes
    /// to its castings.
    fn complete(&mut self, cause: Cause, shell: &Shell) {
        let account = Account::Shell(shell.seq);
        let outs = self.facts.outs.get(&shell.seq).copied().unwrap_or_default();
        if let Some((_, gross)) = outs.gross {
            let swarf = (gross - outs.net - outs.returned).max(Mass::ZERO);
            self.journal.post(cause, account, Account::Swarf, swarf, Money::ZERO);
        }
        let (rest, value) = self.journal.holds(account);
        self.journal.post(cause, account, Account::Unexplained, rest, Money::ZERO);
        let shares = share(value.minor(), &shell.takers());
        for (casting, minor) in shell.castings.iter().zip(shares) {
            let to = Account::Casting(casting.seq);
            self.journal.post(cause, account, to, Mass::ZERO, Money::from_minor(minor));
        }
    }

    /// Rule 7.
    fn work(&mut self, cause: Cause, casting: i64, rod: Option<Rod>, mass_after: Option<Mass>) {
        let account = Account::Casting(casting);
        match rod {
            Some(Rod { mass, lot: Some(lot) }) => {
                self.journal.draw(cause, lot, account, mass);
            }
            Some(Rod { mass, lot: None }) => {
                self.journal.post(cause, Account::Outside, account, mass, Money::ZERO);
            }
            None => {}
        }
        if let Some(after) = mass_after {
            let loss = self.journal.holds(account).0 - after;
            let sink = if loss < Mass::ZERO { Account::Unexplained } else { Account::Swarf };
            self.journal.post(cause, account, sink, loss, Money::ZERO);
        }
    }

    /// Rule 8.
    fn deliver(&mut self, cause: Cause, castings: &[i64]) {
        for (line, casting) in (0..).zip(castings) {
            let is_ours = self.facts.castings.contains_key(casting);
            if !is_ours || self.delivered.contains_key(casting) {
                continue;
            }
            let account = Account::Casting(*casting);
            self.delivered.insert(*casting, self.journal.holds(account).1);
            self.journal.post_at(cause, line, account, Account::Delivered);
        }
    }

    /// Rule 8: what comes to rest on a delivered casting later goes on.
    fn send_on(&mut self, cause: Cause) {
        for (casting, sent) in &mut self.delivered {
            let account = Account::Casting(*casting);
            let (mass, value) = self.journal.holds(account);
            *sent += value;
            self.journal.post(cause, account, Account::Delivered, mass, value);
        }
    }
}

/// Rule 5: a mass out of a shell, split over the heats whose streams had filled it by
/// then, by the mass they brought. Without a stream all of it is from no heat.
pub(super) fn parts(masses: &Masses, shell: Option<i64>, by: Order, mass: Mass) -> Vec<(Option<i64>, Mass)> {
    let streams = || masses.streams.values().filter(|s| Some(s.shell) == shell);
    let any_by_then = streams().any(|s| s.order <= by);
    let mut brought: BTreeMap<i64, Mass> = BTreeMap::new();
    for stream in streams().filter(|s| !any_by_then || s.order <= by) {
        *brought.entry(stream.heat).or_default() += stream.mass;
    }
    if brought.is_empty() {
        return vec![(None, mass)];
    }
    let takers: Vec<Taker> = brought.iter().map(|(heat, m)| Taker::new(m.mg(), *heat)).collect();
    let shares = share(mass.mg(), &takers);
    brought.into_keys().map(Some).zip(shares.into_iter().map(Mass::from_mg)).collect()
}

/// The castings that go into the pool as scrap, by when: the later of the net and of
/// the scrapping that their present state is from.
fn scraps(facts: &Facts) -> BTreeMap<Order, Vec<i64>> {
    let mut scraps: BTreeMap<Order, Vec<i64>> = BTreeMap::new();
    for (casting, known) in &facts.castings {
        let failed = known.mark.filter(|m| matches!(m.2, Mark::Failed { kept: false, .. }));
        if let (Some((scrapped, ..)), Some((netted, _))) = (failed, known.net) {
            scraps.entry(scrapped.max(netted)).or_default().push(*casting);
        }
    }
    scraps
}

/// All that happens, by order; at one order the record's own parts before the leaks.
fn happenings<'a>(facts: &Facts, cluster: &'a Cluster) -> BTreeMap<Order, Vec<Happening<'a>>> {
    let mut sorted: Vec<(Order, bool, i64, u32, Happening)> = Vec::new();
    for entry in &cluster.entries {
        let (mut order, own) = (entry.order, entry.order.seq);
        let mut is_leak = false;
        if let Event::Leak { pour, .. } = &entry.event {
            let Some(stream) = facts.streams.get(pour) else {
                continue;
            };
            (order, is_leak) = (stream.order, true);
        }
        sorted.push((order, is_leak, own, entry.part, Happening::Entry(entry)));
    }
    sorted.sort_by_key(|h| (h.0, h.1, h.2, h.3));
    let mut by_order: BTreeMap<Order, Vec<Happening>> = BTreeMap::new();
    for heat in &cluster.heats {
        let taken = cluster.heels.iter().filter(|h| h.to == heat.order.seq);
        for heel in taken {
            by_order.entry(heat.order).or_default().push(Happening::Heel(heel));
        }
    }
    for (order, .., happening) in sorted {
        by_order.entry(order).or_default().push(happening);
    }
    by_order
}
