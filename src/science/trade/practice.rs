//! Rules of thumb, windows and defaults: the shop's to set, each with its source.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::alloy::MetalGroup;
use crate::kernel::quantity::{Celsius, Millimetres};

/// What the book does with a rule.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum PracticeUse {
    /// A record outside it is flagged, never refused.
    Flag,
    /// Past it the book refuses.
    Refuse,
    /// Used where the shop has set or measured nothing.
    Default,
    /// Shown, never acted on.
    Advice,
    /// An input of the cooling estimate.
    Model,
}

/// One rule: a figure, or a spread, or both.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Practice {
    /// Code.
    pub code: String,
    /// Plain name.
    pub name: String,
    /// What the book does with it.
    #[serde(rename = "use")]
    pub usage: PracticeUse,
    /// Unit of the figures.
    pub unit: String,
    /// The figure used.
    pub value: Option<f64>,
    /// Lower end of the window or spread.
    pub low: Option<f64>,
    /// Upper end of the window or spread.
    pub high: Option<f64>,
    /// What else should be known.
    pub note: Option<String>,
    /// Where it is from.
    pub source: String,
}

/// Where a temperature stands against a window.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Reading {
    /// Under the lower end.
    Cool,
    /// Neither.
    Within,
    /// Over the upper end.
    Hot,
}

/// A window of shell temperature at the pour, by metal and thinnest section.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ShellWindow {
    /// Which metal.
    pub metal: MetalGroup,
    /// From this section on, mm; null: from nothing.
    pub section_from_mm: Option<f64>,
    /// Below this section, mm; null: without end.
    pub section_below_mm: Option<f64>,
    /// A shell under this is cool, °C.
    pub low_c: Option<f64>,
    /// A shell over this is hot, °C.
    pub high_c: Option<f64>,
    /// Where it is from.
    pub source: String,
}

impl ShellWindow {
    /// Whether it speaks of this metal at this section.
    #[must_use]
    pub fn holds(&self, metal: MetalGroup, section: Millimetres) -> bool {
        self.metal == metal
            && self.section_from_mm.is_none_or(|from| section.get() >= from)
            && self.section_below_mm.is_none_or(|below| section.get() < below)
    }
    /// Where a shell's temperature stands against it; an end itself is within.
    #[must_use]
    pub fn reading(&self, shell: Celsius) -> Reading {
        if self.low_c.is_some_and(|low| shell.get() < low) {
            Reading::Cool
        } else if self.high_c.is_some_and(|high| shell.get() > high) {
            Reading::Hot
        } else {
            Reading::Within
        }
    }
}

/// A first recipe to edit, by the size of the work.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CoatsBySize {
    /// Size in words.
    pub name: String,
    /// Longest dimension it serves, mm; null: any.
    pub to_mm: Option<f64>,
    /// Prime coats.
    pub prime: u8,
    /// Fewest backup coats.
    pub backup_low: u8,
    /// Most backup coats.
    pub backup_high: u8,
    /// Seal coats.
    pub seal: u8,
    /// Where it is from.
    pub source: String,
}
