//! The setting `overhead_rule`, read.

use crate::kernel::json::scaled;
use crate::kernel::{Instant, Money};
use crate::science::costing::Overhead;
use serde_json::Value;

use super::settings::Settings;

/// Reads a rule as the setting has it; `None` where it is none.
#[must_use]
pub fn read(value: &Value) -> Option<Overhead> {
    let object = value.as_object()?;
    let rule = object.get("rule")?.as_str()?;
    let wanted: &[&str] = match rule {
        "none" => &["rule"],
        "percent_of_work" => &["rule", "percent"],
        _ => &["rule", "amount_minor"],
    };
    if object.len() != wanted.len() || !wanted.iter().all(|name| object.contains_key(*name)) {
        return None;
    }
    let amount = || {
        let minor = object.get("amount_minor")?.as_i64()?;
        (0..=Money::MAX.minor()).contains(&minor).then(|| Money::from_minor(minor))
    };
    Some(match rule {
        "none" => Overhead::None,
        "percent_of_work" => {
            let hundredths = object.get("percent")?.as_number().and_then(|n| scaled(n, 2))?;
            Overhead::Work(i64::try_from(hundredths).ok().filter(|n| (0..=100_000).contains(n))?)
        }
        "per_hand_hour" => Overhead::Hour(amount()?),
        "per_kg" => Overhead::Kg(amount()?),
        "per_pour_day" => Overhead::Day(amount()?),
        _ => return None,
    })
}

impl Settings {
    /// The rule of overhead in force at an instant.
    #[must_use]
    pub fn overhead(&self, at: Instant) -> Overhead {
        read(&self.value("overhead_rule", at)).unwrap_or(Overhead::None)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn rules_are_read_whole_or_not_at_all() {
        let money = Money::from_minor;
        for (value, rule) in [
            (json!({"rule": "none"}), Some(Overhead::None)),
            (json!({"rule": "percent_of_work", "percent": 35.5}), Some(Overhead::Work(3550))),
            (json!({"rule": "per_hand_hour", "amount_minor": 800}), Some(Overhead::Hour(money(800)))),
            (json!({"rule": "per_kg", "amount_minor": 950}), Some(Overhead::Kg(money(950)))),
            (json!({"rule": "per_pour_day", "amount_minor": 28_001}), Some(Overhead::Day(money(28_001)))),
            (json!({"rule": "none", "percent": 3}), None),
            (json!({"rule": "percent_of_work"}), None),
            (json!({"rule": "percent_of_work", "percent": -1}), None),
            (json!({"rule": "percent_of_work", "percent": 1000.01}), None),
            (json!({"rule": "per_kg", "amount_minor": 9.5}), None),
            (json!({"rule": "per_kg", "percent": 9}), None),
            (json!({"rule": "per_moon", "amount_minor": 9}), None),
            (json!("none"), None),
        ] {
            assert_eq!(read(&value), rule, "{value}");
        }
    }
}
