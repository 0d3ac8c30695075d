//! Yields, from the charge to the good casting.

use super::{Asked, all_factors, factor_words, percent, said};
use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::shop::house::floor::{Floor, items, text};
use crate::web::csv;
use crate::web::draw::{self, Bar, Point};
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Part, Sheet, Table};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::sync::Arc;

pub(super) fn pages(floor: &Floor) -> Vec<Page> {
    vec![
        floor.page("/reports/yields", Right::Read, show),
        floor.page("/reports/yields.csv", Right::Read, |floor, visit| async move {
            let look = floor.look(&visit).await?;
            let asked = Asked::of(&visit, "month");
            let report = look.get(&format!("/v1/reports/yields?{}", asked.api(&look, true))).await?;
            csv::table(&format!("yields-by-{}", asked.by), &report["rows"])
        }),
    ]
}

/// The yields: member, name, and what it is of what.
const YIELDS: [(&str, &str, &str); 7] = [
    ("charge_recovery", "Charge recovery", "poured of charged"),
    ("melt_loss", "Melt loss", "of the charge, dross in it"),
    ("pouring_yield", "Pouring yield", "net of castings, of poured"),
    ("good_yield", "Good yield", "net of good castings, of poured"),
    ("metal_yield", "Metal yield", "net of good castings, of charged"),
    ("first_pass_yield", "First-pass yield", "good at the first attempt without repair, of parts"),
    ("rolled_throughput_yield", "Through all stages", "without loss or rework at any stage"),
];

async fn show(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let asked = Asked::of(&visit, "month");
    let report = look.get(&format!("/v1/reports/yields?{}", asked.api(&look, true))).await?;
    let rows = items(&report["rows"]);
    let mut sheet = Sheet::new(&visit, format!("Yields by {}", factor_words(&asked.by)));
    sheet.lead = said(&asked);
    sheet.part(asked.asking("/reports/yields", &all_factors()));
    let overall = &report["overall"];
    let facts = YIELDS.map(|(member, name, _)| (name, Cell::text(percent(&overall[member]))));
    sheet.facts("Over all of it", facts);
    let chosen = YIELDS.iter().find(|(member, ..)| *member == visit.query.get("yield")).unwrap_or(&YIELDS[3]);
    let to = |row: &Value| format!("/reports/behind?outcome=yields&level={}&{}", escape_part(&text(row, "label")), asked.page());
    let ways = YIELDS
        .iter()
        .filter(|(member, ..)| *member != chosen.0)
        .map(|(member, name, _)| ((*name).to_owned(), format!("/reports/yields?{}&yield={member}", asked.page())));
    if !rows.is_empty() {
        let about = format!("{}: {}.", chosen.1, chosen.2);
        let drawn = if asked.by == "month" {
            let points: Vec<Point> =
                rows.iter().map(|row| Point { label: text(row, "label"), value: row[chosen.0].as_f64(), to: to(row) }).collect();
            draw::over_time(chosen.1, &about, &points)
        } else {
            let bars: Vec<Bar> = rows
                .iter()
                .filter_map(|row| Some((row, row[chosen.0].as_f64()?)))
                .map(|(row, value)| Bar { label: text(row, "label"), value, said: percent(&row[chosen.0]), to: to(row) })
                .collect();
            draw::bars(chosen.1, &about, &bars)
        };
        sheet.part(Part::Drawing(about, drawn));
        sheet.part(Part::Links(ways.collect()));
    }
    let mut heads = vec![factor_words(&asked.by), "Heats closed#", "Castings#"];
    let names: Vec<String> = YIELDS.iter().map(|(_, name, _)| format!("{name}#")).collect();
    heads.extend(names.iter().map(String::as_str));
    let mut table = Table::new("The figures", "Nothing of that is on record yet.", &heads);
    for row in rows {
        let mut cells = vec![
            Cell::text(text(row, "label")).to(to(row)),
            Cell::number(text(row, "heats")),
            Cell::number(text(row, "castings")),
        ];
        for (member, ..) in YIELDS {
            let said = percent(&row[member]);
            cells.push(Cell::number(if said.is_empty() { "not yet seen".to_owned() } else { said }));
        }
        table.rows.push(cells);
    }
    sheet.table(table);
    if let Some(first) = overall["first_pass"].as_object().filter(|f| f.get("of").is_some_and(|of| *of != 0)) {
        let of = |name: &str| first.get(name).map(ToString::to_string).unwrap_or_default();
        let rate = super::rate_words(&overall["first_pass"]);
        sheet.part(Part::Words(format!("First pass: {} of {} parts, {rate}.", of("count"), of("of"))));
    }
    if !rows.is_empty() {
        let mut table = Table::new("Stage by stage", "", &["Stage", "Came in#", "Went on without loss or rework#"]);
        for stage in items(&overall["route"]) {
            table.row([text(stage, "stage").into(), text(stage, "entered").into(), text(stage, "clean").into()]);
        }
        sheet.table(table);
    }
    let waits = report["waiting"]["count"].as_u64().unwrap_or(0);
    if waits > 0 {
        sheet.part(Part::Words(format!("{waits} castings are not yet seen: they are in no rate.")));
    }
    sheet
        .links(&[("This table as CSV", format!("/reports/yields.csv?{}", asked.page())), ("All reports", "/reports".to_owned())]);
    sheet.show()
}
