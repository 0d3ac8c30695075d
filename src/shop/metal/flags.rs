//! Practice flags that follow from the ledger: a heat that does not balance, metal left in
//! the pot, a pour far from its estimate.

use crate::book::flags::Flag;
use crate::kernel::{Mass, Seq};
use crate::science::ledger::history::Poured;
use crate::science::ledger::{Basis, Cluster, Event, Masses};
use crate::science::trade::Alloy;
use crate::shop::house::settings::Settings;
use crate::shop::house::trade::Trade;
use std::collections::BTreeMap;

/// The codes written here.
pub const CODES: &[&str] = &["heat_residual", "metal_left_in_pot", "mass_outside_estimate", "alloy_differs", "client_metal"];

/// How far a weighed pour may be from the estimate of its shell, in percent (wide, no source).
const ESTIMATE_PERCENT: i64 = 25;

/// The share of the charge that may be left unexplained before it is flagged: 2 %, 3 %
/// aluminium, 5 % zinc-rich (common practice, no source).
#[must_use]
pub fn residual_percent(alloy: Option<&Alloy>) -> i64 {
    match alloy {
        Some(alloy) if alloy.is_zinc_rich() => 5,
        Some(alloy) if alloy.family.is_aluminium() => 3,
        _ => 2,
    }
}

/// The limit of a heat's residual: the larger of two scale steps a weighing and a share of
/// the charge. It only flags.
#[must_use]
pub fn residual_limit(percent: i64, charged: Mass, step: Mass, weighings: i64) -> Mass {
    Mass::from_mg((charged.mg() / 100 * percent).max(2 * step.mg() * weighings))
}

/// The flags of the closings and pours of a cluster.
#[must_use]
pub fn flags_of(
    cluster: &Cluster,
    masses: &Masses,
    alloys: &BTreeMap<Seq, String>,
    trade: &Trade,
    settings: &Settings,
) -> Vec<(Seq, Vec<Flag>)> {
    let mut out = Vec::new();
    for entry in &cluster.entries {
        let mut flags = Vec::new();
        match &entry.event {
            Event::Closing(closing) => {
                if let Some(heel) = closing.heel.filter(|m| !m.is_zero()) {
                    flags.push(Flag::new("metal_left_in_pot", "none: pigged into hot, dry moulds", heel.to_string()));
                }
                if let Some(heat) = masses.heats.get(&closing.heat) {
                    let percent = residual_percent(alloys.get(&closing.heat).and_then(|a| trade.alloy(a)));
                    let step = settings.scale_step(entry.order.at);
                    let limit = residual_limit(percent, heat.charged, step, weighings(cluster, closing.heat));
                    if heat.unexplained.mg().abs() > limit.mg() {
                        flags.push(Flag::new("heat_residual", limit.to_string(), heat.unexplained.to_string()));
                    }
                }
            }
            Event::Pour { shell, poured: Poured::Weighed(_), .. } => {
                flags.extend(outside_estimate(cluster, masses, *shell, entry.order.seq));
            }
            Event::Pour { .. } => {}
            _ => continue,
        }
        out.push((entry.order.seq, flags));
    }
    out
}

/// How often metal was weighed for a heat: its charge lines, its weighed pours, its closing.
fn weighings(cluster: &Cluster, heat: Seq) -> i64 {
    let weighed = cluster.entries.iter().filter(|e| match &e.event {
        Event::Charge { heat: of, .. } => *of == heat,
        Event::Pour { heat: of, poured: Poured::Weighed(_), .. } => *of == heat,
        _ => false,
    });
    i64::try_from(weighed.count()).unwrap_or(0) + 1
}

/// A shell filled by one weighed stream, far from what pattern and gating said.
fn outside_estimate(cluster: &Cluster, masses: &Masses, shell: Seq, pour: Seq) -> Option<Flag> {
    let stream = masses.streams.get(&pour).filter(|s| s.basis == Basis::Weighed)?;
    let alone = masses.streams.values().filter(|s| s.shell == shell).count() == 1;
    let estimate = cluster.shells.iter().find(|s| s.seq == shell)?.estimate();
    if !alone || estimate.is_zero() {
        return None;
    }
    let off = (stream.mass - estimate).mg().abs();
    (off > estimate.mg() / 100 * ESTIMATE_PERCENT)
        .then(|| Flag::new("mass_outside_estimate", format!("{estimate} ± {ESTIMATE_PERCENT} %"), stream.mass.to_string()))
}
