//! Quantities and times as people of this shop read them: its units, its clock, its currency.

use super::settings::Settings;
use crate::kernel::units::Units;
use crate::kernel::{Celsius, Instant, Mass, Precision};
use std::sync::Arc;

const MONTHS: [&str; 12] = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
const DAYS: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];
/// Currencies without minor units, and with a thousand to one (ISO 4217, list one).
const NO_MINOR: [&str; 15] =
    ["BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "VND", "VUV", "XAF", "XPF"];
const THOUSAND: [&str; 7] = ["BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"];

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
    /// An amount of money.
    #[must_use]
    pub fn money(&self, minor: i64) -> String {
        let currency = self.settings.value("currency", self.now);
        let currency = currency.as_str().unwrap_or("");
        let places = if NO_MINOR.contains(&currency) {
            0
        } else if THOUSAND.contains(&currency) {
            3
        } else {
            2
        };
        let one = 10_u64.pow(places);
        let (whole, rest) = (minor.unsigned_abs() / one, minor.unsigned_abs() % one);
        let sign = if minor < 0 { "−" } else { "" };
        let width = places as usize;
        if places == 0 { format!("{sign}{whole} {currency}") } else { format!("{sign}{whole}.{rest:0width$} {currency}") }
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
