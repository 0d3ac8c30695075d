//! The metal of a job, in its three parts: docs/ledger.md, *Metal cost of a job*.

use crate::kernel::{Mass, Money};
use crate::shop::metal::CastingFigures;
use serde_json::{Value, json};

/// The metal cost of some castings.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct MetalCost {
    /// Nets of good castings at their heats' unit values.
    pub accepted: Money,
    /// All value resting on failed castings.
    pub recast: Money,
    /// All value.
    pub total: Money,
    /// Nets of good castings.
    pub net: Mass,
    /// What was poured for all of them.
    pub poured: Mass,
    /// Whether any of it may still change.
    pub provisional: bool,
}

impl MetalCost {
    /// Of one casting.
    #[must_use]
    pub fn of(f: &CastingFigures) -> Self {
        let total = f.resting + f.share;
        let (accepted, recast, net) = match f.state.as_str() {
            "good" => (f.at_unit, Money::ZERO, f.net.unwrap_or_default()),
            "failed" => (Money::ZERO, total, Mass::ZERO),
            _ => (Money::ZERO, Money::ZERO, Mass::ZERO),
        };
        Self { accepted, recast, total, net, poured: f.poured, provisional: f.provisional }
    }
    /// With another's.
    #[must_use]
    pub fn plus(self, other: Self) -> Self {
        Self {
            accepted: self.accepted + other.accepted,
            recast: self.recast + other.recast,
            total: self.total + other.total,
            net: self.net + other.net,
            poured: self.poured + other.poured,
            provisional: self.provisional || other.provisional,
        }
    }
    /// The rest; may be negative.
    #[must_use]
    pub fn lost(&self) -> Money {
        self.total - self.accepted - self.recast
    }
    /// As answered.
    #[must_use]
    pub fn json(&self) -> Value {
        json!({
            "accepted_minor": self.accepted.minor(), "lost_minor": self.lost().minor(), "recast_minor": self.recast.minor(),
            "total_minor": self.total.minor(), "net_kg": self.net.kg(), "poured_kg": self.poured.kg()
        })
    }
}

/// Its JSON Schema.
pub fn metal_schema() -> Value {
    let whole = json!({"type": "integer"});
    json!({"type": "object", "required": ["net_kg", "poured_kg"], "properties": {
        "accepted_minor": whole, "lost_minor": whole, "recast_minor": whole, "total_minor": whole,
        "net_kg": {"type": "number"}, "poured_kg": {"type": "number"}}})
}
