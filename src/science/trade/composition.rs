//! A measured chemistry against an alloy's limits.

use std::collections::BTreeMap;

use serde::Serialize;
use utoipa::ToSchema;

use super::alloy::Alloy;

/// One element outside its limits.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct ElementOutside {
    /// Chemical symbol.
    pub element: String,
    /// What was measured, mass percent.
    pub measured: f64,
    /// The limit it passes, mass percent.
    pub limit: f64,
    /// Whether it is over its most (true) or under its least.
    pub over: bool,
}

/// What a chemistry says against the limits on file.
#[derive(Clone, PartialEq, Debug, Default, Serialize, ToSchema)]
pub struct CompositionCheck {
    /// Elements outside their limits, by symbol.
    pub outside: Vec<ElementOutside>,
    /// Elements with a limit that were not measured.
    pub not_measured: Vec<String>,
    /// Elements measured that have no limit on file and are not the balance.
    pub no_limit: Vec<String>,
}

impl CompositionCheck {
    /// Whether nothing is outside and everything with a limit was measured. Not
    /// measured is not within.
    #[must_use]
    pub fn is_within(&self) -> bool {
        self.outside.is_empty() && self.not_measured.is_empty()
    }
}

/// A chemistry in mass percent against an alloy's limits. Symbols are compared
/// whatever their case; a limit itself is within; a figure that is not a number is
/// not measured. `None` when the alloy has no limits on file.
#[must_use]
pub fn check_composition(alloy: &Alloy, measured: &BTreeMap<String, f64>) -> Option<CompositionCheck> {
    if alloy.composition.is_empty() {
        return None;
    }
    let found = |symbol: &str| {
        let hit = measured.iter().find(|(name, _)| name.trim().eq_ignore_ascii_case(symbol));
        hit.map(|(_, percent)| *percent).filter(|percent| percent.is_finite())
    };
    let mut check = CompositionCheck::default();
    for (element, limits) in &alloy.composition {
        let Some(percent) = found(element) else {
            check.not_measured.push(element.clone());
            continue;
        };
        let under = limits.min.filter(|min| percent < *min).map(|min| (min, false));
        let over = limits.max.filter(|max| percent > *max).map(|max| (max, true));
        if let Some((limit, over)) = under.or(over) {
            let element = element.clone();
            check.outside.push(ElementOutside { element, measured: percent, limit, over });
        }
    }
    check.no_limit = measured
        .keys()
        .map(|name| name.trim())
        .filter(|name| {
            let is = |symbol: &str| symbol.eq_ignore_ascii_case(name);
            !alloy.composition.keys().any(|symbol| is(symbol)) && !alloy.balance.as_deref().is_some_and(is)
        })
        .map(ToOwned::to_owned)
        .collect();
    Some(check)
}
