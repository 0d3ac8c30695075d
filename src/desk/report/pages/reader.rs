//! What a report says in °C and mm, for a shop that reads °F and inches. Answers stay as they are.

use super::super::factor::Factor;
use super::super::outcome::about;
use crate::kernel::units::{Units, fahrenheit_from_celsius};
use serde_json::Value;

/// Millimetres of an inch.
const INCH: f64 = 25.4;
/// Degrees Fahrenheit of a step of one degree Celsius.
const FAHRENHEIT: f64 = 1.8;

/// How a value is turned, the unit it was in, and the one it is then in.
type Turned = (fn(f64) -> f64, &'static str, &'static str);

/// How a factor's values are turned for whoever reads °F and inches. Superheat is a difference,
/// and has no zero of its own.
fn quantity(factor: &str) -> Option<Turned> {
    match Factor::parse(factor)? {
        Factor::ShellTemperature => Some((fahrenheit_from_celsius, "°C", "°F")),
        Factor::Superheat => Some((|c| c * FAHRENHEIT, "°C", "°F")),
        Factor::Section => Some((|mm| mm / INCH, "mm", "in")),
        _ => None,
    }
}

/// A number as it is read: whole degrees, hundredths of an inch.
fn number(value: f64, unit: &str) -> String {
    if unit == "in" { format!("{value:.2}") } else { format!("{value:.0}") }
}

/// A band, or a number with its unit, as the reader has it: `4 to 6 mm`, `650 °C`.
pub(super) fn level(units: Units, factor: &str, label: &str) -> String {
    let Some((convert, si, own)) = quantity(factor).filter(|_| units == Units::Us) else { return label.to_owned() };
    let Some(bare) = label.strip_suffix(si) else { return label.to_owned() };
    let word = |word: &str| word.parse::<f64>().map_or_else(|_| word.to_owned(), |v| number(convert(v), own));
    let words: Vec<String> = bare.split_whitespace().map(word).collect();
    format!("{} {own}", words.join(" "))
}

/// The step that an effect is said for, how many of the answer's steps it is, and its unit.
pub(super) fn step(units: Units, factor: &str) -> Option<(f64, f64, &'static str)> {
    let (_, _, own) = quantity(factor).filter(|_| units == Units::Us)?;
    match Factor::parse(factor)? {
        Factor::ShellTemperature => Some((100.0, 100.0 / FAHRENHEIT / 50.0, own)),
        Factor::Superheat => Some((50.0, 50.0 / FAHRENHEIT / 25.0, own)),
        // A sixteenth of an inch is 1.5875 mm.
        _ => Some((0.0625, INCH / 16.0, own)),
    }
}

/// A model as the reader has it: its effects, where the rest stands, its curves. Where a drawing or
/// a figure opens does not change.
pub(super) fn model(units: Units, report: &mut Value) {
    if units != Units::Us {
        return;
    }
    for term in report["terms"].as_array_mut().into_iter().flatten() {
        effect(units, term);
    }
    for rates in report["rates"].as_array_mut().into_iter().flatten() {
        let at = rates["at"].as_str().unwrap_or_default();
        let parts: Vec<String> = at.split("; ").map(|part| standing(units, part)).collect();
        rates["at"] = parts.join("; ").into();
    }
    if let Some(words) = report["coarse"].as_str() {
        report["coarse"] = words.replace("5 °C", "9 °F").replace("0.5 mm", "0.02 in").into();
    }
    for curve in report["curves"].as_array_mut().into_iter().flatten() {
        curve["unit"] = "°F".into();
        for section in curve["sections"].as_array_mut().into_iter().flatten() {
            section["section"] = level(units, "section_band", section["section"].as_str().unwrap_or_default()).into();
            for place in ["points", "dots"] {
                for point in section[place].as_array_mut().into_iter().flatten() {
                    if let Some(celsius) = point["shell_c"].as_f64() {
                        point["shell_c"] = fahrenheit_from_celsius(celsius).into();
                    }
                    if let Some(band) = point["band"].as_str() {
                        point["band"] = level(units, "shell_temperature_band", band).into();
                    }
                }
            }
        }
    }
}

/// What stands where, in words: `shell temperature at the pour 655 °C`.
fn standing(units: Units, part: &str) -> String {
    for factor in ["shell_temperature_band", "superheat_band", "section_band"] {
        let words = super::factor_words(factor);
        if let Some(value) = part.strip_prefix(words) {
            return format!("{words} {}", level(units, factor, value.trim_start()));
        }
    }
    part.to_owned()
}

/// An effect of a number, for the reader's own step.
fn effect(units: Units, term: &mut Value) {
    let factor = term["factor"].as_str().unwrap_or_default().to_owned();
    let (Some((step, times, own)), Some(old)) = (step(units, &factor), term["step"].as_f64()) else { return };
    let said = |term: &Value| -> Vec<String> {
        ["odds_ratio", "low", "high"]
            .map(|name| term[name].as_f64().map_or_else(String::new, super::super::model_words::times))
            .into()
    };
    let (before, unit) = (said(term), term["unit"].as_str().unwrap_or_default().to_owned());
    let seen =
        |term: &Value| (about(term["seen"]["from"].as_f64().unwrap_or(0.0)), about(term["seen"]["to"].as_f64().unwrap_or(0.0)));
    let (from, to) = seen(term);
    for name in ["odds_ratio", "low", "high"] {
        if let Some(ratio) = term[name].as_f64() {
            term[name] = ratio.powf(times).min(f64::MAX).into();
        }
    }
    let after = said(term);
    let words = term["words"].as_str().unwrap_or_default();
    let words = words
        .replace(
            &format!("seen from {from} to {to} {unit}"),
            &format!("seen {}", level(units, &factor, &format!("from {from} to {to} {unit}"))),
        )
        .replace(&format!("each {old} {unit} more"), &format!("each {step} {own} more"))
        .replace(
            &format!("{} times what they were ({} to {})", before[0], before[1], before[2]),
            &format!("{} times what they were ({} to {})", after[0], after[1], after[2]),
        );
    term["words"] = words.into();
    term["step"] = step.into();
    term["unit"] = own.into();
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::house::floor::items;
    use serde_json::json;

    #[test]
    fn bands_and_effects_are_read_in_the_shops_own_units() {
        let us = |factor, label| level(Units::Us, factor, label);
        assert_eq!(us("shell_temperature_band", "600 to 650 °C"), "1112 to 1202 °F");
        // A superheat is a difference.
        assert_eq!(us("superheat_band", "under 100 °C"), "under 180 °F");
        assert_eq!(us("section_band", "19 mm"), "0.75 in");
        assert_eq!(us("minutes_out_of_kiln_band", "5 to 8 min"), "5 to 8 min");
        assert_eq!(us("section_band", "not on record"), "not on record");
        assert_eq!(level(Units::Metric, "section_band", "4 to 6 mm"), "4 to 6 mm");
        let words = "Shell temperature at the pour, seen from 500 to 800 °C: each 50 °C more makes the odds of a leak 2 times what they were (1.1 to 3); the interval does not include 1.";
        let mut report = json!({
            "terms": [{"factor": "shell_temperature_band", "odds_ratio": 2.0, "low": 1.1, "high": 3.0, "step": 50.0, "unit": "°C",
                "seen": {"from": 500.0, "to": 800.0, "mean": 650.0}, "words": words}],
            "rates": [{"at": "thinnest section 12.7 mm; alloy C87300"}],
            "curves": [{"unit": "°C", "sections": [{"section": "4 to 6 mm", "points": [{"shell_c": 100.0}],
                "dots": [{"shell_c": 100.0, "band": "under 600 °C", "behind_href": "level=under%20600%20%C2%B0C"}]}]}],
        });
        model(Units::Us, &mut report);
        let term = &report["terms"][0];
        // 100 °F are 55.6 °C: 2 to the power of 1.111.
        assert!((term["odds_ratio"].as_f64().unwrap() - 2.0_f64.powf(100.0 / 90.0)).abs() < 1e-12);
        assert_eq!(
            term["words"],
            "Shell temperature at the pour, seen from 932 to 1472 °F: each 100 °F more makes the odds of a leak 2.2 times what they were (1.1 to 3.4); the interval does not include 1."
        );
        assert_eq!(report["rates"][0]["at"], "thinnest section 0.50 in; alloy C87300");
        let section = &items(&report["curves"][0]["sections"])[0];
        assert_eq!((&section["section"], &section["dots"][0]["band"]), (&json!("0.16 to 0.24 in"), &json!("under 1112 °F")));
        assert_eq!(
            (&section["points"][0]["shell_c"], &section["dots"][0]["behind_href"]),
            (&json!(212.0), &json!("level=under%20600%20%C2%B0C"))
        );
        let mut metric = json!({"terms": [{"words": words}]});
        model(Units::Metric, &mut metric);
        assert_eq!(metric["terms"][0]["words"], words);
    }
}
