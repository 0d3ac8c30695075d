//! The drawing of a chart, from the report: rates month by month, or what lies between two
//! shells that had the outcome.

use super::outcome::Outcome;
use crate::shop::house::floor::{items, text};
use crate::web::draw::control::{ControlPoint, Signalled, control_chart};
use crate::web::draw::frame::{Drawing, Written};
use serde_json::Value;

/// So many places are drawn, the newest.
pub const DRAWN: usize = 60;

/// Whether gaps are drawn, not rates.
#[must_use]
pub fn of_gaps(report: &Value) -> bool {
    report.get("running").is_some()
}

/// What is drawn, as a heading.
#[must_use]
pub fn title(report: &Value) -> String {
    let outcome = Outcome::ALL.into_iter().find(|o| report["outcome"] == o.name()).unwrap_or(Outcome::Leak);
    if of_gaps(report) {
        format!("{}: sound shells between two", outcome.title())
    } else {
        format!("{} by {}", outcome.title(), text(report, "per"))
    }
}

/// The drawing.
#[must_use]
pub fn chart(report: &Value) -> Drawing {
    let (points, written) = if of_gaps(report) { (gaps(report), Written::Number) } else { (rates(report), Written::Percent) };
    let newest = points.get(points.len().saturating_sub(DRAWN)..).unwrap_or_default();
    let cut = if newest.len() < points.len() { format!(" The newest {DRAWN} of {}.", points.len()) } else { String::new() };
    control_chart(&title(report), &format!("{}{cut}", text(&report["words"], "method")), newest, written)
}

fn rates(report: &Value) -> Vec<ControlPoint> {
    let place = |point: &Value| ControlPoint {
        label: text(point, "label"),
        value: point["rate"].as_f64(),
        centre: point["centre"].as_f64(),
        lower: point["lower"].as_f64(),
        upper: point["upper"].as_f64(),
        signal: items(&point["signals"])
            .first()
            .map(|signal| Signalled { words: text(signal, "brief"), more: signal["more"] == true }),
        to: text(point, "behind_href"),
    };
    items(&report["points"]).iter().map(place).collect()
}

/// Each finished gap at the shell that ended it, and the run that goes on. A signal stands at the
/// gap in which it was given; where more have the outcome, gaps have become shorter.
fn gaps(report: &Value) -> Vec<ControlPoint> {
    let points = items(&report["points"]);
    let limits = &report["gap_limits"];
    let signal = |from: usize, to: usize| {
        let found = points.get(from..to).unwrap_or_default().iter().find_map(|p| items(&p["signals"]).first());
        found.map(|signal| Signalled { words: text(signal, "brief"), more: signal["more"] == false })
    };
    let place = |label: String, sound: &Value, signal: Option<Signalled>, to: String| ControlPoint {
        label,
        value: sound.as_f64(),
        centre: limits["mean_gap"].as_f64(),
        lower: None,
        upper: limits["upper"].as_f64(),
        signal,
        to,
    };
    let first = points.iter().position(|p| p["count"].as_u64() > Some(0)).map_or(0, |at| at + 1);
    let mut from = first;
    let mut out = Vec::new();
    for gap in items(&report["gaps"]) {
        let ended = gap["ended"].as_u64().and_then(|at| usize::try_from(at).ok()).unwrap_or(0) + 1;
        out.push(place(text(gap, "label"), &gap["sound"], signal(from, ended), text(gap, "behind_href")));
        from = ended;
    }
    if !points.is_empty() {
        out.push(place("so far".to_owned(), &report["running"], signal(from, points.len()), String::new()));
    }
    out
}
