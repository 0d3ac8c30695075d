//! Dated settings: read once, kept until one is written.

pub use super::specs::{REMINDERS, SPECS, Spec};
use super::store;
use crate::db::Read;
use crate::kernel::{Instant, Mass, Precision, Problem};
use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde_json::Value;
use std::collections::HashMap;
use std::sync::Arc;

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
