//! Pass 1: what mass was poured, from all live records of a cluster whatever their
//! time (docs/ledger.md, rule 3). Masses never depend on values.

use std::collections::{BTreeMap, BTreeSet};

use crate::kernel::{Mass, Order};

use super::facts::{Facts, Outs, RawStream};
use super::history::{Cluster, Poured};
use super::share::{Taker, share, share_with_floors};

/// How the mass of a stream is known, the best first.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Basis {
    /// Weighed at the pour.
    Weighed,
    /// From the gross of its shell at breakout.
    Gross,
    /// As estimated at the pour, or its floor when that is more.
    Estimated,
    /// Its share of what its closed heat has left; in an open heat, its floor.
    Shared,
}

/// One stream of metal into a shell.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Stream {
    /// When it was poured.
    pub order: Order,
    /// From which heat.
    pub heat: i64,
    /// Into which shell.
    pub shell: i64,
    /// How much.
    pub mass: Mass,
    /// How that is known.
    pub basis: Basis,
}

/// The masses of one heat.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct HeatMasses {
    /// C: all charge lines, heels taken over among them, rod not.
    pub charged: Mass,
    /// All its streams.
    pub poured: Mass,
    /// What leaked of its streams: lost and swept.
    pub leaked: Mass,
    /// Pigged at the closing.
    pub pigged: Mass,
    /// Dross at the closing.
    pub dross: Mass,
    /// Spilled.
    pub spilled: Mass,
    /// Left for the next heat.
    pub heel: Mass,
    /// What the closing cannot explain; negative when more came out than went in. 0 while
    /// the heat is open.
    pub unexplained: Mass,
    /// The closing, if there is one.
    pub closed: Option<Order>,
    /// Closed while some stream was neither weighed nor known by gross.
    pub closed_by_difference: bool,
}

/// The masses of one cluster.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Masses {
    /// Every stream by the `seq` of its pour.
    pub streams: BTreeMap<i64, Stream>,
    /// Every heat that has a record, a charge, a stream or a closing.
    pub heats: BTreeMap<i64, HeatMasses>,
}

/// Rule 3 for one cluster.
#[must_use]
pub fn masses(cluster: &Cluster) -> Masses {
    masses_of(&Facts::new(cluster), cluster)
}

pub(super) fn masses_of(facts: &Facts, cluster: &Cluster) -> Masses {
    let mut streams = BTreeMap::new();
    let filled: BTreeSet<i64> = facts.streams.values().map(|s| s.shell).collect();
    for shell in filled {
        known_streams(facts, shell, &mut streams);
    }
    let mut heats: BTreeMap<i64, HeatMasses> = cluster.heats.iter().map(|h| (h.order.seq, HeatMasses::default())).collect();
    let named = facts.charged.keys().chain(facts.closings.keys());
    for &heat in named.chain(facts.streams.values().map(|s| &s.heat)) {
        heats.entry(heat).or_default();
    }
    let floors = floors(facts, &streams);
    for (&heat, balance) in &mut heats {
        balance.charged = facts.charged.get(&heat).copied().unwrap_or_default();
        settle_heat(facts, heat, balance, &floors, &mut streams);
    }
    Masses { streams, heats }
}

/// Weighed streams and, where the shell's gross is known, all others of the shell.
fn known_streams(facts: &Facts, shell: i64, streams: &mut BTreeMap<i64, Stream>) {
    let mut weighed = Mass::ZERO;
    let mut others = Vec::new();
    for (seq, raw) in facts.streams_of(shell) {
        if let Poured::Weighed(mass) = raw.poured {
            weighed += mass;
            streams.insert(seq, raw.known(mass, Basis::Weighed));
        } else {
            others.push((seq, raw));
        }
    }
    let Some(outs) = facts.outs.get(&shell) else {
        return;
    };
    let Some((_, gross)) = outs.gross else { return };
    let left = (gross + outs.leaked - weighed).max(Mass::ZERO);
    let takers: Vec<Taker> = others.iter().map(|(seq, raw)| Taker::new(weight(facts, raw), *seq)).collect();
    for ((seq, raw), mg) in others.into_iter().zip(share(left.mg(), &takers)) {
        streams.insert(seq, raw.known(Mass::from_mg(mg), Basis::Gross));
    }
}

impl RawStream {
    fn known(&self, mass: Mass, basis: Basis) -> Stream {
        Stream { order: self.order, heat: self.heat, shell: self.shell, mass, basis }
    }
}

/// The estimate of a stream: as stated, else the estimated metal of its shell.
fn weight(facts: &Facts, raw: &RawStream) -> i64 {
    match raw.poured {
        Poured::Estimated(mass) => mass.mg(),
        Poured::Weighed(_) | Poured::Blank => facts.estimate(raw.shell).mg(),
    }
}

/// The floor of every stream that is not known yet: its share of what of the known out
/// its shell's other streams do not cover, and never less than leaked from it.
fn floors(facts: &Facts, known: &BTreeMap<i64, Stream>) -> BTreeMap<i64, Mass> {
    let mut floors = BTreeMap::new();
    let mut uncertain: BTreeMap<i64, Vec<(i64, &RawStream)>> = BTreeMap::new();
    for (&seq, raw) in facts.streams.iter().filter(|(seq, _)| !known.contains_key(seq)) {
        uncertain.entry(raw.shell).or_default().push((seq, raw));
    }
    for (shell, streams) in uncertain {
        let out = facts.outs.get(&shell).map_or(Mass::ZERO, Outs::known);
        let covered: Mass = facts.streams_of(shell).filter_map(|(s, _)| known.get(&s)).map(|s| s.mass).sum();
        let takers: Vec<Taker> = streams.iter().map(|(seq, raw)| Taker::new(weight(facts, raw), *seq)).collect();
        let shares = share((out - covered).max(Mass::ZERO).mg(), &takers);
        for ((seq, raw), mg) in streams.into_iter().zip(shares) {
            floors.insert(seq, Mass::from_mg(mg).max(raw.leaked));
        }
    }
    floors
}

/// An uncertain stream of the heat at hand.
struct Uncertain<'a> {
    seq: i64,
    raw: &'a RawStream,
    taker: Taker,
    /// The stated estimate, not below the floor; `None` for a blank one.
    stated: Option<Mass>,
}

/// Fills in the heat's figures and the masses of its uncertain streams.
fn settle_heat(
    facts: &Facts,
    heat: i64,
    balance: &mut HeatMasses,
    floors: &BTreeMap<i64, Mass>,
    streams: &mut BTreeMap<i64, Stream>,
) {
    let mut certain = Mass::ZERO;
    let mut uncertain = Vec::new();
    for (&seq, raw) in facts.streams.iter().filter(|(_, raw)| raw.heat == heat) {
        balance.leaked += raw.leaked;
        if let Some(stream) = streams.get(&seq) {
            certain += stream.mass;
            continue;
        }
        let floor = floors.get(&seq).copied().unwrap_or_default();
        let stated = match raw.poured {
            Poured::Estimated(mass) => Some(mass.max(floor)),
            Poured::Weighed(_) | Poured::Blank => None,
        };
        let taker = Taker { weight: weight(facts, raw), floor: floor.mg(), rank: seq };
        uncertain.push(Uncertain { seq, raw, taker, stated });
    }
    let Some((order, closing)) = facts.closings.get(&heat) else {
        for one in &uncertain {
            one.put(one.stated.unwrap_or(Mass::from_mg(one.taker.floor)), streams);
        }
        balance.poured = poured(heat, streams);
        return;
    };
    balance.closed = Some(*order);
    balance.pigged = closing.pigged.map_or(Mass::ZERO, |p| p.mass);
    balance.dross = closing.dross.unwrap_or_default();
    balance.spilled = closing.spilled.unwrap_or_default();
    balance.heel = closing.heel.unwrap_or_default();
    balance.closed_by_difference = !uncertain.is_empty();
    let ended = balance.pigged + balance.dross + balance.spilled + balance.heel;
    let residual = balance.charged - ended - certain;
    balance.unexplained = share_residual(residual, &uncertain, streams);
    balance.poured = poured(heat, streams);
}

impl Uncertain<'_> {
    /// Settles the mass without sharing.
    fn put(&self, mass: Mass, streams: &mut BTreeMap<i64, Stream>) {
        let basis = if self.stated.is_some() { Basis::Estimated } else { Basis::Shared };
        streams.insert(self.seq, self.raw.known(mass, basis));
    }
}

/// Shares the residual of a closed heat over its uncertain streams; answers what stays
/// unexplained.
fn share_residual(residual: Mass, uncertain: &[Uncertain], streams: &mut BTreeMap<i64, Stream>) -> Mass {
    let (blank, stated): (Vec<&Uncertain>, Vec<_>) = uncertain.iter().partition(|u| u.stated.is_none());
    let left = residual - stated.iter().filter_map(|u| u.stated).sum();
    let floors: Mass = blank.iter().map(|u| Mass::from_mg(u.taker.floor)).sum();
    let blanks_only = !blank.is_empty() && left >= floors;
    let (takers, total) = if blanks_only {
        for one in stated {
            one.put(one.stated.unwrap_or_default(), streams);
        }
        (blank, left)
    } else {
        (uncertain.iter().collect(), residual)
    };
    let given: Vec<Taker> = takers.iter().map(|u| u.taker).collect();
    let (shares, rest) = share_with_floors(total.mg(), &given);
    for (one, mg) in takers.into_iter().zip(shares) {
        streams.insert(one.seq, one.raw.known(Mass::from_mg(mg), Basis::Shared));
    }
    Mass::from_mg(rest)
}

fn poured(heat: i64, streams: &BTreeMap<i64, Stream>) -> Mass {
    streams.values().filter(|s| s.heat == heat).map(|s| s.mass).sum()
}
