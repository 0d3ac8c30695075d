//! What will do for a setting.

use serde_json::Value;

/// A number from one to another.
pub(super) fn number(value: &Value, low: f64, high: f64) -> bool {
    value.as_f64().is_some_and(|n| (low..=high).contains(&n))
}

/// A number from 0 to 100.
pub(super) fn percent(value: &Value) -> bool {
    number(value, 0.0, 100.0)
}

/// Up to so many texts, each up to so many characters.
pub(super) fn lines(value: &Value, most: usize, long: usize) -> bool {
    let short = |line: &Value| line.as_str().is_some_and(|text| text.chars().count() <= long);
    value.as_array().is_some_and(|all| all.len() <= most && all.iter().all(short))
}

/// Stages of a price, in percent of it, that make up all of it.
pub(super) fn stages(value: &Value) -> bool {
    let Some(all) = value.as_array() else { return false };
    let named = |stage: &Value| {
        stage["for"].as_str().is_some_and(|text| (1..=120).contains(&text.chars().count()))
            && stage["percent"].as_f64().is_some_and(|share| share > 0.0 && share <= 100.0)
            && stage.as_object().is_some_and(|members| members.len() == 2)
    };
    let sum: f64 = all.iter().filter_map(|stage| stage["percent"].as_f64()).sum();
    (1..=10).contains(&all.len()) && all.iter().all(named) && (sum - 100.0).abs() < 1e-9
}

/// Edges of bands: numbers above 0, rising.
pub(super) fn edges(value: &Value) -> bool {
    let Some(items) = value.as_array() else { return false };
    let numbers: Vec<f64> = items.iter().filter_map(Value::as_f64).collect();
    numbers.len() == items.len() && !items.is_empty() && items.len() <= 12 && numbers.windows(2).all(|w| w[0] < w[1])
}
