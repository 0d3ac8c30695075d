//! Leaks, short pours and defects: dots with their intervals, and commonest first.

use super::{Asked, all_factors, factor_words, rate_words, said};
use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::shop::house::floor::{Floor, Look, items, text};
use crate::web::csv;
use crate::web::draw::levels::{Level, rates_by_level};
use crate::web::draw::{self, Bar};
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Part, Sheet, Table};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;

/// A report of a rate: its name in paths, title, what is counted of what, as members and in words.
#[derive(Clone, Copy)]
struct Outcome {
    name: &'static str,
    title: &'static str,
    of: &'static str,
    count: &'static str,
    of_words: &'static str,
    count_words: &'static str,
}

const OUTCOMES: [Outcome; 3] = [
    Outcome { name: "leaks", title: "Leaks", of: "poured", count: "leaked", of_words: "Shells poured", count_words: "Leaked" },
    Outcome {
        name: "shorts",
        title: "Short pours",
        of: "poured",
        count: "short",
        of_words: "Shells poured",
        count_words: "Short",
    },
    Outcome {
        name: "defects",
        title: "Defects",
        of: "seen",
        count: "count",
        of_words: "Castings broken out",
        count_words: "With a finding",
    },
];

pub(super) fn pages(floor: &Floor) -> Vec<Page> {
    let mut out = Vec::new();
    for (outcome, page, file) in [
        (OUTCOMES[0], "/reports/leaks", "/reports/leaks.csv"),
        (OUTCOMES[1], "/reports/shorts", "/reports/shorts.csv"),
        (OUTCOMES[2], "/reports/defects", "/reports/defects.csv"),
    ] {
        out.push(floor.page(page, Right::Read, move |floor, visit| async move { show(&floor, &visit, outcome).await }));
        out.push(floor.page(file, Right::Read, move |floor, visit| async move {
            let look = floor.look(&visit).await?;
            let asked = Asked::of(&visit, "alloy");
            let report = look.get(&format!("/v1/reports/{}?{}", outcome.name, asked.api(&look, true))).await?;
            csv::table(&format!("{}-by-{}", outcome.name, asked.by), &report["rows"])
        }));
    }
    out.push(floor.page("/reports/commonest.csv", Right::Read, |floor, visit| async move {
        let look = floor.look(&visit).await?;
        let asked = Asked::of(&visit, "alloy");
        let report = look.get(&format!("/v1/reports/defects?{}", asked.api(&look, true))).await?;
        csv::table("defects-commonest-first", &report["pareto"])
    }));
    out
}

/// Where what is behind a level opens.
fn behind(outcome: Outcome, asked: &Asked, row: &Value) -> String {
    format!("/reports/behind?outcome={}&level={}&{}", outcome.name, escape_part(&text(row, "label")), asked.page())
}

async fn show(floor: &Floor, visit: &Visit, outcome: Outcome) -> Result<Shown, Problem> {
    let look = floor.look(visit).await?;
    let asked = Asked::of(visit, "alloy");
    let path = format!("/reports/{}", outcome.name);
    let report = look.get(&format!("/v1{path}?{}", asked.api(&look, true))).await?;
    let mut sheet = Sheet::new(visit, format!("{} by {}", outcome.title, factor_words(&asked.by)));
    sheet.lead = said(&asked);
    sheet.part(asked.asking(&path, &all_factors()));
    let overall = &report["overall"];
    sheet.part(Part::Note(summary(outcome, overall, &report["waiting"])));
    let rows = items(&report["rows"]);
    if !rows.is_empty() {
        let drawn: Vec<Level> = rows.iter().map(|row| level(outcome, &asked, row)).collect();
        let about = "A ring is the rate that was seen, the whisker its 95 % interval (Wilson); the square is the rate drawn towards \
                     those of the others, as few pours must be. The numbers stand below.";
        let drawing = rates_by_level(outcome.title, about, &drawn, overall["rate"].as_f64());
        sheet.part(Part::Drawing(String::new(), drawing.inline()));
    }
    if let Some(words) = report["compared"]["words"].as_str() {
        sheet.part(Part::Note(words.to_owned()));
        compared(&mut sheet, &asked, outcome, &report);
    }
    sheet.table(table(&look, outcome, &asked, rows));
    if report["counts_in_several"] == true {
        sheet.part(Part::Words("One that has several of these counts in each.".to_owned()));
    }
    if let Some(why) = report["left_out"]["why"].as_str() {
        sheet.part(Part::Words(format!("{} left out: {why}.", report["left_out"]["count"])));
    }
    if outcome.name == "defects" {
        commonest(&mut sheet, &asked, &report);
    }
    sheet.links(&[("This table as CSV", format!("{path}.csv?{}", asked.page())), ("All reports", "/reports".to_owned())]);
    sheet.show()
}

fn summary(outcome: Outcome, overall: &Value, waiting: &Value) -> String {
    let (of, count) = (text(overall, outcome.of), text(overall, outcome.count));
    let mut out = if of == "0" {
        format!("{}: none yet, so there is no rate.", outcome.of_words)
    } else {
        format!("{}: {of}. {}: {count}, {}.", outcome.of_words, outcome.count_words, rate_words(overall))
    };
    let waits = waiting["count"].as_u64().unwrap_or(0);
    if waits > 0 {
        let what = if outcome.name == "defects" { "poured and not yet seen" } else { "not yet poured" };
        out = format!("{out} {waits} {what}.");
    }
    out
}

fn level(outcome: Outcome, asked: &Asked, row: &Value) -> Level {
    Level {
        label: text(row, "label"),
        count: format!("{} of {}", text(row, outcome.count), text(row, outcome.of)),
        rate: row["rate"].as_f64(),
        low: row["low"].as_f64().unwrap_or(0.0),
        high: row["high"].as_f64().unwrap_or(0.0),
        shrunk: row["shrunken"].as_f64(),
        to: behind(outcome, asked, row),
    }
}

/// Which levels can be told apart, or lean; the way to compare two of them.
fn compared(sheet: &mut Sheet, asked: &Asked, outcome: Outcome, report: &Value) {
    let told = |verdict: &str| items(&report["comparisons"]).iter().filter(|c| c["verdict"] == verdict).collect::<Vec<_>>();
    for (verdict, heading) in [("told_apart", "Told apart"), ("leaning", "Leaning")] {
        let found = told(verdict);
        if found.is_empty() {
            continue;
        }
        let mut table = Table::new(heading, "", &["What", "In words"]);
        for one in found.into_iter().take(20) {
            let (a, b) = (text(one, "a"), text(one, "b"));
            let to = format!(
                "/reports/compare?outcome={}&factor={}&a={}&b={}&{}",
                outcome.name.trim_end_matches('s'),
                escape_part(&asked.by),
                escape_part(&a),
                escape_part(&b),
                asked.page()
            );
            let name = Cell::text(if b.is_empty() { a.clone() } else { format!("{a}, {b}") });
            table.row([if b.is_empty() { name } else { name.to(to) }, text(one, "words").into()]);
        }
        sheet.table(table);
    }
    let rows = items(&report["rows"]);
    if rows.len() > 1 {
        let query = format!(
            "/reports/compare?outcome={}&factor={}&{}",
            outcome.name.trim_end_matches('s'),
            escape_part(&asked.by),
            asked.page()
        );
        sheet.links(&[
            ("Compare two of them", query),
            ("What makes a difference at all", format!("/reports/changed?outcome={}", outcome.name.trim_end_matches('s'))),
        ]);
    }
}

fn table(look: &Look<'_>, outcome: Outcome, asked: &Asked, rows: &[Value]) -> Table {
    let leaks = outcome.name == "leaks";
    let (of, count) = (format!("{}#", outcome.of_words), format!("{}#", outcome.count_words));
    let mut heads =
        vec![factor_words(&asked.by), of.as_str(), count.as_str(), "Rate, 95 % interval#", "Drawn to the others#", "Place#"];
    if leaks {
        heads.push("Metal lost#");
    }
    let mut table = Table::new("The figures", "Nothing of that is on record yet.", &heads);
    for row in rows {
        let mut cells = vec![
            Cell::text(text(row, "label")).to(behind(outcome, asked, row)),
            Cell::number(text(row, outcome.of)),
            Cell::number(text(row, outcome.count)),
            Cell::number(rate_words(row)),
            Cell::number(drawn_words(row)),
            Cell::number(place_words(row)),
        ];
        if leaks {
            cells.push(Cell::number(look.reads.kg(&row["lost_kg"])));
        }
        table.rows.push(cells);
    }
    table
}

/// A rate drawn towards the others, with its interval.
fn drawn_words(row: &Value) -> String {
    match (row["shrunken"].as_f64(), row["shrunken_low"].as_f64(), row["shrunken_high"].as_f64()) {
        (Some(rate), Some(low), Some(high)) => format!("{:.0} % ({:.0} to {:.0})", rate * 100.0, low * 100.0, high * 100.0),
        _ => String::new(),
    }
}

/// The places that a level may stand at, the lowest rate first.
fn place_words(row: &Value) -> String {
    match (row["place"]["from"].as_u64(), row["place"]["to"].as_u64()) {
        (Some(from), Some(to)) if from == to => from.to_string(),
        (Some(from), Some(to)) => format!("{from} to {to}"),
        _ => String::new(),
    }
}

/// What was found, commonest first, each with its share of all that was found.
fn commonest(sheet: &mut Sheet, asked: &Asked, report: &Value) {
    let found = items(&report["pareto"]);
    if found.is_empty() {
        return;
    }
    let percent = |v: &Value| v.as_f64().map_or_else(String::new, |v| format!("{:.0} %", v * 100.0));
    let to = |row: &Value| {
        let filtered = Asked { code: text(row, "code"), ..asked.clone() };
        format!("/reports/defects?{}", filtered.page())
    };
    let bars: Vec<Bar> = found
        .iter()
        .take(12)
        .map(|row| Bar {
            label: text(row, "name"),
            value: row["count"].as_f64().unwrap_or(0.0),
            said: format!("{}, {} down to here", text(row, "count"), percent(&row["cumulative"])),
            to: to(row),
        })
        .collect();
    sheet.part(Part::Drawing(
        "Commonest first".to_owned(),
        draw::bars("Defects, commonest first", "A bar is how often it was found.", &bars),
    ));
    let mut table = Table::new("", "", &["Defect", "Code", "Found#", "On castings#", "Share#", "Down to here#"]);
    for row in found {
        table.row([
            Cell::text(text(row, "name")).to(to(row)),
            text(row, "code").into(),
            text(row, "count").into(),
            text(row, "castings").into(),
            percent(&row["share"]).into(),
            percent(&row["cumulative"]).into(),
        ]);
    }
    sheet.table(table);
    sheet.links(&[("Commonest first as CSV", format!("/reports/commonest.csv?{}", asked.page()))]);
}
