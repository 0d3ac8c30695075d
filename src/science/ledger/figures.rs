//! What rests where once all is walked: heats, shells, castings, and the metal cost of
//! a job (docs/ledger.md, *Metal cost of a job*).

use std::collections::BTreeMap;

use crate::kernel::{Mass, Money, Order};

use super::account::Account;
use super::facts::{CastingFacts, Facts, Mark};
use super::history::Shell;
use super::journal::Journal;
use super::masses::{HeatMasses, Masses, Stream};
use super::share::share;
use super::stock::at_unit;
use super::value::parts;

/// The figures of one cluster, or of a whole book.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Figures {
    /// Every stream by the `seq` of its pour.
    pub streams: BTreeMap<i64, Stream>,
    /// Every heat.
    pub heats: BTreeMap<i64, HeatBalance>,
    /// Every shell.
    pub shells: BTreeMap<i64, ShellBalance>,
    /// Every casting that is in a shell or has an entry.
    pub castings: BTreeMap<i64, CastingBalance>,
}

/// The balance of one heat.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct HeatBalance {
    /// Its masses; C is `charged`.
    pub masses: HeatMasses,
    /// V: the value of its charge lines. V/C is its unit value.
    pub value: Money,
    /// The value that stands on it now: all of it less what went with returns, with its
    /// heel and, once closed, into its shells.
    pub standing: Money,
}

/// The balance of one shell.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct ShellBalance {
    /// All its streams.
    pub poured: Mass,
    /// Lost and swept.
    pub leaked: Mass,
    /// The nets of its castings so far on record.
    pub net: Mass,
    /// Returned from it as gating.
    pub returned: Mass,
    /// Its gross at breakout.
    pub gross: Option<Mass>,
    /// The mass that lies in it now.
    pub mass: Mass,
    /// The value that stands on it now.
    pub standing: Money,
    /// When it was complete (rule 6).
    pub complete: Option<Order>,
}

/// What became of a casting, by the last of its verdicts, finish and scrapping.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum State {
    /// No verdict yet.
    #[default]
    Open,
    /// Accepted, to be repaired, or finished.
    Good,
    /// Scrapped.
    Failed,
}

/// The balance of one casting.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct CastingBalance {
    /// The mass that is on it now.
    pub mass: Mass,
    /// Its resting value: what it holds, or held when delivered.
    pub resting: Money,
    /// Its share of the value that stands on its shell while that is not complete.
    pub share: Money,
    /// Its net.
    pub net: Option<Mass>,
    /// Its share, by estimated metal, of what was poured into its shell.
    pub poured: Mass,
    /// half-even(net · V/C), over several heats in parts.
    pub net_at_unit: Money,
    /// What became of it.
    pub state: State,
    /// Its figures may still change with what is not yet known: its shell was poured
    /// and is not complete, or one of its heats is closed by difference.
    pub provisional: bool,
}

/// The metal cost of a job, in minor units.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct JobCost {
    /// All value resting on its castings, shares of shells not complete among it.
    pub total: Money,
    /// The nets of its good castings at their heats' unit values.
    pub accepted: Money,
    /// What rests on its failed castings.
    pub recast: Money,
    /// The rest; may be negative.
    pub lost: Money,
    /// The nets of its good castings.
    pub net: Mass,
    /// What was poured for all its castings.
    pub poured: Mass,
    /// Whether any of it may still change.
    pub provisional: bool,
}

/// The metal cost of a job: hand in the balances of all castings of its pieces, failed
/// attempts included.
pub fn job_cost<'a>(castings: impl IntoIterator<Item = &'a CastingBalance>) -> JobCost {
    let mut cost = JobCost::default();
    for casting in castings {
        let resting = casting.resting + casting.share;
        cost.total += resting;
        cost.poured += casting.poured;
        cost.provisional |= casting.provisional;
        match casting.state {
            State::Open => {}
            State::Good => {
                cost.accepted += casting.net_at_unit;
                cost.net += casting.net.unwrap_or_default();
            }
            State::Failed => cost.recast += resting,
        }
    }
    cost.lost = cost.total - cost.accepted - cost.recast;
    cost
}

impl Figures {
    /// Adds the figures of another cluster.
    pub fn extend(&mut self, other: Self) {
        self.streams.extend(other.streams);
        self.heats.extend(other.heats);
        self.shells.extend(other.shells);
        self.castings.extend(other.castings);
    }

    pub(super) fn new(
        facts: &Facts,
        masses: &Masses,
        journal: &Journal,
        pairs: &BTreeMap<i64, (Mass, Money)>,
        delivered: &BTreeMap<i64, Money>,
    ) -> Self {
        let heats = masses.heats.iter().map(|(&seq, &masses)| {
            let value = pairs.get(&seq).map_or(Money::ZERO, |p| p.1);
            let standing = journal.holds(Account::Heat(seq)).1;
            (seq, HeatBalance { masses, value, standing })
        });
        let mut figures = Self { streams: masses.streams.clone(), heats: heats.collect(), ..Self::default() };
        let known = facts.castings.iter().map(|(seq, known)| (*seq, balance(*seq, known, journal)));
        figures.castings = known.collect();
        for (casting, sent) in delivered {
            figures.castings.entry(*casting).or_default().resting += *sent;
        }
        for shell in facts.shells.values() {
            figures.fill_shell(facts, masses, journal, pairs, shell);
        }
        figures
    }

    /// The shell's balance, and what its castings have from it.
    fn fill_shell(
        &mut self,
        facts: &Facts,
        masses: &Masses,
        journal: &Journal,
        pairs: &BTreeMap<i64, (Mass, Money)>,
        shell: &Shell,
    ) {
        let outs = facts.outs.get(&shell.seq).copied().unwrap_or_default();
        let (mass, standing) = journal.holds(Account::Shell(shell.seq));
        let streams: Vec<&Stream> = masses.streams.values().filter(|s| s.shell == shell.seq).collect();
        let poured: Mass = streams.iter().map(|s| s.mass).sum();
        let gross = outs.gross.map(|g| g.1);
        let (net, returned, leaked) = (outs.net, outs.returned, outs.leaked);
        let complete = facts.completes(shell);
        let balance = ShellBalance { poured, leaked, net, returned, gross, mass, standing, complete };
        self.shells.insert(shell.seq, balance);
        let unsure = |s: &&Stream| masses.heats.get(&s.heat).is_some_and(|h| h.closed_by_difference);
        let provisional = !streams.is_empty() && complete.is_none() || streams.iter().any(unsure);
        let takers = shell.takers();
        let waiting = if complete.is_none() { standing } else { Money::ZERO };
        let shares = share(waiting.minor(), &takers).into_iter().zip(share(poured.mg(), &takers));
        for (casting, (minor, mg)) in shell.castings.iter().zip(shares) {
            let found = self.castings.entry(casting.seq).or_default();
            found.share = Money::from_minor(minor);
            found.poured = Mass::from_mg(mg);
            found.provisional = provisional;
            let net = found.net.unwrap_or_default();
            let by_heat = parts(masses, Some(shell.seq), Order::new(i64::MAX, i64::MAX), net);
            found.net_at_unit = by_heat.into_iter().filter_map(|(heat, part)| Some(at_unit(*pairs.get(&heat?)?, part))).sum();
        }
    }
}

/// What is on a casting and what was said of it.
fn balance(casting: i64, known: &CastingFacts, journal: &Journal) -> CastingBalance {
    let (mass, resting) = journal.holds(Account::Casting(casting));
    let state = match known.mark {
        None => State::Open,
        Some((_, _, Mark::Good)) => State::Good,
        Some((_, _, Mark::Failed { .. })) => State::Failed,
    };
    let net = known.net.map(|n| n.1);
    CastingBalance { mass, resting, net, state, ..CastingBalance::default() }
}
