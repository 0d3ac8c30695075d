//! Casting alloys as the file `data/trade/alloys.toml` has them.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::measure::{Density, Fraction, LatentHeat, SpecificHeat};
use crate::kernel::quantity::Celsius;

/// Zinc, in mass percent, from which an alloy counts as zinc-rich. Common practice,
/// no source; `practice.toml` shows the same figure and a test holds them together.
pub const ZINC_RICH_PERCENT: f64 = 10.0;
/// Lead, in mass percent, from which an alloy counts as leaded. Common practice, no
/// source; see [`ZINC_RICH_PERCENT`].
pub const LEADED_PERCENT: f64 = 1.0;

/// The kind of metal, as founders group it.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum AlloyFamily {
    /// Copper with silicon.
    SiliconBronze,
    /// Copper with zinc and silicon.
    SiliconBrass,
    /// Copper with tin.
    TinBronze,
    /// Copper with tin and some lead.
    LeadedTinBronze,
    /// Copper with tin, lead and zinc alike.
    LeadedRedBrass,
    /// Copper with aluminium.
    AluminiumBronze,
    /// High-zinc copper with manganese and aluminium.
    ManganeseBronze,
    /// Copper with nickel and zinc.
    NickelSilver,
    /// Copper with zinc, manganese and nickel.
    WhiteBronze,
    /// Aluminium alloys.
    Aluminium,
    /// Zinc alloys.
    Zinc,
    /// Silver alloys.
    Silver,
    /// Grey iron.
    GreyIron,
    /// Stainless steel.
    StainlessSteel,
}

/// The base metal, as far as shell windows and crucibles tell it apart.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum MetalGroup {
    /// Bronzes, brasses and nickel silvers.
    CopperBase,
    /// Aluminium alloys.
    Aluminium,
    /// Everything else.
    Other,
}

impl AlloyFamily {
    /// The base metal of the family.
    #[must_use]
    pub const fn group(self) -> MetalGroup {
        match self {
            Self::SiliconBronze
            | Self::SiliconBrass
            | Self::TinBronze
            | Self::LeadedTinBronze
            | Self::LeadedRedBrass
            | Self::AluminiumBronze
            | Self::ManganeseBronze
            | Self::NickelSilver
            | Self::WhiteBronze => MetalGroup::CopperBase,
            Self::Aluminium => MetalGroup::Aluminium,
            Self::Zinc | Self::Silver | Self::GreyIron | Self::StainlessSteel => MetalGroup::Other,
        }
    }
    /// Whether copper is the base.
    #[must_use]
    pub const fn is_copper_base(self) -> bool {
        matches!(self.group(), MetalGroup::CopperBase)
    }
    /// Whether aluminium is the base.
    #[must_use]
    pub const fn is_aluminium(self) -> bool {
        matches!(self.group(), MetalGroup::Aluminium)
    }
}

/// Limits of one element in mass percent; either side may be open.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Limits {
    /// Least, in mass percent.
    pub min: Option<f64>,
    /// Most, in mass percent.
    pub max: Option<f64>,
}

/// A range of temperature in °C.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Band {
    /// Lower end, °C.
    pub low: f64,
    /// Upper end, °C.
    pub high: f64,
}

/// An alloy with what is known of it and where that is from. A figure without a
/// source is absent, never guessed.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Alloy {
    /// What it is ordered by: UNS number, or the Aluminum Association's.
    pub designation: String,
    /// Other names it is found by.
    #[serde(default)]
    pub aliases: Vec<String>,
    /// What people call it.
    pub common_name: String,
    /// The kind of metal.
    pub family: AlloyFamily,
    /// Density at room temperature, g/cm³.
    pub density_g_cm3: Option<f64>,
    /// Solidus, °C.
    pub solidus_c: Option<f64>,
    /// Liquidus, °C.
    pub liquidus_c: Option<f64>,
    /// Lower end of the pouring range, light and heavy castings together, °C.
    pub pour_min_c: Option<f64>,
    /// Upper end of the pouring range, °C.
    pub pour_max_c: Option<f64>,
    /// Pouring range advised for light castings, °C.
    pub pour_light_c: Option<Band>,
    /// Pouring range advised for heavy castings, °C.
    pub pour_heavy_c: Option<Band>,
    /// Linear patternmaker's shrinkage, percent of the casting.
    pub shrinkage_percent: Option<f64>,
    /// Specific heat of the solid, J/(kg·K).
    pub specific_heat_j_kgk: Option<f64>,
    /// Thermal conductivity, W/(m·K).
    pub conductivity_w_mk: Option<f64>,
    /// Latent heat of fusion, kJ/kg.
    pub latent_heat_kj_kg: Option<f64>,
    /// How much dross it forms, in words.
    pub drossing: Option<String>,
    /// How readily it takes up gas, in words.
    pub gassing: Option<String>,
    /// How well it runs, in words.
    pub fluidity: Option<String>,
    /// Limits by element, in mass percent.
    #[serde(default)]
    pub composition: BTreeMap<String, Limits>,
    /// The element that makes up the rest.
    pub balance: Option<String>,
    /// What else should be known.
    pub notes: Option<String>,
    /// Source by group of fields; see [`Alloy::source_of`].
    #[serde(default)]
    pub sources: BTreeMap<String, String>,
    /// Fields recalled and not looked up.
    #[serde(default)]
    pub from_memory: Vec<String>,
}

impl Alloy {
    /// Density, where on file.
    #[must_use]
    pub fn density(&self) -> Option<Density> {
        self.density_g_cm3.and_then(Density::new)
    }
    /// Liquidus, where on file.
    #[must_use]
    pub fn liquidus(&self) -> Option<Celsius> {
        self.liquidus_c.and_then(Celsius::new)
    }
    /// Solidus, where on file.
    #[must_use]
    pub fn solidus(&self) -> Option<Celsius> {
        self.solidus_c.and_then(Celsius::new)
    }
    /// Linear shrinkage, where on file.
    #[must_use]
    pub fn shrinkage(&self) -> Option<Fraction> {
        self.shrinkage_percent.and_then(Fraction::from_percent)
    }
    /// Specific heat of the solid, where on file.
    #[must_use]
    pub fn specific_heat(&self) -> Option<SpecificHeat> {
        self.specific_heat_j_kgk.and_then(SpecificHeat::new)
    }
    /// Latent heat of fusion, where on file.
    #[must_use]
    pub fn latent_heat(&self) -> Option<LatentHeat> {
        self.latent_heat_kj_kg.and_then(|kj| LatentHeat::new(kj * 1e3))
    }
    /// The pouring window; `None` where none, or only one temperature, is on file.
    #[must_use]
    pub fn pour_window(&self) -> Option<(Celsius, Celsius)> {
        let low = self.pour_min_c.and_then(Celsius::new)?;
        let high = self.pour_max_c.and_then(Celsius::new)?;
        (low < high).then_some((low, high))
    }
    /// Whether its zinc is [`ZINC_RICH_PERCENT`] or more, by its least or as balance.
    #[must_use]
    pub fn is_zinc_rich(&self) -> bool {
        self.balance.as_deref() == Some("Zn") || self.least("Zn") >= ZINC_RICH_PERCENT
    }
    /// Whether its lead is [`LEADED_PERCENT`] or more by its least, or may reach over
    /// that by its most.
    #[must_use]
    pub fn is_leaded(&self) -> bool {
        let most = self.composition.get("Pb").and_then(|limits| limits.max).unwrap_or(0.0);
        self.least("Pb") >= LEADED_PERCENT || most > LEADED_PERCENT
    }
    /// Whether it burns in the pot or as dust: aluminium, or zinc-rich.
    #[must_use]
    pub fn is_aluminium_or_zinc_rich(&self) -> bool {
        self.family.is_aluminium() || self.is_zinc_rich()
    }
    fn least(&self, element: &str) -> f64 {
        self.composition.get(element).and_then(|limits| limits.min).unwrap_or(0.0)
    }
    /// Whether a field of this name was recalled and not looked up.
    #[must_use]
    pub fn is_from_memory(&self, field: &str) -> bool {
        self.from_memory.iter().any(|name| name == field)
    }
    /// The source of a field, by the group it belongs to.
    #[must_use]
    pub fn source_of(&self, field: &str) -> Option<&str> {
        let group = match field {
            "composition" | "balance" => "composition",
            "density_g_cm3" | "specific_heat_j_kgk" | "conductivity_w_mk" | "latent_heat_kj_kg" => "physical",
            "solidus_c" | "liquidus_c" => "melting",
            "pour_min_c" | "pour_max_c" | "pour_light_c" | "pour_heavy_c" => "pour",
            "shrinkage_percent" => "shrinkage",
            "drossing" | "gassing" | "fluidity" => "behaviour",
            _ => return None,
        };
        self.sources.get(group).map(String::as_str)
    }
}
