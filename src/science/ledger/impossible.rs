//! What cannot have happened, as typed results: the caller refuses the write.

use crate::kernel::{Mass, Order};

use super::facts::{Facts, Outs};
use super::history::{Cluster, Entry, Event, Poured};
use super::masses::{Basis, HeatMasses, Masses};

/// Something that no shop can do. `source` is the `seq` of the record to blame: the
/// last in order among those that contradict each other. All masses are positive.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Impossible {
    /// More metal came out of a shell than its weighed streams or its gross allow.
    ShellOverdrawn {
        /// The last record that says what came out.
        source: i64,
        /// The shell.
        shell: i64,
        /// How much too much.
        over: Mass,
    },
    /// More metal was returned from a casting than was on it.
    CastingOverdrawn {
        /// The record of the return.
        source: i64,
        /// The casting.
        casting: i64,
        /// How much too much.
        over: Mass,
    },
    /// A closing leaves more than 10 % of the charge unexplained, one way or the other.
    Residual {
        /// The closing.
        source: i64,
        /// The heat.
        heat: i64,
        /// The size of the residual.
        residual: Mass,
    },
    /// Metal was charged into a heat after its closing; also a heel taken over.
    ChargedAfterClosing {
        /// The charge, or the heat that took the heel.
        source: i64,
        /// The heat.
        heat: i64,
        /// How much.
        mass: Mass,
    },
    /// Metal was poured from a heat after its closing.
    PouredAfterClosing {
        /// The pour.
        source: i64,
        /// The heat.
        heat: i64,
        /// How much.
        mass: Mass,
    },
    /// A heat has a second closing; the first counts.
    ClosedTwice {
        /// The later closing.
        source: i64,
        /// The heat.
        heat: i64,
    },
    /// A record gives a mass below 0.
    NegativeMass {
        /// The record.
        source: i64,
        /// How far below.
        under: Mass,
    },
}

/// The shop's scale: what it may be off decides only what is [`Impossible`].
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Scale {
    /// The smallest mass that it shows.
    pub step: Mass,
    /// The share of a mass that it may be off, in millionths.
    pub per_million: i64,
}

impl Impossible {
    /// The record that cannot stand while this is so: of a heat that does not balance, the heat;
    /// else the one to blame.
    #[must_use]
    pub const fn rests(&self) -> i64 {
        match *self {
            Self::Residual { heat, .. } => heat,
            Self::ShellOverdrawn { source, .. }
            | Self::CastingOverdrawn { source, .. }
            | Self::ChargedAfterClosing { source, .. }
            | Self::PouredAfterClosing { source, .. }
            | Self::ClosedTwice { source, .. }
            | Self::NegativeMass { source, .. } => source,
        }
    }
    /// How much metal it is about; nothing for a second closing.
    #[must_use]
    pub const fn mass(&self) -> Mass {
        match *self {
            Self::ShellOverdrawn { over: mass, .. }
            | Self::CastingOverdrawn { over: mass, .. }
            | Self::Residual { residual: mass, .. }
            | Self::ChargedAfterClosing { mass, .. }
            | Self::PouredAfterClosing { mass, .. }
            | Self::NegativeMass { under: mass, .. } => mass,
            Self::ClosedTwice { .. } => Mass::ZERO,
        }
    }
}

/// The larger of the scale's step and its share of the mass moved: what it may be off.
#[must_use]
pub fn tolerance(scale: Scale, moved: Mass) -> Mass {
    let share = i128::from(moved.mg()).abs() * i128::from(scale.per_million) / 1_000_000;
    scale.step.max(i64::try_from(share).map_or(Mass::MAX, Mass::from_mg))
}

/// All that is impossible in one cluster by its masses alone.
pub(super) fn impossible(facts: &Facts, cluster: &Cluster, masses: &Masses, scale: Scale) -> Vec<Impossible> {
    let mut found: Vec<Impossible> = cluster.entries.iter().filter_map(negative_mass).collect();
    found.extend(facts.outs.iter().filter_map(|(shell, outs)| overdrawn(masses, *shell, outs, scale)));
    for (&heat, balance) in &masses.heats {
        if let Some(closed) = balance.closed {
            found.extend(residual(heat, balance, closed, scale.step));
            found.extend(cluster.entries.iter().filter_map(|e| late(e, heat, closed, masses)));
            let heels = cluster.heels.iter().filter(|h| h.to == heat);
            let lit = cluster.heats.iter().find(|h| h.order.seq == heat && h.order > closed);
            found.extend(lit.into_iter().flat_map(|_| heels.clone()).map(|h| Impossible::ChargedAfterClosing {
                source: heat,
                heat,
                mass: h.mass,
            }));
        }
    }
    found
}

/// Whether a shell gave more than it can have held: more than its gross, when that is
/// known, or more than was poured, when all of it was weighed.
fn overdrawn(masses: &Masses, shell: i64, outs: &Outs, scale: Scale) -> Option<Impossible> {
    let mut streams = masses.streams.values().filter(|s| s.shell == shell).peekable();
    streams.peek()?;
    let (mut poured, mut all_weighed) = (Mass::ZERO, true);
    for stream in streams {
        poured += stream.mass;
        all_weighed &= stream.basis == Basis::Weighed;
    }
    let gross = outs.gross.map(|(_, gross)| gross);
    let beyond_gross = gross.map_or(Mass::ZERO, |g| beyond(outs.net + outs.returned, g, scale));
    let out = outs.known().max(gross.map_or(Mass::ZERO, |g| g + outs.leaked));
    let beyond_poured = if all_weighed { beyond(out, poured, scale) } else { Mass::ZERO };
    let over = beyond_gross.max(beyond_poured);
    (over > Mass::ZERO).then_some(Impossible::ShellOverdrawn { source: outs.last.seq, shell, over })
}

/// By how much one mass exceeds another, if beyond tolerance; else nothing.
fn beyond(mass: Mass, limit: Mass, scale: Scale) -> Mass {
    let over = mass - limit;
    if over > tolerance(scale, limit) { over } else { Mass::ZERO }
}

fn residual(heat: i64, balance: &HeatMasses, closed: Order, step: Mass) -> Option<Impossible> {
    let residual = balance.unexplained.max(-balance.unexplained);
    let limit = step.max(Mass::from_mg(balance.charged.mg() / 10));
    let source = closed.seq;
    (residual > limit).then_some(Impossible::Residual { source, heat, residual })
}

/// What an entry does to a heat after its closing.
fn late(entry: &Entry, heat: i64, closed: Order, masses: &Masses) -> Option<Impossible> {
    let source = entry.order.seq;
    // A pour and a closing of one minute: whichever was recorded first, metal was poured
    // before the heat was closed.
    let same_minute = matches!(entry.event, Event::Pour { .. }) && entry.order.at == closed.at;
    if entry.order <= closed || same_minute {
        return None;
    }
    match entry.event {
        Event::Charge { heat: to, mass, .. } if to == heat => Some(Impossible::ChargedAfterClosing { source, heat, mass }),
        Event::Pour { heat: from, .. } if from == heat => {
            let mass = masses.streams.get(&source).map_or(Mass::ZERO, |s| s.mass);
            Some(Impossible::PouredAfterClosing { source, heat, mass })
        }
        Event::Closing(closing) if closing.heat == heat => Some(Impossible::ClosedTwice { source, heat }),
        _ => None,
    }
}

/// A mass below 0 in an entry; `derive_cluster` asks this of all of its own entries, the
/// caller of those of lots alone.
#[must_use]
pub fn negative_mass(entry: &Entry) -> Option<Impossible> {
    let none = Mass::ZERO;
    let least = match &entry.event {
        Event::LotIn { mass, .. }
        | Event::LotOut { mass, .. }
        | Event::LotCount { level: mass, .. }
        | Event::LotTransfer { mass, .. }
        | Event::Charge { mass, .. }
        | Event::Gross { gross: mass, .. }
        | Event::Pour { poured: Poured::Weighed(mass) | Poured::Estimated(mass), .. } => *mass,
        Event::Leak { lost, swept, .. } => swept.map_or(none, |s| s.mass).min(*lost),
        Event::Closing(c) => {
            let others = [c.dross, c.spilled, c.heel, c.pigged.map(|p| p.mass)];
            others.into_iter().flatten().min().unwrap_or_default()
        }
        Event::Net { net, returned, .. } => [*net, returned.map(|r| r.mass)].into_iter().flatten().min().unwrap_or_default(),
        Event::Scrap { returned, .. } => returned.unwrap_or_default(),
        Event::Work { rod, mass_after, .. } => [rod.map(|r| r.mass), *mass_after].into_iter().flatten().min().unwrap_or_default(),
        _ => none,
    };
    (least < none).then_some(Impossible::NegativeMass { source: entry.order.seq, under: -least })
}
