//! Dated settings: read once, kept until one is written.

use super::checks::{edges, lines, number, percent, stages};
use super::store;
use crate::db::Read;
use crate::kernel::{Instant, Mass, Precision, Problem};
use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde_json::{Value, json};
use std::collections::HashMap;
use std::sync::Arc;

/// A setting that there is.
pub struct Spec {
    /// Its name.
    pub name: &'static str,
    /// What holds until one is set.
    pub default: fn() -> Value,
    /// Whether a value will do.
    pub check: fn(&Value) -> bool,
    /// What it is and what will do, in words.
    pub about: &'static str,
}

/// What the start page reminds of.
pub const REMINDERS: [&str; 10] =
    ["coat", "slurry", "fired", "approval", "away", "keep_until", "crucible", "payment", "alloy", "backup"];

/// Every setting.
pub const SPECS: &[Spec] = &[
    Spec {
        name: "currency",
        default: || json!("EUR"),
        about: "ISO 4217 code of the shop's one currency: three capitals; fixed once money exists",
        check: |v| v.as_str().is_some_and(|t| t.len() == 3 && t.bytes().all(|b| b.is_ascii_uppercase())),
    },
    Spec {
        name: "zone",
        default: || json!("UTC"),
        about: "the shop's time zone, as Europe/Lisbon: its days and months",
        check: |v| v.as_str().is_some_and(|t| TimeZone::get(t).is_ok()),
    },
    Spec {
        name: "units",
        default: || json!("metric"),
        about: "what pages, documents and the command line show: metric or us",
        check: |v| matches!(v.as_str(), Some("metric" | "us")),
    },
    Spec {
        name: "money_for_hands",
        default: || json!(false),
        about: "whether hands see money: true or false",
        check: Value::is_boolean,
    },
    Spec {
        name: "money_for_readers",
        default: || json!(false),
        about: "whether readers see money: true or false",
        check: Value::is_boolean,
    },
    Spec {
        name: "scale_step_kg",
        default: || json!(0.01),
        about: "the step of the shop's scale in kg, above 0 and at most 10",
        check: |v| number(v, 0.000_001, 10.0),
    },
    Spec {
        name: "scale_tolerance_percent",
        default: || json!(0.2),
        about: "percent of a mass that the scale may be off where that is more than its step, 0 to 10",
        check: |v| number(v, 0.0, 10.0),
    },
    Spec {
        name: "heat_residual_scale_steps",
        default: || json!(2),
        about: "scale steps a weighing that a heat may leave unexplained before it is flagged, 0 to 100",
        check: |v| v.as_i64().is_some_and(|n| (0..=100).contains(&n)),
    },
    Spec {
        name: "heat_residual_percent",
        default: || json!(2),
        about: "percent of the charge that a heat may leave unexplained before it is flagged, 0 to 100",
        check: percent,
    },
    Spec { name: "heat_residual_aluminium_percent", default: || json!(3), about: "the same for aluminium", check: percent },
    Spec {
        name: "heat_residual_zinc_rich_percent",
        default: || json!(5),
        about: "the same for zinc-rich alloys",
        check: percent,
    },
    Spec {
        name: "heat_residual_scrap_percent",
        default: || json!(10),
        about: "the same for a heat charged with nothing but returns",
        check: percent,
    },
    Spec {
        name: "mass_estimate_percent",
        default: || json!(25),
        about: "percent that a weighed pour may be from the estimate of its shell before it is flagged, 0 to 100",
        check: percent,
    },
    Spec {
        name: "moisture_fire_c",
        default: || json!(600),
        about: "°C that a firing must reach since the last coat or patch",
        check: |v| number(v, 0.0, 1500.0),
    },
    Spec {
        name: "moisture_stand_c",
        default: || json!(120),
        about: "°C below which a fired shell takes up water",
        check: |v| number(v, 0.0, 500.0),
    },
    Spec {
        name: "moisture_stand_hours",
        default: || json!(4),
        about: "hours that a fired shell may stand cold without a preheat",
        check: |v| number(v, 0.0, 1000.0),
    },
    Spec {
        name: "shell_dry_c",
        default: || json!(204),
        about: "°C below which a shell at the pour is not held to be dry",
        check: |v| number(v, 0.0, 500.0),
    },
    Spec {
        name: "shell_cool_c",
        default: || json!(540),
        about: "copper-base: °C below which a shell is cool for a thin section",
        check: |v| number(v, 0.0, 1500.0),
    },
    Spec {
        name: "thin_section_mm",
        default: || json!(6),
        about: "sections under this are thin, in mm",
        check: |v| number(v, 0.1, 100.0),
    },
    Spec {
        name: "shell_hot_c",
        default: || json!(871),
        about: "copper-base: °C over which a shell is hot for a heavy section",
        check: |v| number(v, 0.0, 1500.0),
    },
    Spec {
        name: "heavy_section_mm",
        default: || json!(19),
        about: "sections of this or more are heavy, in mm",
        check: |v| number(v, 0.1, 1000.0),
    },
    Spec {
        name: "aluminium_shell_low_c",
        default: || json!(200),
        about: "aluminium: least °C of the shell at the pour",
        check: |v| number(v, 0.0, 1000.0),
    },
    Spec {
        name: "aluminium_shell_high_c",
        default: || json!(540),
        about: "aluminium: most °C of the shell at the pour",
        check: |v| number(v, 0.0, 1000.0),
    },
    Spec {
        name: "slurry_check_hours",
        default: || json!(72),
        about: "hours after which the check of a slurry batch is overdue",
        check: |v| number(v, 1.0, 10_000.0),
    },
    Spec {
        name: "overhead_rule",
        default: || json!({"rule": "none"}),
        about: "how jobs are charged with what the shop costs as such: {\"rule\": \"none\"}; {\"rule\": \"percent_of_work\", \"percent\": 35}; \
                or {\"rule\": \"per_hand_hour\" | \"per_kg\" (poured) | \"per_pour_day\", \"amount_minor\": 800}",
        check: |v| super::overhead::read(v).is_some(),
    },
    Spec {
        name: "reminders_off",
        default: || json!([]),
        about: "which reminders the start page leaves out: a list of coat, slurry, fired, approval, away, keep_until, crucible, payment, alloy, backup",
        check: |v| v.as_array().is_some_and(|all| all.iter().all(|r| r.as_str().is_some_and(|r| REMINDERS.contains(&r)))),
    },
    Spec {
        name: "fired_standing_days",
        default: || json!(14),
        about: "days after which a fired shell that was not poured is spoken of, 1 to 1000 (common practice, no source)",
        check: |v| number(v, 1.0, 1000.0),
    },
    Spec {
        name: "backup_days",
        default: || json!(7),
        about: "days after which a copy of the book is asked for, 1 to 1000 (common practice, no source)",
        check: |v| number(v, 1.0, 1000.0),
    },
    Spec {
        name: "gating_rod_mm",
        default: || json!(25),
        about: "diameter in mm of the rods that gating is taken as where only its mass or volume is known, 1 to 500 (common practice, no source)",
        check: |v| number(v, 1.0, 500.0),
    },
    Spec {
        name: "shell_coat_mm",
        default: || json!(0.9),
        about: "thickness in mm that a coat with its stucco adds, by which the fired mass of shells is estimated, 0.1 to 10 (common practice, no source)",
        check: |v| number(v, 0.1, 10.0),
    },
    Spec {
        name: "shell_density_kg_m3",
        default: || json!(1750),
        about: "density of fired shell in kg/m³, by which its mass is estimated, 500 to 5000 (from memory: colloidal-silica shell is porous to about a quarter)",
        check: |v| number(v, 500.0, 5000.0),
    },
    Spec {
        name: "fuel_mj_kg",
        default: || json!(50.0),
        about: "gross heat of the shop's fuel in MJ/kg, where fuel is logged in kg and priced by the kWh or the other way round, 5 to 150 \
                (propane 50.0: 21,500 to 21,600 Btu/lb as reprinted in trade tables)",
        check: |v| number(v, 5.0, 150.0),
    },
    Spec {
        name: "shop_name",
        default: || json!(""),
        about: "the shop's name, as it stands on letters",
        check: |v| v.as_str().is_some_and(|text| text.chars().count() <= 80),
    },
    Spec {
        name: "shop_lines",
        default: || json!([]),
        about: "address, telephone, tax number as they stand on letters: up to 8 lines",
        check: |v| lines(v, 8, 120),
    },
    Spec {
        name: "shop_mark",
        default: || json!(""),
        about: "up to three letters that stand in the ring on letters; the initials of the name where nothing is said",
        check: |v| v.as_str().is_some_and(|text| text.chars().count() <= 3),
    },
    Spec {
        name: "quote_markup_percent",
        default: || json!(30),
        about: "percent on the cost that a quote's job stays below four times in five, 0 to 500 (common practice, no source)",
        check: |v| number(v, 0.0, 500.0),
    },
    Spec {
        name: "quote_round_minor",
        default: || json!(500),
        about: "prices of quotes are rounded up to a multiple of so many minor units, 1 to 1000000",
        check: |v| v.as_i64().is_some_and(|n| (1..=1_000_000).contains(&n)),
    },
    Spec { name: "tax_percent", default: || json!(0), about: "percent of tax on the price of quotes, 0 to 100", check: percent },
    Spec {
        name: "quote_stages",
        default: || json!([{"for": "deposit", "percent": 50}, {"for": "delivery", "percent": 50}]),
        about: "how the price of a quote is paid: up to 10 of {\"for\", \"percent\"}, together 100 (common practice, no source)",
        check: stages,
    },
    Spec {
        name: "quote_valid_days",
        default: || json!(30),
        about: "days that a quote holds, 1 to 1000 (common practice, no source)",
        check: |v| number(v, 1.0, 1000.0),
    },
    Spec {
        name: "quote_attempts",
        default: || json!(3),
        about: "how often a copy is cast until it is good, as quotes reckon, 1 to 20 (common practice, no source)",
        check: |v| v.as_i64().is_some_and(|n| (1..=20).contains(&n)),
    },
    Spec {
        name: "quote_size_kg",
        default: || json!([2, 10]),
        about: "net kg of a casting up to which it is small, and up to which it is middling, for prices by the kg",
        check: |v| edges(v) && v.as_array().is_some_and(|edges| edges.len() == 2),
    },
    Spec {
        name: "quote_terms",
        default: || {
            json!(["The metal's colour and the finish vary within what was shown.", "What the client changes is quoted anew."])
        },
        about: "what stands under every quote: up to 12 paragraphs",
        check: |v| lines(v, 12, 600),
    },
    Spec {
        name: "bands_section_mm",
        default: || json!([4, 6, 10, 19]),
        about: "edges of the bands of sections in mm, rising",
        check: edges,
    },
    Spec {
        name: "bands_shell_c",
        default: || json!([300, 540, 700, 871]),
        about: "edges of the bands of shell temperature in °C, rising",
        check: edges,
    },
    Spec {
        name: "bands_superheat_c",
        default: || json!([100, 150, 200, 250]),
        about: "edges of the bands of °C over liquidus, rising",
        check: edges,
    },
    Spec {
        name: "bands_minutes_out",
        default: || json!([2, 4, 6, 10]),
        about: "edges of the bands of minutes out of the kiln, rising",
        check: edges,
    },
    Spec {
        name: "bands_drying_hours",
        default: || json!([0.5, 2, 6]),
        about: "edges of the bands of hours short of dry, rising",
        check: edges,
    },
];

/// All settings of the shop, with their dates.
#[derive(Debug)]
pub struct Settings {
    rows: HashMap<String, Vec<(Date, Value)>>,
    /// Zones with the instants from which they hold.
    zones: Vec<(Instant, TimeZone)>,
}

/// The settings, read once and kept.
///
/// # Errors
/// As the database says.
pub async fn of<R: Read>(read: &mut R) -> Result<Arc<Settings>, Problem> {
    if let Some(kept) = read.shared().get::<Settings>() {
        return Ok(kept);
    }
    let mut rows: HashMap<String, Vec<(Date, Value)>> = HashMap::new();
    for (name, from_on, value) in store::settings(read).await? {
        let day = from_on.parse().map_err(|e| Problem::internal(format!("setting {name} from {from_on}: {e}")))?;
        let value = serde_json::from_str(&value).map_err(Problem::internal)?;
        rows.entry(name).or_default().push((day, value));
    }
    let mut zones: Vec<(Instant, TimeZone)> = Vec::new();
    for (from, value) in rows.get("zone").into_iter().flatten() {
        let zone = value.as_str().and_then(|name| TimeZone::get(name).ok()).unwrap_or(TimeZone::UTC);
        // A day at the edge of the calendar has no instant in every zone: always then, or never.
        let begins = zone.to_timestamp(from.at(0, 0, 0, 0)).map(jiff::Timestamp::as_millisecond);
        let begins = begins.unwrap_or(if from.year() < 1970 { i64::MIN } else { i64::MAX });
        zones.push((Instant::from_ms(begins), zone));
    }
    let settings = Arc::new(Settings { rows, zones });
    read.shared().put(settings.clone());
    Ok(settings)
}

impl Settings {
    /// The shop's zone at an instant: UTC until one was set.
    fn zone(&self, at: Instant) -> TimeZone {
        self.zones.iter().rev().find(|(from, _)| *from <= at).map_or(TimeZone::UTC, |(_, zone)| zone.clone())
    }
    /// The shop's day of an instant.
    #[must_use]
    pub fn day(&self, at: Instant) -> Date {
        jiff::Timestamp::from_millisecond(at.ms()).map_or(Date::ZERO, |t| self.zone(at).to_datetime(t).date())
    }
    /// What the shop's clock and calendar show at an instant.
    #[must_use]
    pub fn local(&self, at: Instant) -> jiff::civil::DateTime {
        jiff::Timestamp::from_millisecond(at.ms()).map_or(jiff::civil::DateTime::ZERO, |t| self.zone(at).to_datetime(t))
    }
    /// The instant at which the shop's clock shows a time; where it shows it twice, the first.
    /// Nothing for a time beyond all calendars.
    #[must_use]
    pub fn instant(&self, local: jiff::civil::DateTime) -> Option<Instant> {
        let utc = (Instant::from_ms(i64::MIN), TimeZone::UTC);
        std::iter::once(&utc).chain(&self.zones).rev().find_map(|(from, zone)| {
            let at = Instant::from_ms(zone.to_timestamp(local).ok()?.as_millisecond());
            (at >= *from).then_some(at)
        })
    }
    /// When a day of the shop begins: the first instant that is of it or, where the shop moved
    /// past it, of a later one. Nothing for a day beyond all calendars.
    #[must_use]
    pub fn begin(&self, day: Date) -> Option<Instant> {
        let utc = (Instant::from_ms(i64::MIN), TimeZone::UTC);
        let zones: Vec<&(Instant, TimeZone)> = std::iter::once(&utc).chain(&self.zones).collect();
        zones.iter().enumerate().find_map(|(n, (from, zone))| {
            let midnight = zone.to_timestamp(day.at(0, 0, 0, 0)).ok()?;
            let begins = Instant::from_ms(midnight.as_millisecond()).max(*from);
            zones.get(n + 1).is_none_or(|(next, _)| begins < *next).then_some(begins)
        })
    }
    /// The month of an instant, as `2026-03`.
    #[must_use]
    pub fn month(&self, at: Instant) -> String {
        let day = self.day(at);
        format!("{:04}-{:02}", day.year(), day.month())
    }
    /// The span an instant may stand for: the minute is taken as it is, an hour and a day
    /// as the shop's clock cuts them.
    #[must_use]
    pub fn span(&self, at: Instant, precision: Precision) -> (Instant, Instant) {
        match precision {
            Precision::Minute => (at, at),
            Precision::Hour => {
                // Hours begin where the shop's clock strikes, also where that is not at a full
                // hour of UTC.
                let zone = self.zone(at);
                let offset =
                    jiff::Timestamp::from_millisecond(at.ms()).map_or(0, |t| i64::from(zone.to_offset(t).seconds())) * 1000;
                let start = (at.ms() + offset).div_euclid(3_600_000) * 3_600_000 - offset;
                (Instant::from_ms(start), Instant::from_ms(start + 3_599_999))
            }
            Precision::Day => {
                let day = self.day(at);
                let next = day.tomorrow().ok().and_then(|next| self.begin(next));
                (self.begin(day).unwrap_or(at), next.map_or(at, |next| next.plus_ms(-1)))
            }
        }
    }
    /// A setting as in force at an instant.
    #[must_use]
    pub fn value(&self, name: &str, at: Instant) -> Value {
        self.value_on(name, self.day(at))
    }
    /// A setting as in force on a day.
    #[must_use]
    pub fn value_on(&self, name: &str, day: Date) -> Value {
        let dated = self.rows.get(name).and_then(|rows| rows.iter().rev().find(|(from, _)| *from <= day));
        dated
            .map(|(_, v)| v.clone())
            .or_else(|| SPECS.iter().find(|s| s.name == name).map(|s| (s.default)()))
            .unwrap_or(Value::Null)
    }
    /// A number as in force at an instant.
    #[must_use]
    pub fn number(&self, name: &str, at: Instant) -> f64 {
        self.value(name, at).as_f64().unwrap_or(0.0)
    }
    /// Band edges as in force at an instant.
    #[must_use]
    pub fn edges(&self, name: &str, at: Instant) -> Vec<f64> {
        self.value(name, at).as_array().map(|a| a.iter().filter_map(Value::as_f64).collect()).unwrap_or_default()
    }
    /// A number as in force at an instant, as a whole number of its 10^-`places`.
    fn scaled(&self, name: &str, at: Instant, places: usize) -> Option<i64> {
        let number = serde_json::Number::from_f64(self.number(name, at))?;
        crate::kernel::json::scaled(&number, places).and_then(|n| i64::try_from(n).ok())
    }
    /// The step of the shop's scale.
    #[must_use]
    pub fn scale_step(&self, at: Instant) -> Mass {
        Mass::from_mg(self.scaled("scale_step_kg", at, 6).unwrap_or(10_000))
    }
    /// A percentage as in force at an instant, in millionths.
    #[must_use]
    pub fn per_million(&self, name: &str, at: Instant) -> i64 {
        self.scaled(name, at, 4).unwrap_or_default()
    }
    /// Whether a role sees money.
    #[must_use]
    pub fn sees_money(&self, role: crate::kernel::Role, now: Instant) -> bool {
        let flag = |name| self.value(name, now).as_bool().unwrap_or(false);
        match role {
            crate::kernel::Role::Owner => true,
            crate::kernel::Role::Hand => flag("money_for_hands"),
            crate::kernel::Role::Reader => flag("money_for_readers"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Instant {
        Instant::parse(text).unwrap()
    }

    /// A shop in UTC that moves to Auckland for April 2026 and then to Lisbon (offsets: IANA tz;
    /// Auckland is UTC+13 until 5 April 2026 and UTC+12 after, Lisbon UTC+1 in summer).
    fn moving() -> Settings {
        let zone = |name| TimeZone::get(name).unwrap();
        let zones =
            vec![(at("2026-03-31T11:00:00Z"), zone("Pacific/Auckland")), (at("2026-04-30T23:00:00Z"), zone("Europe/Lisbon"))];
        Settings { rows: HashMap::new(), zones }
    }

    #[test]
    fn days_are_cut_and_drawn_out_where_the_shop_moves() {
        let shop = moving();
        let days = [
            ("2026-03-31", "2026-03-31T00:00:00Z"),
            ("2026-04-01", "2026-03-31T11:00:00Z"),
            ("2026-04-30", "2026-04-29T12:00:00Z"),
            ("2026-05-01", "2026-04-30T12:00:00Z"),
            ("2026-05-02", "2026-05-01T23:00:00Z"),
        ];
        for (n, (day, begins)) in days.iter().enumerate() {
            assert_eq!(shop.begin(day.parse().unwrap()), Some(at(begins)), "{day}");
            assert_eq!(shop.day(at(begins)).to_string(), *day);
            if n > 0 {
                assert!(shop.day(at(begins).plus_ms(-1)).to_string().as_str() < *day);
            }
        }
        let cut = shop.span(at("2026-03-31T10:00:00Z"), Precision::Day);
        assert_eq!(cut, (at("2026-03-31T00:00:00Z"), at("2026-03-31T10:59:59.999Z")));
    }
}
