//! Practice flags that follow from the ledger: a heat that does not balance, metal left in
//! the pot, a pour far from its estimate.

use super::load::HeatMetal;
use crate::book::flags::Flag;
use crate::kernel::quantity::half_even;
use crate::kernel::{Instant, Mass, Order, Seq};
use crate::science::ledger::history::Poured;
use crate::science::ledger::{Basis, Cluster, Event, Masses};
use crate::science::trade::Alloy;
use crate::shop::house::settings::Settings;
use crate::shop::house::trade::Trade;
use std::collections::BTreeMap;

/// The codes written here.
pub const CODES: &[&str] = &["heat_residual", "metal_left_in_pot", "mass_outside_estimate", "alloy_differs", "client_metal"];

/// What a heat may leave unexplained before it is flagged.
#[derive(Clone, Copy, Debug)]
pub struct Residual {
    /// Share of the charge, in millionths.
    per_million: i64,
    /// A weighing.
    weighing: Mass,
}

impl Residual {
    /// As the settings in force at an instant say, for what the heat is poured as and whether
    /// it is a scrap charge.
    #[must_use]
    pub fn of(settings: &Settings, alloy: Option<&Alloy>, scrap_charge: bool, at: Instant) -> Self {
        let name = match alloy {
            _ if scrap_charge => "heat_residual_scrap_percent",
            Some(alloy) if alloy.is_zinc_rich() => "heat_residual_zinc_rich_percent",
            Some(alloy) if alloy.family.is_aluminium() => "heat_residual_aluminium_percent",
            _ => "heat_residual_percent",
        };
        let steps = settings.value("heat_residual_scale_steps", at).as_i64().unwrap_or_default();
        let weighing = Mass::from_mg(steps.saturating_mul(settings.scale_step(at).mg()));
        Self { per_million: settings.per_million(name, at), weighing }
    }
    /// The limit: the larger of so many scale steps a weighing and a share of the charge.
    #[must_use]
    pub fn limit(self, charged: Mass, weighings: i64) -> Mass {
        let share = half_even(charged.mg(), self.per_million, 1_000_000);
        Mass::from_mg(share.max(self.weighing.mg().saturating_mul(weighings)))
    }
}

/// The flags of the closings and pours of a cluster.
#[must_use]
pub fn flags_of(
    cluster: &Cluster,
    masses: &Masses,
    metal: &BTreeMap<Seq, HeatMetal>,
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
                    let metal = metal.get(&closing.heat);
                    let alloy = metal.and_then(|m| trade.alloy_on(&m.alloy, settings.day(entry.order.at)));
                    let rule = Residual::of(settings, alloy, metal.is_some_and(|m| m.scrap_charge), entry.order.at);
                    let limit = rule.limit(heat.charged, weighings(cluster, closing.heat));
                    if heat.unexplained.mg().abs() > limit.mg() {
                        flags.push(Flag::new("heat_residual", limit.to_string(), heat.unexplained.to_string()));
                    }
                }
            }
            Event::Pour { shell, poured: Poured::Weighed(_), .. } => {
                flags.extend(outside_estimate(cluster, masses, *shell, entry.order, settings));
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
fn outside_estimate(cluster: &Cluster, masses: &Masses, shell: Seq, pour: Order, settings: &Settings) -> Option<Flag> {
    let stream = masses.streams.get(&pour.seq).filter(|s| s.basis == Basis::Weighed)?;
    let alone = masses.streams.values().filter(|s| s.shell == shell).count() == 1;
    let estimate = cluster.shells.iter().find(|s| s.seq == shell)?.estimate();
    if !alone || estimate.is_zero() {
        return None;
    }
    let off = (stream.mass - estimate).mg().abs();
    // How far it may be is wide, and has no source.
    let far = settings.per_million("mass_estimate_percent", pour.at);
    let percent = settings.value("mass_estimate_percent", pour.at);
    (off > half_even(estimate.mg(), far, 1_000_000))
        .then(|| Flag::new("mass_outside_estimate", format!("{estimate} ± {percent} %"), stream.mass.to_string()))
}
