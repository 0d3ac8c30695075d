//! What the ledger is derived from: the live records that move metal, as typed input.
//!
//! Every `i64` that names something is the `seq` of its record. Voided records are simply
//! not here; corrected ones are here as corrected.

use std::collections::{BTreeMap, BTreeSet};

use crate::kernel::{Instant, Mass, Money, Order};

use super::account::Account;
use super::share::Taker;

/// Everything that moves metal, in any order.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct History {
    /// All heats.
    pub heats: Vec<Heat>,
    /// All shells.
    pub shells: Vec<Shell>,
    /// All entries.
    pub entries: Vec<Entry>,
    /// The scrap prices in force.
    pub prices: Prices,
}

/// Rule 2: the scrap prices, a kg, in force for what a heat is poured as, at the instants at
/// which something happened. Where none is, none was in force.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Prices(BTreeMap<(i64, Instant), Money>);

impl Prices {
    /// Puts the price on file that was in force for a heat at an instant.
    pub fn put(&mut self, heat: i64, at: Instant, a_kg: Money) {
        self.0.insert((heat, at), a_kg);
    }
    /// The price in force for a heat at an instant.
    #[must_use]
    pub fn of(&self, heat: i64, at: Instant) -> Option<Money> {
        self.0.get(&(heat, at)).copied()
    }
}

/// A heat; its `seq` is that of its order.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Heat {
    /// When it was lit; the instant at which it takes over a heel (rule 2).
    pub order: Order,
    /// The crucible, when one is on record.
    pub crucible: Option<i64>,
}

/// A shell and what stands in it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Shell {
    /// Its record.
    pub seq: i64,
    /// Its castings; a casting is in one shell at most.
    pub castings: Vec<Casting>,
    /// The estimated metal of its gating.
    pub gating: Mass,
}

impl Shell {
    /// The estimated metal of the whole shell: castings and gating (rule 3).
    #[must_use]
    pub fn estimate(&self) -> Mass {
        self.castings.iter().map(|c| c.estimate).sum::<Mass>() + self.gating
    }

    /// Its castings as takers of a share by estimated metal, ties by tag (rule 6).
    pub(super) fn takers(&self) -> Vec<Taker> {
        self.castings.iter().map(|c| Taker::new(c.estimate.mg(), c.tag_rank)).collect()
    }
}

/// A casting in its shell.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Casting {
    /// Its record.
    pub seq: i64,
    /// The rank of its tag among the tags of its shell: breaks ties (rule 6).
    pub tag_rank: i64,
    /// Its estimated metal: weighed wax × ρ(alloy)/ρ(wax), else the pattern's mass.
    pub estimate: Mass,
}

/// One thing that a record says. A record that says several gives several entries with
/// the same order and different parts; but for a delivery, all of one cluster. A pour, a
/// charge line, a leak, a closing and anything of lots alone is a record of its own.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Entry {
    /// (`at`, `seq`) of the record. A leak happens at the order of its pour instead.
    pub order: Order,
    /// Ordinal within the record.
    pub part: u32,
    /// What it says.
    pub event: Event,
}

/// What happened.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Event {
    /// Rule 1: a lot made, a receipt into a pool, an opening stock.
    LotIn {
        /// The lot.
        lot: i64,
        /// How much.
        mass: Mass,
        /// Worth how much.
        value: Money,
    },
    /// Metal sold or written off out of stock; takes value as a charge does.
    LotOut {
        /// The lot.
        lot: i64,
        /// How much.
        mass: Mass,
        /// Where to.
        to: Gone,
    },
    /// A lot weighed: the difference is unexplained, without value.
    LotCount {
        /// The lot.
        lot: i64,
        /// What it holds.
        level: Mass,
    },
    /// From lot to lot; takes value as a charge does.
    LotTransfer {
        /// The giving lot.
        from: i64,
        /// The taking lot.
        to: i64,
        /// How much.
        mass: Mass,
    },
    /// Rule 1: a charge line, or an event of a heat that adds metal.
    Charge {
        /// The heat.
        heat: i64,
        /// The lot.
        lot: i64,
        /// How much.
        mass: Mass,
    },
    /// Rule 3: one stream into a shell.
    Pour {
        /// The heat.
        heat: i64,
        /// The shell.
        shell: i64,
        /// What is known of the stream.
        poured: Poured,
    },
    /// Rule 4: metal that got out of a shell at a pour. A leak whose pour is not among
    /// the entries is left out.
    Leak {
        /// The pour.
        pour: i64,
        /// Lost.
        lost: Mass,
        /// Swept up and put back into a pool.
        swept: Option<Pooled>,
    },
    /// Rule 5. The first closing of a heat in order counts.
    Closing(Closing),
    /// Rule 6: a casting's net, the gating returned with it, or both. The last net of a
    /// casting in order is its net.
    Net {
        /// The casting.
        casting: i64,
        /// Its mass once cut off.
        net: Option<Mass>,
        /// The gating that went back into a pool.
        returned: Option<Pooled>,
    },
    /// Rule 6: a verdict on a casting.
    Judged {
        /// The casting.
        casting: i64,
        /// The verdict.
        verdict: Verdict,
    },
    /// Rule 3: the gross of a shell, whole tree or its only casting as broken out. The
    /// last in order counts.
    Gross {
        /// The shell.
        shell: i64,
        /// The mass as broken out.
        gross: Mass,
    },
    /// Rule 6: a casting scrapped at any stage.
    Scrap {
        /// The casting.
        casting: i64,
        /// What went back into the pool; left out, all that is on the casting.
        returned: Option<Mass>,
        /// The pool.
        lot: i64,
        /// Nothing returned yet.
        kept: bool,
    },
    /// The casting is finished: as good as accepted.
    Finish {
        /// The casting.
        casting: i64,
    },
    /// Rule 7: rod first, then the casting's mass after the work.
    Work {
        /// The casting.
        casting: i64,
        /// Metal put on.
        rod: Option<Rod>,
        /// The mass once the work is done.
        mass_after: Option<Mass>,
    },
    /// Rule 8: castings handed over, always the record's whole list.
    Deliver {
        /// Which.
        castings: Vec<i64>,
    },
}

impl Event {
    /// Whether it concerns lots alone and is in no cluster.
    #[must_use]
    pub const fn is_of_lots_alone(&self) -> bool {
        matches!(self, Self::LotIn { .. } | Self::LotOut { .. } | Self::LotCount { .. } | Self::LotTransfer { .. })
    }
}

/// Where metal goes that leaves stock for good.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Gone {
    /// To [`Account::Sold`].
    Sold,
    /// To [`Account::WrittenOff`].
    WrittenOff,
}

/// What is known of a stream when it is recorded (rule 3).
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Poured {
    /// Read off a scale.
    Weighed(Mass),
    /// Somebody's estimate.
    Estimated(Mass),
    /// Nothing.
    Blank,
}

/// A mass and the pool that it goes back into.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Pooled {
    /// How much.
    pub mass: Mass,
    /// The pool: as named by the record, else the default pool of the alloy.
    pub lot: i64,
}

/// Weld rod and pins.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Rod {
    /// How much.
    pub mass: Mass,
    /// The lot; `None` when from outside, without value.
    pub lot: Option<i64>,
}

/// What a heat ended with; blanks count 0.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Closing {
    /// The heat.
    pub heat: i64,
    /// Poured into ingot moulds.
    pub pigged: Option<Pooled>,
    /// Skimmed off.
    pub dross: Option<Mass>,
    /// Spilled.
    pub spilled: Option<Mass>,
    /// Left in the crucible for the next heat.
    pub heel: Option<Mass>,
}

/// The verdict on a casting.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Verdict {
    /// Good.
    Accepted,
    /// Good once repaired.
    Repair,
    /// Failed: goes into the pool `lot` unless kept.
    Scrap {
        /// The pool.
        lot: i64,
        /// Nothing returned yet.
        kept: bool,
    },
    /// No verdict.
    NotJudged,
}

/// A heel taken over: a charge line from heat to heat (rule 2).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Heel {
    /// The heat that takes it.
    pub to: i64,
    /// The heat that left it.
    pub from: i64,
    /// How much.
    pub mass: Mass,
}

/// Heats connected through common shells, with all that concerns them whatever its
/// time: the least that can be derived alone.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Cluster {
    /// Its heats.
    pub heats: Vec<Heat>,
    /// Its shells.
    pub shells: Vec<Shell>,
    /// The heels that its heats take over, from heats of this or another cluster.
    pub heels: Vec<Heel>,
    /// All entries of its heats, shells and castings; none of lots alone.
    pub entries: Vec<Entry>,
    /// The scrap prices in force for its heats.
    pub prices: Prices,
}

/// Rule 2: who takes over which heel. The next heat in the same crucible, the first in
/// order after the closing, takes it; a heel without one stays where it is.
///
/// Looks only at closings among the entries. To load one cluster, hand in the heats of
/// its crucibles and their closings, and keep the heels whose `to` is in the cluster.
#[must_use]
pub fn heels(heats: &[Heat], entries: &[Entry]) -> Vec<Heel> {
    let mut after: BTreeMap<i64, BTreeSet<Order>> = BTreeMap::new();
    for heat in heats {
        if let Some(crucible) = heat.crucible {
            after.entry(crucible).or_default().insert(heat.order);
        }
    }
    let crucibles: BTreeMap<i64, i64> = heats.iter().filter_map(|h| Some((h.order.seq, h.crucible?))).collect();
    let mut found = Vec::new();
    for (heat, (order, closing)) in closings(entries) {
        let Some(mass) = closing.heel.filter(|m| *m > Mass::ZERO) else {
            continue;
        };
        let later = crucibles.get(&heat).and_then(|c| after.get(c));
        let next = later.and_then(|orders| orders.range(order..).find(|o| o.seq != heat));
        if let Some(next) = next {
            found.push(Heel { to: next.seq, from: heat, mass });
        }
    }
    found.sort_unstable();
    found
}

/// The closing that counts for each heat: the first in order.
pub(super) fn closings(entries: &[Entry]) -> BTreeMap<i64, (Order, Closing)> {
    let mut first: BTreeMap<i64, (Order, Closing)> = BTreeMap::new();
    for entry in entries {
        if let Event::Closing(closing) = &entry.event {
            let known = first.entry(closing.heat).or_insert((entry.order, *closing));
            if entry.order < known.0 {
                *known = (entry.order, *closing);
            }
        }
    }
    first
}

/// Splits a history into its clusters, in the order of their lowest member. Entries of
/// lots alone are in none; a delivery is in each that one of its castings is in.
#[must_use]
pub fn clusters(history: &History) -> Vec<Cluster> {
    let pours: BTreeMap<i64, (i64, i64)> = history.entries.iter().filter_map(pour).collect();
    let mut groups = Groups::default();
    for shell in &history.shells {
        groups.find(Account::Shell(shell.seq));
        for casting in &shell.castings {
            groups.join(Account::Shell(shell.seq), Account::Casting(casting.seq));
        }
    }
    for &(heat, shell) in pours.values() {
        groups.join(Account::Heat(heat), Account::Shell(shell));
    }
    let mut found: BTreeMap<Account, Cluster> = BTreeMap::new();
    for heat in &history.heats {
        let root = groups.find(Account::Heat(heat.order.seq));
        found.entry(root).or_default().heats.push(*heat);
    }
    for shell in &history.shells {
        let root = groups.find(Account::Shell(shell.seq));
        found.entry(root).or_default().shells.push(shell.clone());
    }
    for heel in heels(&history.heats, &history.entries) {
        let root = groups.find(Account::Heat(heel.to));
        found.entry(root).or_default().heels.push(heel);
    }
    for entry in &history.entries {
        let members = touches(&entry.event, &pours);
        let roots: BTreeSet<Account> = members.into_iter().map(|m| groups.find(m)).collect();
        for root in roots {
            found.entry(root).or_default().entries.push(entry.clone());
        }
    }
    for cluster in found.values_mut() {
        let ours = |(heat, _): &(i64, Instant)| cluster.heats.iter().any(|h| h.order.seq == *heat);
        cluster.prices = Prices(history.prices.0.iter().filter(|(key, _)| ours(key)).map(|(key, a_kg)| (*key, *a_kg)).collect());
    }
    found.into_values().collect()
}

/// The heat and shell of a pour, by its `seq`.
fn pour(entry: &Entry) -> Option<(i64, (i64, i64))> {
    match entry.event {
        Event::Pour { heat, shell, .. } => Some((entry.order.seq, (heat, shell))),
        _ => None,
    }
}

/// The accounts through which an entry belongs to a cluster.
fn touches(event: &Event, pours: &BTreeMap<i64, (i64, i64)>) -> Vec<Account> {
    match event {
        Event::LotIn { .. } | Event::LotOut { .. } | Event::LotCount { .. } | Event::LotTransfer { .. } => Vec::new(),
        Event::Charge { heat, .. } | Event::Pour { heat, .. } | Event::Closing(Closing { heat, .. }) => {
            vec![Account::Heat(*heat)]
        }
        Event::Leak { pour, .. } => pours.get(pour).map(|p| Account::Heat(p.0)).into_iter().collect(),
        Event::Gross { shell, .. } => vec![Account::Shell(*shell)],
        Event::Net { casting, .. }
        | Event::Judged { casting, .. }
        | Event::Scrap { casting, .. }
        | Event::Finish { casting }
        | Event::Work { casting, .. } => vec![Account::Casting(*casting)],
        Event::Deliver { castings } => castings.iter().copied().map(Account::Casting).collect(),
    }
}

/// Disjoint sets of accounts, each known by its lowest member.
#[derive(Default)]
struct Groups(BTreeMap<Account, Account>);

impl Groups {
    fn find(&mut self, member: Account) -> Account {
        let mut root = *self.0.entry(member).or_insert(member);
        while let Some(&up) = self.0.get(&root).filter(|up| **up != root) {
            root = up;
        }
        self.0.insert(member, root);
        root
    }

    fn join(&mut self, one: Account, other: Account) {
        let (one, other) = (self.find(one), self.find(other));
        self.0.insert(one.max(other), one.min(other));
    }
}
