//! One cluster's entries, gathered by what they are about.

use std::collections::BTreeMap;

use crate::kernel::{Mass, Order};

use super::history::{Closing, Cluster, Entry, Event, Pooled, Poured, Shell, Verdict, closings};

/// The entries of one cluster by stream, heat, shell and casting.
pub(super) struct Facts<'a> {
    pub shells: BTreeMap<i64, &'a Shell>,
    /// The shell of each casting.
    pub home: BTreeMap<i64, i64>,
    pub streams: BTreeMap<i64, RawStream>,
    pub closings: BTreeMap<i64, (Order, Closing)>,
    pub charged: BTreeMap<i64, Mass>,
    /// What is known to have come out, by shell.
    pub outs: BTreeMap<i64, Outs>,
    /// Every casting of the cluster: in a shell, or with an entry but for deliveries,
    /// which also name castings of other clusters.
    pub castings: BTreeMap<i64, CastingFacts>,
}

/// A pour as recorded, with its leaks.
#[derive(Clone, Copy)]
pub(super) struct RawStream {
    pub order: Order,
    pub heat: i64,
    pub shell: i64,
    pub poured: Poured,
    /// Lost and swept.
    pub leaked: Mass,
}

/// What is known to have come out of a shell.
#[derive(Clone, Copy, Default)]
pub(super) struct Outs {
    pub net: Mass,
    pub returned: Mass,
    pub leaked: Mass,
    /// The last gross in order.
    pub gross: Option<(Order, Mass)>,
    /// The last record in order that says any of it.
    pub last: Order,
}

impl Outs {
    /// *Known out* of rule 3.
    pub fn known(&self) -> Mass {
        self.net + self.returned + self.leaked
    }
}

/// What was said of a casting.
#[derive(Clone, Copy, Default)]
pub(super) struct CastingFacts {
    /// The last net in order.
    pub net: Option<(Order, Mass)>,
    /// The first verdict, finish or scrapping in order (rule 6).
    pub judged: Option<Order>,
    /// The last verdict, finish or scrapping in order: its present state.
    pub mark: Option<(Order, u32, Mark)>,
}

/// The present state that a record gives a casting.
#[derive(Clone, Copy)]
pub(super) enum Mark {
    Good,
    Failed { kept: bool, lot: i64, returned: Option<Mass> },
}

impl<'a> Facts<'a> {
    pub fn new(cluster: &'a Cluster) -> Self {
        let mut facts = Self {
            shells: cluster.shells.iter().map(|s| (s.seq, s)).collect(),
            home: BTreeMap::new(),
            streams: cluster.entries.iter().filter_map(stream).collect(),
            closings: closings(&cluster.entries),
            charged: BTreeMap::new(),
            outs: BTreeMap::new(),
            castings: BTreeMap::new(),
        };
        for (seq, shell) in &facts.shells {
            for casting in &shell.castings {
                facts.home.entry(casting.seq).or_insert(*seq);
                facts.castings.entry(casting.seq).or_default();
            }
        }
        for heel in &cluster.heels {
            *facts.charged.entry(heel.to).or_default() += heel.mass;
        }
        for entry in &cluster.entries {
            facts.take(entry);
        }
        facts.sum_nets();
        for entry in &cluster.entries {
            if let Some((shell, pooled)) = facts.scrapped_in_shell(entry) {
                let outs = facts.outs.entry(shell).or_default();
                outs.returned += pooled.mass;
                outs.last = outs.last.max(entry.order);
            }
        }
        facts
    }

    fn take(&mut self, entry: &Entry) {
        let order = entry.order;
        match &entry.event {
            Event::Charge { heat, mass, .. } => {
                *self.charged.entry(*heat).or_default() += *mass;
            }
            Event::Leak { pour, lost, swept } => {
                let leaked = *lost + swept.map_or(Mass::ZERO, |s| s.mass);
                if let Some(stream) = self.streams.get_mut(pour) {
                    stream.leaked += leaked;
                    let outs = self.outs.entry(stream.shell).or_default();
                    outs.leaked += leaked;
                    // A leak happens at its pour but is named by its own record.
                    outs.last = outs.last.max(Order { at: stream.order.at, seq: order.seq });
                }
            }
            Event::Net { casting, net, returned } => self.net(order, *casting, *net, *returned),
            Event::Gross { shell, gross } => {
                let outs = self.outs.entry(*shell).or_default();
                if outs.gross.is_none_or(|g| g.0 <= order) {
                    outs.gross = Some((order, *gross));
                }
                outs.last = outs.last.max(order);
            }
            Event::Work { casting, .. } => {
                self.castings.entry(*casting).or_default();
            }
            Event::Judged { casting, verdict } => match *verdict {
                Verdict::NotJudged => {
                    self.castings.entry(*casting).or_default();
                }
                Verdict::Accepted | Verdict::Repair => self.mark(entry, *casting, Mark::Good),
                Verdict::Scrap { lot, kept } => {
                    let mark = Mark::Failed { kept, lot, returned: None };
                    self.mark(entry, *casting, mark);
                }
            },
            Event::Scrap { casting, returned, lot, kept } => {
                let mark = Mark::Failed { kept: *kept, lot: *lot, returned: *returned };
                self.mark(entry, *casting, mark);
            }
            Event::Finish { casting } => self.mark(entry, *casting, Mark::Good),
            _ => {}
        }
    }

    fn net(&mut self, order: Order, casting: i64, net: Option<Mass>, returned: Option<Pooled>) {
        if let Some(shell) = self.home.get(&casting) {
            let outs = self.outs.entry(*shell).or_default();
            outs.returned += returned.map_or(Mass::ZERO, |r| r.mass);
            outs.last = outs.last.max(order);
        }
        let known = self.castings.entry(casting).or_default();
        if let Some(net) = net.filter(|_| known.net.is_none_or(|n| n.0 <= order)) {
            known.net = Some((order, net));
        }
    }

    fn mark(&mut self, entry: &Entry, casting: i64, mark: Mark) {
        let (order, part) = (entry.order, entry.part);
        let known = self.castings.entry(casting).or_default();
        known.judged = Some(known.judged.map_or(order, |first| first.min(order)));
        if known.mark.is_none_or(|(o, p, _)| (o, p) <= (order, part)) {
            known.mark = Some((order, part, mark));
        }
    }

    fn sum_nets(&mut self) {
        for (casting, known) in &self.castings {
            if let (Some((_, net)), Some(shell)) = (known.net, self.home.get(casting)) {
                self.outs.entry(*shell).or_default().net += net;
            }
        }
    }

    /// What a scrapping returns out of the shell: a casting with no net on record has no
    /// metal of its own, so that what went back is gating. Where nothing was poured there
    /// is nothing to return.
    pub fn scrapped_in_shell(&self, entry: &Entry) -> Option<(i64, Pooled)> {
        let Event::Scrap { casting, returned, lot, .. } = entry.event else { return None };
        let mass = returned.filter(|m| !m.is_zero())?;
        let weighed = self.castings.get(&casting).is_some_and(|c| c.net.is_some());
        let home = *self.home.get(&casting).filter(|_| !weighed)?;
        self.streams_of(home).next()?;
        Some((home, Pooled { mass, lot }))
    }

    /// The streams into a shell, by `seq`.
    pub fn streams_of(&self, shell: i64) -> impl Iterator<Item = (i64, &RawStream)> {
        self.streams.iter().filter(move |(_, s)| s.shell == shell).map(|(seq, s)| (*seq, s))
    }

    /// The estimated metal of a shell; nothing when the shell is not on record.
    pub fn estimate(&self, shell: i64) -> Mass {
        self.shells.get(&shell).map_or(Mass::ZERO, |s| s.estimate())
    }

    /// When a shell completes (rule 6), if it does.
    pub fn completes(&self, shell: &Shell) -> Option<Order> {
        let mut latest = Order::default();
        if shell.castings.is_empty() {
            return None;
        }
        for casting in &shell.castings {
            let known = self.castings.get(&casting.seq)?;
            latest = latest.max(known.judged?).max(known.net?.0);
        }
        for (_, stream) in self.streams_of(shell.seq) {
            latest = latest.max(self.closings.get(&stream.heat)?.0);
        }
        let gross = self.outs.get(&shell.seq).and_then(|o| o.gross);
        Some(gross.map_or(latest, |(order, _)| latest.max(order)))
    }
}

fn stream(entry: &Entry) -> Option<(i64, RawStream)> {
    match entry.event {
        Event::Pour { heat, shell, poured } => {
            let (order, leaked) = (entry.order, Mass::ZERO);
            Some((order.seq, RawStream { order, heat, shell, poured, leaked }))
        }
        _ => None,
    }
}
