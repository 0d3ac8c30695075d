//! Losses by stage and cause, and what of the charge never reached a mould.

use super::{Asked, percent, said};
use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::shop::house::floor::{Floor, items, plain, text};
use crate::web::csv;
use crate::web::draw::{self, Bar, Interval};
use crate::web::sheet::{Cell, Part, Sheet, Table};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::sync::Arc;

pub(super) fn pages(floor: &Floor) -> Vec<Page> {
    vec![
        floor.page("/reports/losses", Right::Read, losses),
        floor.page("/reports/losses.csv", Right::Read, |floor, visit| async move {
            let look = floor.look(&visit).await?;
            let asked = Asked::of(&visit, "stage");
            let report = look.get(&format!("/v1/reports/losses?{}", asked.api(&look, true))).await?;
            csv::table(&format!("losses-by-{}", asked.by), &report["rows"])
        }),
        floor.page("/reports/melt-loss", Right::Read, melt_loss),
        floor.page("/reports/melt-loss.csv", Right::Read, |floor, visit| async move {
            let look = floor.look(&visit).await?;
            let asked = Asked::of(&visit, "furnace");
            let report = look.get(&format!("/v1/reports/melt-loss?{}", asked.api(&look, true))).await?;
            csv::table(&format!("melt-loss-by-{}", asked.by), &report["rows"])
        }),
    ]
}

async fn losses(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let asked = Asked::of(&visit, "stage");
    let report = look.get(&format!("/v1/reports/losses?{}", asked.api(&look, true))).await?;
    let rows = items(&report["rows"]);
    let sees_money = visit.actor()?.sees_money;
    let mut sheet = Sheet::new(&visit, format!("Losses by {}", if asked.by == "cause" { "cause" } else { "stage" }));
    sheet.lead = said(&asked);
    sheet.part(asked.asking("/reports/losses", &[("stage", "stage"), ("cause", "cause")]));
    let overall = &report["overall"];
    let hours = |row: &Value| row["hours"].as_f64().map_or_else(String::new, |h| format!("{:.1} h", h.max(0.0)));
    sheet.facts(
        "Over all of it",
        [
            ("Castings lost", Cell::text(text(overall, "castings"))),
            ("Metal in them", Cell::text(look.reads.kg(&overall["kg"]))),
            ("Hours in them", Cell::text(hours(overall))),
            ("Metal value", Cell::text(look.reads.minor(&overall["recast_minor"]))),
        ],
    );
    if rows.is_empty() {
        sheet.part(Part::Words("No casting was lost in that time.".to_owned()));
    } else {
        let bars: Vec<Bar> = rows
            .iter()
            .take(15)
            .map(|row| Bar {
                label: plain(&text(row, "label")),
                value: row["castings"].as_f64().unwrap_or(0.0),
                said: format!("{} castings, {}", text(row, "castings"), percent(&row["share"])),
                to: String::new(),
            })
            .collect();
        sheet.part(Part::Drawing(String::new(), draw::bars("Losses, commonest first", "A bar is how many castings.", &bars)));
    }
    for row in rows {
        let heading = format!("{}: {} castings", plain(&text(row, "label")), text(row, "castings"));
        let heads: &[&str] = &["Casting", "Lost"];
        let mut table = Table::new(&heading, "", heads);
        for one in items(&row["behind"]).iter().rev().take(40) {
            let tag = text(one, "tag");
            table.row([Cell::tag(tag.clone()).to(format!("/castings/{tag}")), look.reads.at(&one["at"]).into()]);
        }
        let value = if sees_money { format!(", {}", look.reads.minor(&row["recast_minor"])) } else { String::new() };
        table.foot = format!("{} of metal, {}{value}. The newest 40 are listed.", look.reads.kg(&row["kg"]), hours(row));
        sheet.table(table);
    }
    sheet
        .links(&[("This table as CSV", format!("/reports/losses.csv?{}", asked.page())), ("All reports", "/reports".to_owned())]);
    sheet.show()
}

/// What the melt loss may be asked by.
const MELTS: [(&str, &str); 5] = [
    ("furnace", "furnace"),
    ("alloy", "alloy"),
    ("charge_kind", "what was charged"),
    ("crucible", "crucible"),
    ("month", "month"),
];

async fn melt_loss(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let asked = Asked::of(&visit, "furnace");
    let report = look.get(&format!("/v1/reports/melt-loss?{}", asked.api(&look, true))).await?;
    let rows = items(&report["rows"]);
    let words = MELTS.iter().find(|(value, _)| *value == asked.by).map_or("furnace", |(_, words)| words);
    let mut sheet = Sheet::new(&visit, format!("Melt loss by {words}"));
    sheet.lead = said(&asked);
    sheet.part(Part::Words(
        "What of the charge was neither poured, pigged, left in the pot nor spilled; dross is part of it.".to_owned(),
    ));
    sheet.part(asked.asking("/reports/melt-loss", &MELTS));
    let heats = |row: &Value| format!("{} heats", text(row, "heats"));
    let drawn: Vec<Interval> = rows
        .iter()
        .map(|row| Interval {
            label: plain(&text(row, "label")),
            count: heats(row),
            rate: row["melt_loss"].as_f64().map(|r| r.max(0.0)),
            low: row["low"].as_f64().unwrap_or(0.0).max(0.0),
            high: row["high"].as_f64().or(row["melt_loss"].as_f64()).unwrap_or(0.0).max(0.0),
            to: heats_link(row),
        })
        .collect();
    if !drawn.is_empty() {
        sheet.part(Part::Drawing(
            String::new(),
            draw::intervals("Melt loss", "A dot is the loss, the whisker its 95 % interval.", &drawn),
        ));
    }
    let mut table = Table::new(
        "The figures",
        "No heat is closed yet.",
        &[words, "Heats weighed#", "Charged#", "Loss#", "95 % interval#", "Dross#"],
    );
    for row in rows {
        let between = match (row["low"].as_f64(), row["high"].as_f64()) {
            (Some(low), Some(high)) => format!("{:.1} to {:.1}", low * 100.0, high * 100.0),
            _ => "too few to say".to_owned(),
        };
        table.row([
            Cell::text(plain(&text(row, "label"))).to(heats_link(row)),
            text(row, "heats").into(),
            look.reads.kg(&row["charged_kg"]).into(),
            percent(&row["melt_loss"]).into(),
            between.into(),
            percent(&row["dross_share"]).into(),
        ]);
    }
    sheet.table(table);
    sheet.links(&[
        ("This table as CSV", format!("/reports/melt-loss.csv?{}", asked.page())),
        ("All reports", "/reports".to_owned()),
    ]);
    sheet.show()
}

/// The page of the heats behind a row, as the API's own link filters them.
fn heats_link(row: &Value) -> String {
    row["href"].as_str().map_or_else(String::new, |href| href.replacen("/v1/reports/heat-balances", "/reports/heats", 1))
}
