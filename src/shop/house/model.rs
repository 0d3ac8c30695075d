//! What is said of settings and of the shop's own trade entries.

use crate::kernel::field::{Day, Faults, Field, Text};
use crate::{body, words};
use serde_json::{Value, json};

/// A JSON value that the setting's own rule checks.
#[derive(Clone, Debug, PartialEq)]
pub struct Anything(pub Value);

impl Field for Anything {
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        match value {
            None | Some(Value::Null) => faults.none(at, "required", "This is needed."),
            Some(value) if value.to_string().len() <= 8000 => Some(Self(value.clone())),
            Some(_) => faults.none(at, "too-long", "At most 8,000 characters."),
        }
    }
    fn write(&self) -> Option<Value> {
        Some(self.0.clone())
    }
    fn schema() -> Value {
        json!({"description": "as the setting says: text, number, true or false"})
    }
}

body! {
    /// A setting, in force from a day until the next one of its name.
    pub struct SettingBody {
        /// Its name.
        name: Text<60>,
        /// From when.
        from_on: Day,
        /// What it is.
        value: Anything,
    }
}

words! {
    /// A section of the trade catalogue that a shop may add to.
    pub enum Section {
        /// Alloys.
        Alloys = "alloys",
        /// Pattern materials.
        PatternMaterials = "pattern-materials",
        /// Defects and house codes.
        Defects = "defects",
    }
}

body! {
    /// The shop's own entry in the trade catalogue; one of a built-in code overrides it.
    pub struct TradeEntryBody {
        /// Which section.
        section: Section,
        /// The code.
        code: Text<40>,
        /// Its members, as the section's built-in entries have them.
        values: Anything,
        /// Where the values come from.
        source: Text<300>,
    }
}
