//! The drawing of a rate by the levels of a factor, from the report.

use super::outcome::{Outcome, handed_on, many};
use crate::shop::house::floor::{items, text};
use crate::web::draw::frame::Drawing;
use crate::web::draw::levels::{Level, rates_by_level};
use crate::web::page::escape_part;
use serde_json::Value;

/// Which report it is: the shells or castings that are in a rate go by another name in each.
fn outcome(report: &Value) -> Outcome {
    let has = |name: &str| report["overall"].get(name).is_some();
    if has("leaked") {
        Outcome::Leak
    } else if has("short") {
        Outcome::Short
    } else {
        Outcome::Defect
    }
}

/// The drawing.
#[must_use]
pub fn rates(report: &Value) -> Drawing {
    let outcome = outcome(report);
    let (of, count) = match outcome {
        Outcome::Leak => ("poured", "leaked"),
        Outcome::Short => ("poured", "short"),
        Outcome::Defect => ("seen", "count"),
    };
    let by = text(report, "by");
    let filters = handed_on(report["filters"].as_object().into_iter().flatten());
    let level = |row: &Value| Level {
        label: text(row, "label"),
        count: format!("{} of {}", text(row, count), text(row, of)),
        rate: row["rate"].as_f64(),
        low: row["low"].as_f64().unwrap_or(0.0),
        high: row["high"].as_f64().unwrap_or(0.0),
        shrunk: row["shrunken"].as_f64(),
        to: format!(
            "/reports/behind?outcome={}&by={}&level={}{filters}",
            outcome.report(),
            escape_part(&by),
            escape_part(&text(row, "label"))
        ),
    };
    let rows = items(&report["rows"]);
    let levels: Vec<Level> = rows.iter().take(DRAWN).map(level).collect();
    let cut = if levels.len() < rows.len() {
        format!(" The first {DRAWN} of {}.", many(u64::try_from(rows.len()).unwrap_or(u64::MAX), "level"))
    } else {
        String::new()
    };
    let about = format!("What was seen, with its 95 % interval (Wilson), by {}.{cut}", by.replace('_', " "));
    rates_by_level(outcome.title(), &about, &levels, report["overall"]["rate"].as_f64())
}

/// So many levels are drawn.
const DRAWN: usize = 60;
