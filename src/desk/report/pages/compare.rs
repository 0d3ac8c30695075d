//! `/reports/compare` and `/reports/changed`: two levels held against each other, and what makes a difference at all.

use super::{Asked, FACTORS, all_factors, factor_words, said};
use crate::desk::report::factor::Factor;
use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::shop::house::floor::{Floor, Look, choice, items, plain, text};
use crate::web::draw::levels::{Level, rates_by_level};
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Part, Sheet, Table};
use crate::web::slip::{Field, How};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::sync::Arc;

pub(super) fn pages(floor: &Floor) -> Vec<Page> {
    vec![floor.page("/reports/compare", Right::Read, compare), floor.page("/reports/changed", Right::Read, changed)]
}

/// The outcomes, as asked for, as reports are called, and in words.
const OUTCOMES: [(&str, &str, &str); 3] =
    [("leak", "leaks", "Leaks"), ("short", "shorts", "Short pours"), ("defect", "defects", "Defects")];

fn outcome_field(outcome: &str) -> Field {
    let all: Vec<(&str, &str)> = OUTCOMES.iter().map(|(name, _, words)| (*name, *words)).collect();
    Field::list("outcome", "What", &all).with(outcome)
}

async fn compare(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let get = |name: &str| visit.query.get(name).to_owned();
    let outcome = OUTCOMES.iter().find(|(name, ..)| *name == get("outcome")).unwrap_or(&OUTCOMES[0]);
    let factor = Factor::parse(&get("factor")).filter(|f| !f.several()).map_or("recipe", Factor::name);
    let mut asked = Asked::of(&visit, factor);
    factor.clone_into(&mut asked.by);
    let report = look.get(&format!("/v1/reports/{}?{}", outcome.1, asked.api(&look, true))).await?;
    let rows = items(&report["rows"]);
    let levels: Vec<String> = rows.iter().filter(|row| row["level"].is_string()).map(|row| text(row, "label")).collect();
    let (a, b) = (get("a"), get("b"));
    let mut sheet = Sheet::new(&visit, format!("{}: two compared by {}", outcome.2, factor_words(factor)));
    sheet.lead = said(&asked);
    let level = |name: &str, label: &str, with: &str| {
        let none = std::iter::once(choice("", "choose", ""));
        Field::new(name, label, How::List).of(none.chain(levels.iter().map(|l| choice(l, l, "")))).with(with)
    };
    let others = FACTORS.iter().filter(|(f, _)| !f.several() && f.name() != factor);
    let adjust = std::iter::once(choice("", "alloy, or nothing", ""))
        .chain(std::iter::once(choice("none", "nothing", "")))
        .chain(others.map(|(f, words)| choice(f.name(), *words, "")));
    let mut fields = vec![
        outcome_field(outcome.0),
        Field::list("factor", "By", &all_factors()).with(factor),
        level("a", "The one", &a),
        level("b", "The other", &b),
        Field::new("adjust", "Held alike", How::List).of(adjust).with(get("adjust")),
    ];
    fields.extend(asked.fields());
    sheet.part(Part::asking("/reports/compare", fields));
    if a.is_empty() || b.is_empty() {
        sheet.part(Part::Note("Choose two of them.".to_owned()));
        return sheet.show();
    }
    let mut query =
        format!("outcome={}&factor={factor}&a={}&b={}&{}", outcome.0, escape_part(&a), escape_part(&b), asked.api(&look, false));
    if !get("adjust").is_empty() {
        query.push_str("&adjust=");
        query.push_str(&escape_part(&get("adjust")));
    }
    let found = look.get(&format!("/v1/reports/compare?{query}")).await?;
    show(&look, &mut sheet, outcome, &asked, &found);
    sheet.links(&[
        (&format!("{} by {}", outcome.2, factor_words(factor)), format!("/reports/{}?{}", outcome.1, asked.page())),
        ("All reports", "/reports".to_owned()),
    ]);
    sheet.show()
}

/// A verdict as it is said.
fn verdict_words(verdict: &str) -> &'static str {
    match verdict {
        "told_apart" => "Told apart",
        "leaning" => "Leaning",
        _ => "Cannot tell yet",
    }
}

fn show(look: &Look<'_>, sheet: &mut Sheet, outcome: &(&str, &str, &str), asked: &Asked, found: &Value) {
    sheet.part(Part::Note(format!("{}. {}", verdict_words(&text(found, "verdict")), text(found, "words"))));
    let behind = |label: &str| format!("/reports/behind?outcome={}&level={}&{}", outcome.1, escape_part(label), asked.page());
    let side = |level: &str, rate: &Value| Level {
        label: level.to_owned(),
        count: format!("{} of {}", text(rate, "count"), text(rate, "of")),
        rate: rate["rate"].as_f64(),
        low: rate["low"].as_f64().unwrap_or(0.0),
        high: rate["high"].as_f64().unwrap_or(0.0),
        shrunk: None,
        to: behind(level),
    };
    let (a, b) = (text(found, "a"), text(found, "b"));
    let sides = [side(&a, &found["rate_a"]), side(&b, &found["rate_b"])];
    let about = "A ring is the rate that was seen, the whisker its 95 % interval (Wilson).";
    sheet.part(Part::Drawing(String::new(), rates_by_level(outcome.2, about, &sides, None).inline()));
    let percent = |value: &Value| value.as_f64().map_or_else(|| "without end".to_owned(), |v| format!("{:.0}", v * 100.0));
    let number = |value: &Value| value.as_f64().map_or_else(|| "without end".to_owned(), |v| format!("{v:.2}"));
    let adjusted = &found["adjusted"];
    let odds = if adjusted["low"].is_number() || adjusted["odds_ratio"].is_number() {
        format!("{} ({} to {})", number(&adjusted["odds_ratio"]), number(&adjusted["low"]), number(&adjusted["high"]))
    } else {
        "nothing to go by".to_owned()
    };
    let held: Vec<String> =
        items(&adjusted["for"]).iter().filter_map(Value::as_str).map(|f| factor_words(f).to_owned()).collect();
    let more = |name: &str| {
        let needed = &found["more_pours_needed"][name];
        match (needed["a"].as_u64(), needed["b"].as_u64()) {
            (Some(a_more), Some(b_more)) => format!("{a_more} of {a}, {b_more} of {b}"),
            _ => "cannot be said".to_owned(),
        }
    };
    let year = &found["a_year"];
    let rounded = |name: &str| year[name].as_f64().map_or_else(String::new, |v| format!("{v:.0}"));
    let kg = look.reads.kg(&year["kg"]);
    sheet.facts(
        "In figures",
        [
            (
                "Difference, in a hundred pours",
                Cell::text(format!(
                    "{} ({} to {}), as counted",
                    percent(&found["difference"]["value"]),
                    percent(&found["difference"]["low"]),
                    percent(&found["difference"]["high"])
                )),
            ),
            ("Held alike", Cell::text(if held.is_empty() { "nothing".to_owned() } else { held.join(", ") })),
            ("Odds of the one to the other, so held", Cell::text(odds)),
            ("One of so many comparisons", Cell::text(text(found, "family"))),
            ("Pours of such a kind in a year", Cell::text(rounded("pours"))),
            ("The difference in a year, pours", Cell::text(rounded("events"))),
            ("In metal", Cell::text(kg)),
            (
                "In money, the metal alone",
                Cell::text(year["metal_minor"].as_i64().map_or_else(String::new, |minor| look.reads.money(minor))),
            ),
            ("Pours still to go, for the gap seen", Cell::text(more("for_seen_gap"))),
            ("Pours still to go, for a gap worth knowing", Cell::text(more("for_gap_worth_knowing"))),
            ("Not on record, left out", Cell::text(text(found, "left_out"))),
        ],
    );
    sheet.part(Part::Words(format!(
        "Worked out by {}; a chance so small that {} comparisons made together would err in one report of a hundred is called told apart.",
        plain(&text(adjusted, "test")),
        text(found, "family")
    )));
}

async fn changed(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let get = |name: &str| visit.query.get(name).to_owned();
    let outcome = OUTCOMES.iter().find(|(name, ..)| *name == get("outcome")).unwrap_or(&OUTCOMES[0]);
    let asked = Asked::of(&visit, "alloy");
    let found = look.get(&format!("/v1/reports/changed?outcome={}&{}", outcome.0, asked.api(&look, false))).await?;
    let mut sheet = Sheet::new(&visit, format!("{}: what makes a difference", outcome.2));
    sheet.lead = said(&asked);
    let mut fields = vec![outcome_field(outcome.0)];
    fields.extend(asked.fields());
    sheet.part(Part::asking("/reports/changed", fields));
    sheet.part(Part::Note(text(&found, "words")));
    let mut table = Table::new("Looked at", "Nothing has pours enough to be looked at.", &["By", "Levels#", "Told apart"]);
    for row in items(&found["rows"]) {
        let name = text(row, "factor");
        let to = format!("/reports/{}?by={}&{}", outcome.1, escape_part(&name), asked.filters());
        let words: Vec<String> = items(&row["comparisons"]).iter().take(5).map(|c| text(c, "words")).collect();
        let said = match (row["differs"] == true, words.is_empty()) {
            (false, _) => "no difference that can be told yet".to_owned(),
            (true, true) => "it makes a difference; which of them cannot be told yet".to_owned(),
            _ => words.join(" "),
        };
        table.row([Cell::text(factor_words(&name)).to(to), text(row, "levels").into(), said.into()]);
    }
    sheet.table(table);
    sheet.part(Part::Words(
        "Each is adjusted for the alloy; all of them are looked at together, so that one among many does not stand out by luck."
            .to_owned(),
    ));
    sheet.links(&[("All reports", "/reports".to_owned())]);
    sheet.show()
}
