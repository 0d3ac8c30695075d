//! Factors: what reports count by, and how a level is shown.
//!
//! The alloy is the one poured; the kiln that of the last burnout. A time is the pour's (of
//! what was never poured: its loss). Bands reach from their lower edge up to, and without,
//! the upper one.

use super::ask::Ask;
use crate::desk::facts;
use crate::kernel::Instant;
use crate::shop::house::settings::Settings;
use serde_json::{Value, json};

macro_rules! factors {
    ($($name:ident $text:literal;)*) => {
        /// What a report may count by.
        #[derive(Clone, Copy, PartialEq, Eq, Debug)]
        pub enum Factor { $(#[doc = $text] $name,)* }

        impl Factor {
            /// All of them.
            pub const ALL: &'static [Self] = &[$(Self::$name,)*];
            /// As callers name it.
            #[must_use]
            pub const fn name(self) -> &'static str { match self { $(Self::$name => $text,)* } }
        }
    };
}

factors! {
    Alloy "alloy";
    Recipe "recipe";
    RecipeVersion "recipe_version";
    Support "support";
    Furnace "furnace";
    Kiln "kiln";
    Crucible "crucible";
    Pattern "pattern";
    PatternMaterial "pattern_material";
    Section "section_band";
    ShellTemperature "shell_temperature_band";
    Superheat "superheat_band";
    MinutesOut "minutes_out_of_kiln_band";
    DryingShortfall "drying_shortfall_band";
    Coats "coats";
    SlurryBatch "slurry_batch";
    Fed "fed";
    Core "core";
    PlaceInHeat "place_in_heat";
    Patched "patched";
    Hand "hand";
    Month "month";
    PracticeFlag "practice_flag";
}

/// The level of shells whose castings do not agree.
pub const MIXED: &str = "mixed";

impl Factor {
    /// The inverse of [`Factor::name`].
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|f| f.name() == text)
    }
    /// Whether a record may have several levels of it, and counts in each.
    #[must_use]
    pub const fn several(self) -> bool {
        matches!(self, Self::SlurryBatch | Self::Hand | Self::PracticeFlag)
    }
    /// Whether it belongs to the heat as a whole.
    #[must_use]
    pub const fn of_heat(self) -> bool {
        matches!(self, Self::Alloy | Self::Furnace | Self::Crucible | Self::Month)
    }
    /// A level in a sentence: codes are read as words; a name is left as it was given.
    #[must_use]
    pub fn spoken(self, label: &str) -> String {
        let coded = matches!(self, Self::Support | Self::Fed | Self::Core | Self::PatternMaterial);
        if coded { label.replace('_', " ") } else { label.to_owned() }
    }
    /// Whether its levels are numbers.
    const fn counted(self) -> bool {
        matches!(self, Self::Coats | Self::PlaceInHeat)
    }
    /// The setting that holds the edges of its bands, and their unit.
    #[must_use]
    pub const fn bands(self) -> Option<(&'static str, &'static str)> {
        match self {
            Self::Section => Some(("bands_section_mm", "mm")),
            Self::ShellTemperature => Some(("bands_shell_c", "°C")),
            Self::Superheat => Some(("bands_superheat_c", "°C")),
            Self::MinutesOut => Some(("bands_minutes_out", "min")),
            Self::DryingShortfall => Some(("bands_drying_hours", "h")),
            _ => None,
        }
    }
}

/// A level as found: what the rows call it, and where it stands among the others.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown {
    level: Option<String>,
    id: Option<String>,
    label: String,
    place: (u8, i64),
}

impl Shown {
    /// A level as the store tells it; `names` has name and id by number.
    #[must_use]
    pub fn new(factor: Factor, told: Option<&str>, edges: &[f64], names: &[(i64, String, String)]) -> Self {
        let plain = |level: &str, place| Self { level: Some(level.into()), id: None, label: level.into(), place };
        let Some(told) = told else {
            if factor == Factor::PracticeFlag {
                return Self { level: Some("none".into()), id: None, label: "nothing flagged".into(), place: (2, 0) };
            }
            return Self { level: None, id: None, label: "not on record".into(), place: (3, 0) };
        };
        if told == MIXED {
            return plain(told, (2, 0));
        }
        let number = told.parse::<i64>().unwrap_or(0);
        if let Some((_, unit)) = factor.bands() {
            let level = band(edges, usize::try_from(number).unwrap_or(0));
            return Self { label: format!("{level} {unit}"), level: Some(level), id: None, place: (0, number) };
        }
        if factor.counted() {
            return plain(told, (0, number));
        }
        if factor == Factor::Patched {
            return plain(if told == "1" { "yes" } else { "no" }, (0, number));
        }
        match names.iter().find(|(seq, ..)| *seq == number) {
            Some((_, name, id)) => Self { level: Some(name.clone()), id: Some(id.clone()), label: name.clone(), place: (1, 0) },
            None => plain(told, (1, 0)),
        }
    }
    /// What rows are ordered by: bands and numbers as they rise, names by their letters, then
    /// what is mixed, then what is not on record.
    #[must_use]
    pub fn key(&self) -> (u8, i64, &str) {
        (self.place.0, self.place.1, &self.label)
    }
    /// A row that begins with it.
    #[must_use]
    pub fn row(&self) -> Value {
        let mut row = json!({"level": self.level, "label": self.label});
        if let Some(id) = &self.id {
            row["level_id"] = id.as_str().into();
        }
        row
    }
}

/// A band in words: `under 4`, `4 to 6`, `19 and over`.
fn band(edges: &[f64], n: usize) -> String {
    match (n.checked_sub(1).and_then(|low| edges.get(low)), edges.get(n)) {
        (Some(low), Some(high)) => format!("{low} to {high}"),
        (None, Some(high)) => format!("under {high}"),
        (Some(low), None) => format!("{low} and over"),
        (None, None) => "all".into(),
    }
}

/// The months of the shop from one instant to another: beginning, end, name.
#[must_use]
pub fn months(settings: &Settings, first: Instant, last: Instant) -> Value {
    let months = facts::months::between(settings, first, last).into_iter();
    months.map(|(begin, end, name)| json!([begin.ms(), end.ms(), name])).collect()
}

/// The edges of the bands of a factor, as in force now.
#[must_use]
pub fn edges(settings: &Settings, ask: &Ask, now: Instant) -> Vec<f64> {
    ask.factor.bands().map(|(name, _)| settings.edges(name, now)).unwrap_or_default()
}
