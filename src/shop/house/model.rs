//! What is said of settings and of the shop's own trade entries.

use crate::kernel::field::{Day, Faults, Field, Minor, Named, Ref, Text};
use crate::kernel::id::{Hand, Recipe, Supplier};
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
    /// What a rate is the rate of.
    pub enum What {
        /// An hour of a hand's work.
        HandHour = "hand_hour",
        /// A dm² of shell and coat.
        ShellCoatDm2 = "shell_coat_dm2",
        /// A kg of fuel.
        FuelKg = "fuel_kg",
        /// A kWh of fuel or current.
        FuelKwh = "fuel_kwh",
        /// A kg of fired shell in the kiln.
        KilnKg = "kiln_kg",
        /// What a pour day costs whatever is poured.
        PourDay = "pour_day",
        /// The wear of a crucible by one heat.
        CrucibleHeat = "crucible_heat",
        /// The market price of a kg of metal.
        MetalKg = "metal_kg",
        /// A kg of wax, in castings and gating.
        WaxKg = "wax_kg",
        /// What a kg of metal that returns is worth at most.
        ScrapKg = "scrap_kg",
        /// The least price of a kg net of small castings, in quotes; the setting `quote_size_kg` says which are.
        QuoteKgSmall = "quote_kg_small",
        /// The same of middling castings.
        QuoteKgMedium = "quote_kg_medium",
        /// The same of large castings.
        QuoteKgLarge = "quote_kg_large",
        /// The least price of each copy's wax, in quotes.
        QuoteWax = "quote_wax",
        /// The least price of an hour, in quotes.
        QuoteHour = "quote_hour",
        /// The least price of a piece, in quotes.
        QuotePiece = "quote_piece",
        /// The least price of a job that needs a pour, in quotes.
        QuotePour = "quote_pour",
    }
}

body! {
    /// A rate or price, in force from a day until the next one of the same.
    pub struct RateBody {
        /// What it is the rate of.
        what: What,
        /// Whose hour it is; none: of every hand without a rate of their own.
        hand_id: Option<Ref<Hand>>,
        /// Which recipe's coats; none: of every recipe without a rate of its own.
        recipe_id: Option<Ref<Recipe>>,
        /// Which alloy's kg.
        alloy: Option<Text<40>>,
        /// From when.
        from_on: Day,
        /// How much a unit; left out where `ended`.
        amount_minor: Option<Minor>,
        /// From that day on there is none any more.
        ended: Option<bool>,
        /// Where it comes from.
        notes: Option<Text<1000>>,
    }
}

words! {
    /// What an expense of the shop was for.
    pub enum ExpenseKind {
        /// Rent or rates.
        Rent = "rent",
        /// Power, water, gas that no heat or load is charged with.
        Utilities = "utilities",
        /// Insurance.
        Insurance = "insurance",
        /// Repairs and upkeep.
        Repair = "repair",
        /// Tools and what is used up by no job.
        Tools = "tools",
        /// Protective gear.
        Protection = "protection",
        /// Disposal of waste.
        Waste = "waste",
        /// Office, telephone, books.
        Office = "office",
        /// Wages that are logged on no job.
        Wages = "wages",
        /// Something else.
        Other = "other",
    }
}

body! {
    /// What the shop costs as such.
    pub struct ExpenseBody {
        /// What for.
        kind: ExpenseKind,
        /// How much.
        amount_minor: Minor,
        /// To whom.
        supplier: Option<Named<Supplier>>,
        /// Notes.
        note: Option<Text<500>>,
    }
}

body! {
    /// Something that went wrong, or nearly did.
    pub struct IncidentBody {
        /// Where.
        r#where: Text<120>,
        /// What happened.
        what: Text<4000>,
        /// Whether somebody was hurt.
        hurt: bool,
        /// Who, and how.
        who: Option<Text<500>>,
        /// What was done, and what is done so that it does not happen again.
        done: Option<Text<4000>>,
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
        /// From when it is in force; left out, it always was.
        from_on: Option<Day>,
    }
}
