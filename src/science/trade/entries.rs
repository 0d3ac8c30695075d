//! The plainer entries of the trade's tables: what they are and what they carry.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::measure::Density;

/// A station on the way of a casting at which something is seen, done or minded.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum TradeStep {
    /// Metal in stock: bought, sorted, charged.
    Metal,
    /// The wax and its mould.
    Wax,
    /// Coats, and the dip room.
    Shell,
    /// Melting out and firing.
    Burnout,
    /// Bringing shells back to heat.
    Preheat,
    /// The melt.
    Heat,
    /// Metal into shells.
    Pour,
    /// Shells off.
    Breakout,
    /// Everything after.
    Bench,
    /// Out of the house.
    Delivery,
}

/// What kind of stuff a pattern is made of.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum PatternCategory {
    /// Runs out as a liquid.
    Wax,
    /// Hardened by light.
    Resin,
    /// Printed or formed plastic.
    Filament,
    /// Expanded plastic.
    Foam,
    /// Grown, woven or made of paper.
    Organic,
    /// Something else.
    Other,
}

/// What a pattern is made of.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PatternMaterial {
    /// Code, as in a pattern's `material`.
    pub code: String,
    /// Plain name.
    pub name: String,
    /// Kind of stuff.
    pub category: PatternCategory,
    /// Density used where the shop measured none, g/cm³; null where none is known.
    pub density_g_cm3: Option<f64>,
    /// Least density seen, g/cm³.
    pub density_low: Option<f64>,
    /// Greatest density seen, g/cm³.
    pub density_high: Option<f64>,
    /// Whether it runs out as a liquid; what does not, burns.
    pub melts_out: bool,
    /// What else should be known.
    pub notes: Option<String>,
    /// Whether the density was recalled and not looked up.
    #[serde(default)]
    pub from_memory: bool,
    /// Where the density is from.
    pub source: String,
}

impl PatternMaterial {
    /// Density, where on file.
    #[must_use]
    pub fn density(&self) -> Option<Density> {
        self.density_g_cm3.and_then(Density::new)
    }
    /// Whether it gives off poisonous fume when it is heated, so far as is known.
    #[must_use]
    pub const fn fumes(&self) -> bool {
        !matches!(self.category, PatternCategory::Wax | PatternCategory::Organic)
    }
}

/// A fault that a casting may have.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Defect {
    /// Code of the international atlas, or a house code `H..`.
    pub code: String,
    /// Plain name.
    pub name: String,
    /// Class of the code's letter.
    pub category: String,
    /// What is seen.
    pub description: String,
    /// Where it is first seen.
    pub stage: TradeStep,
    /// What usually leads to it.
    pub likely_causes: Vec<String>,
    /// Where the causes are from.
    pub causes_source: String,
    /// Where code and name are from.
    pub source: String,
}

impl Defect {
    /// Whether it is one of the house's own codes.
    #[must_use]
    pub fn is_house_code(&self) -> bool {
        self.code.starts_with('H')
    }
}

/// A bench operation under its code and plain name.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OperationName {
    /// Code, as in a work record's `operation`.
    pub code: String,
    /// Plain name.
    pub name: String,
    /// Where on the way it usually falls.
    pub stage: TradeStep,
    /// What it is usually logged on.
    pub usually_on: String,
    /// What it takes in.
    pub description: String,
}

/// A unit and its way to the base unit: `(value − offset) · factor`.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct UnitFactor {
    /// Code of the unit.
    pub code: String,
    /// Plain name.
    pub name: String,
    /// What it measures.
    pub quantity: String,
    /// The base unit of that.
    pub base: String,
    /// Base units in one.
    pub factor: f64,
    /// Taken off before multiplying; only temperature has one.
    pub offset: f64,
    /// Whether the factor is exact by definition.
    pub exact: bool,
    /// Where the factor is from.
    pub source: String,
}

impl UnitFactor {
    /// A value of this unit in its base unit.
    #[must_use]
    pub fn to_base(&self, value: f64) -> f64 {
        (value - self.offset) * self.factor
    }
}
