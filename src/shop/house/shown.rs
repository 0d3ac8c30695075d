//! Quantities and times as people of this shop read them: its units, its clock, its currency.

use super::settings::Settings;
use crate::kernel::units::Units;
use crate::kernel::{Celsius, Instant, Mass, Millimetres, Precision};
use crate::web::slip::Symbols;
use crate::web::typed::Measures;
use std::sync::Arc;

const MONTHS: [&str; 12] = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
const DAYS: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];
/// Currencies without minor units, and with a thousand to one (ISO 4217, list one).
const NO_MINOR: [&str; 15] =
    ["BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "VND", "VUV", "XAF", "XPF"];
const THOUSAND: [&str; 7] = ["BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"];

fn mass_of(value: &serde_json::Value) -> Option<Mass> {
    let scaled = crate::kernel::json::scaled(value.as_number()?, 6)?;
    i64::try_from(scaled).ok().map(Mass::from_mg)
}

/// How this shop reads, as of now.
#[derive(Clone, Debug)]
pub struct Shown {
    settings: Arc<Settings>,
    units: Units,
    now: Instant,
}

impl Shown {
    /// How the shop reads now.
    #[must_use]
    pub fn new(settings: Arc<Settings>, now: Instant) -> Self {
        let units = if settings.value("units", now) == "us" { Units::Us } else { Units::Metric };
        Self { settings, units, now }
    }
    /// The units.
    #[must_use]
    pub const fn units(&self) -> Units {
        self.units
    }
    /// A mass, to two decimals.
    #[must_use]
    pub fn mass(&self, mass: Mass) -> String {
        self.units.mass_brief(mass, 2)
    }
    /// A temperature.
    #[must_use]
    pub fn temperature(&self, celsius: f64) -> String {
        Celsius::new(celsius).map_or_else(|| "not known".to_owned(), |c| self.units.temperature_brief(c))
    }
    /// How many decimals an amount has.
    fn places(&self) -> u32 {
        let currency = self.settings.value("currency", self.now);
        let currency = currency.as_str().unwrap_or("");
        if NO_MINOR.contains(&currency) {
            0
        } else if THOUSAND.contains(&currency) {
            3
        } else {
            2
        }
    }
    /// Units as they stand beside a field.
    #[must_use]
    pub fn symbols(&self) -> Symbols {
        Symbols {
            mass: self.units.mass_unit().symbol(),
            temperature: self.units.temperature_symbol(),
            length: self.units.length_symbol(),
            money: self.settings.value("currency", self.now).as_str().unwrap_or("").to_owned(),
        }
    }
    /// A mass of an answer, in kilograms, as this shop reads it; nothing where there is none.
    #[must_use]
    pub fn kg(&self, value: &serde_json::Value) -> String {
        mass_of(value).map_or_else(String::new, |mass| self.mass(mass))
    }
    /// A mass of an answer for a form's field.
    #[must_use]
    pub fn kg_field(&self, value: &serde_json::Value) -> String {
        mass_of(value).map_or_else(String::new, |mass| self.units.mass_field(mass))
    }
    /// An instant of an answer, as this shop reads it; nothing where there is none.
    #[must_use]
    pub fn at(&self, value: &serde_json::Value) -> String {
        value.as_str().and_then(Instant::parse).map_or_else(String::new, |at| self.when(at, Precision::Minute))
    }
    /// When the record of an answer happened, as precisely as it is known.
    #[must_use]
    pub fn at_of(&self, record: &serde_json::Value) -> String {
        let precision = record["at_precision"].as_str().and_then(Precision::parse).unwrap_or_default();
        record["at"].as_str().and_then(Instant::parse).map_or_else(String::new, |at| self.when(at, precision))
    }
    /// An amount of an answer; nothing where there is none.
    #[must_use]
    pub fn minor(&self, value: &serde_json::Value) -> String {
        value.as_i64().map_or_else(String::new, |minor| self.money(minor))
    }
    /// When a day begins, as a browser's field gives it; nothing where it is none.
    #[must_use]
    pub fn begin(&self, day: &str) -> Option<Instant> {
        self.settings.begin(day.parse().ok()?)
    }
    /// An instant for a form's field of a time.
    #[must_use]
    pub fn time_field(&self, at: Instant) -> String {
        self.settings.local(at).strftime("%Y-%m-%dT%H:%M").to_string()
    }
    /// An amount of money.
    #[must_use]
    pub fn money(&self, minor: i64) -> String {
        let currency = self.settings.value("currency", self.now);
        let currency = currency.as_str().unwrap_or("");
        let places = self.places();
        let one = 10_u64.pow(places);
        let (whole, rest) = (minor.unsigned_abs() / one, minor.unsigned_abs() % one);
        let sign = if minor < 0 { "−" } else { "" };
        let width = places as usize;
        if places == 0 { format!("{sign}{whole} {currency}") } else { format!("{sign}{whole}.{rest:0width$} {currency}") }
    }
    /// An amount for a form's field.
    #[must_use]
    pub fn money_field(&self, minor: i64) -> String {
        let places = self.places();
        let one = 10_u64.pow(places);
        let (whole, rest, width) = (minor.unsigned_abs() / one, minor.unsigned_abs() % one, places as usize);
        if places == 0 { whole.to_string() } else { format!("{whole}.{rest:0width$}") }
    }
    /// Today.
    #[must_use]
    pub fn today(&self) -> jiff::civil::Date {
        self.settings.day(self.now)
    }
    /// A day: `Tue 3 Mar`, with the year where it is another.
    #[must_use]
    pub fn day(&self, at: Instant) -> String {
        self.date(self.settings.day(at))
    }
    /// A day of the calendar.
    #[must_use]
    pub fn date(&self, day: jiff::civil::Date) -> String {
        let weekday = usize::try_from(day.weekday().to_monday_zero_offset()).ok().and_then(|n| DAYS.get(n)).unwrap_or(&"");
        let month = usize::try_from(day.month() - 1).ok().and_then(|n| MONTHS.get(n)).unwrap_or(&"");
        let year = if day.year() == self.settings.day(self.now).year() { String::new() } else { format!(" {}", day.year()) };
        format!("{weekday} {} {month}{year}", day.day())
    }
    /// An instant as precisely as it is known: `Tue 3 Mar, 14:05`.
    #[must_use]
    pub fn when(&self, at: Instant, precision: Precision) -> String {
        let day = self.day(at);
        let time = self.settings.local(at);
        match precision {
            Precision::Minute => format!("{day}, {:02}:{:02}", time.hour(), time.minute()),
            Precision::Hour => format!("{day}, about {:02}", time.hour()),
            Precision::Day => day,
        }
    }
    /// A time of today as `14:05`, of another day with the day.
    #[must_use]
    pub fn soon(&self, at: Instant) -> String {
        let time = self.settings.local(at);
        let clock = format!("{:02}:{:02}", time.hour(), time.minute());
        if self.settings.day(at) == self.settings.day(self.now) { clock } else { format!("{}, {clock}", self.day(at)) }
    }
    /// How long ago: `3 days`.
    #[must_use]
    pub fn ago(&self, at: Instant) -> String {
        let minutes = self.now.since(at) / 60_000;
        let say = |n: i64, one: &str, many: &str| format!("{n} {}", if n == 1 { one } else { many });
        match minutes {
            ..1 => "just now".to_owned(),
            1..60 => say(minutes, "minute", "minutes"),
            60..2880 => say(minutes / 60, "hour", "hours"),
            _ => say(minutes / 1440, "day", "days"),
        }
    }
}

/// A flag in words.
#[must_use]
pub fn flag_words(code: &str) -> &str {
    match code {
        "coat_not_dry" => "a coat went on before the one below was dry",
        "viscosity_outside" => "slurry outside the recipe",
        "humidity_outside" => "room damper or drier than the recipe",
        "room_outside" => "room warmer or colder than the recipe",
        "slurry_check_overdue" => "slurry not checked for too long",
        "kiln_before_final_dry" => "into the kiln before the final drying was over",
        "moisture" => "moisture not driven off",
        "not_on_record" => "an earlier stage is not on record",
        "alloy_differs" => "another alloy than ordered",
        "shell_cool" => "shell cool for its section",
        "shell_hot" => "shell hot for its section",
        "metal_cool" => "metal below the alloy's range",
        "metal_hot" => "metal above the alloy's range",
        "heat_residual" => "the heat leaves more unexplained than usual",
        "mass_outside_estimate" => "mass outside the estimate",
        "metal_left_in_pot" => "metal left in the pot",
        "crucible_family" => "crucible used for another family of metal before",
        "crucible_worn" => "crucible past its heats",
        "lot_short" => "the lot held more than the book",
        "client_metal" => "a client's metal in another's work",
        "crucible_in_use" => "the crucible was in another open heat",
        "pattern_is_unique" => "recast of a unique pattern",
        other => other,
    }
}

impl Measures for Shown {
    fn parts_thousands(&self) -> bool {
        self.units == Units::Us
    }
    fn mass(&self, typed: &str) -> Result<Mass, String> {
        self.units.read_mass(typed).map_err(|e| e.to_string())
    }
    fn temperature(&self, typed: &str) -> Result<Celsius, String> {
        self.units.read_temperature(typed).map_err(|e| e.to_string())
    }
    fn length(&self, typed: &str) -> Result<Millimetres, String> {
        self.units.read_length(typed).map_err(|e| e.to_string())
    }
    fn money(&self, typed: &str) -> Result<i64, String> {
        let text = typed.replace([' ', '\u{a0}', '\u{202f}'], "");
        let (whole, rest) = text.split_once('.').unwrap_or((&text, ""));
        let places = self.places() as usize;
        let digits = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
        if !digits(whole) || !digits(rest) || (whole.is_empty() && rest.is_empty()) {
            return Err("give an amount: digits, and a point for decimals".to_owned());
        }
        if rest.len() > places {
            return Err(format!("an amount has at most {places} decimals here"));
        }
        format!("{whole}{rest:0<places$}").parse::<i64>().map_err(|_| "that is more than the book can hold".to_owned())
    }
    fn time(&self, typed: &str) -> Result<Instant, String> {
        let why = || "give a day and a time".to_owned();
        if let Some(at) = Instant::parse(typed) {
            return Ok(at);
        }
        let local: jiff::civil::DateTime = typed.parse().map_err(|_| why())?;
        self.settings.instant(local).ok_or_else(why)
    }
}
