//! `/reports/quote-ranges`: how often quotes held; `/reports/quotes`: won, lost, and what misses.

use super::ranges;
use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::shop::house::floor::{Floor, items, text};
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Part, Sheet, Table};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::sync::Arc;

/// The pages.
pub fn pages(floor: &Floor) -> Vec<Page> {
    vec![floor.page("/reports/quote-ranges", Right::Own, ranges_page), floor.page("/reports/quotes", Right::Own, learnt)]
}

fn held(of: &Value) -> String {
    let (held, n) = (of["held"].as_u64().unwrap_or(0), of["of"].as_u64().unwrap_or(0));
    match of["share"].as_f64() {
        Some(share) if n >= 20 => format!("{held} of {n} ({:.0} %)", share * 100.0),
        _ => format!("{held} of {n}"),
    }
}

/// Of some jobs, how many ranges said to hold 80 in 100 held.
fn eighty(of: &Value) -> Value {
    items(&of["levels"]).iter().find(|level| level["level"] == 0.8).cloned().unwrap_or(Value::Null)
}

/// By how much the middle of some jobs was off.
fn off(of: &Value) -> String {
    of["bias"].as_f64().map_or_else(String::new, |bias| format!("{:+.0} %", (bias.exp() - 1.0) * 100.0))
}

async fn ranges_page(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let report = look.get("/v1/reports/quote-ranges").await?;
    let mut sheet = Sheet::new(&visit, "How often quotes held");
    "Every job quoted again from what was on record before it, and held against what it cost.".clone_into(&mut sheet.lead);
    if report["state"] == "working" {
        let (done, of) = (report["done"].as_u64().unwrap_or(0), report["of"].as_u64().unwrap_or(0));
        sheet.part(Part::Note(format!("{done} of {of} jobs are quoted again so far. Look again in a moment.")));
        sheet.links(&[("Look again", "/reports/quote-ranges".to_owned()), ("All quotes", "/quotes".to_owned())]);
        return sheet.show();
    }
    sheet.part(Part::Words(text(&report, "said")));
    let mut table = Table::new("Held", "", &["Said to hold", "Within the range#", "Below its upper line#"]);
    for level in items(&report["levels"]) {
        let said = format!("{:.0} in 100", level["level"].as_f64().unwrap_or(0.0) * 100.0);
        table.row([said.into(), Cell::number(held(level)), Cell::number(held(&level["at_most"]))]);
    }
    sheet.table(table);
    let drawn = ranges::drawing(&report);
    sheet.part(Part::Drawing("Job by job, the last of them".to_owned(), drawn.inline()));
    let mut course = Table::new("Over time", "", &["From", "Jobs#", "Within 80 %#", "Middle off by#"]);
    for stretch in items(&report["course"]) {
        course.row([
            look.reads.at(&stretch["from"]).into(),
            Cell::number(stretch["jobs"].as_u64().unwrap_or(0).to_string()),
            Cell::number(held(&eighty(stretch))),
            Cell::number(off(stretch)),
        ]);
    }
    sheet.table(course);
    let mut kinds = Table::new("By kind of work", "", &["Kind", "Jobs#", "Within 80 %#", "Middle off by#"]);
    for kind in items(&report["by_kind"]) {
        kinds.row([
            text(kind, "kind").into(),
            Cell::number(kind["jobs"].as_u64().unwrap_or(0).to_string()),
            Cell::number(held(&eighty(kind))),
            Cell::number(off(kind)),
        ]);
    }
    sheet.table(kinds);
    let mut open = Table::new("Open, and above the 80 % line already", "None.", &["Job", "What", "So far#", "Line#"]);
    for one in items(&report["items"]) {
        let (Some(so_far), Some(line)) = (one["so_far_minor"].as_f64(), one["range80_minor"]["high"].as_f64()) else { continue };
        if so_far > line {
            let number = text(one, "job");
            open.row([
                Cell::text(number.clone()).to(format!("/jobs/{}/cost", escape_part(&number))),
                text(one, "title").into(),
                Cell::number(look.reads.minor(&one["so_far_minor"])),
                Cell::number(look.reads.minor(&one["range80_minor"]["high"])),
            ]);
        }
    }
    sheet.table(open);
    sheet.links(&[
        ("Won, lost, and what misses", "/reports/quotes".to_owned()),
        ("All quotes", "/quotes".to_owned()),
        ("All reports", "/reports".to_owned()),
    ]);
    sheet.show()
}

fn won(heading: &str, rows: &Value) -> Table {
    let mut table = Table::new(heading, "No quote is on record yet.", &["", "Won#", "Lost#", "Open#"]);
    for row in items(rows) {
        let n = |name: &str| Cell::number(row[name].as_u64().unwrap_or(0).to_string());
        table.row([text(row, "level").into(), n("won"), n("lost"), n("open")]);
    }
    table
}

async fn learnt(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let report = look.get("/v1/reports/quotes").await?;
    let mut sheet = Sheet::new(&visit, "Quotes: won, lost, and what misses");
    let all = &report["quotes"];
    let n = |name: &str| all[name].as_u64().unwrap_or(0);
    sheet.lead = format!("{} won, {} lost or lapsed, {} open", n("won"), n("lost"), n("open"));
    sheet.table(won("By price before tax", &report["by_price"]));
    sheet.table(won("By kind of work", &report["by_kind"]));
    let mut reasons = Table::new("Why not taken, as it was said", "No quote was declined yet.", &["Why", "Quotes#"]);
    for row in items(&report["reasons"]) {
        reasons.row([text(row, "reason").into(), Cell::number(row["quotes"].as_u64().unwrap_or(0).to_string())]);
    }
    sheet.table(reasons);
    let heads = ["Part of the cost", "Jobs#", "Quoted#", "Cost#", "Off by#"];
    let mut misses =
        Table::new("What misses most, over finished jobs that were quoted", "No quoted job is finished yet.", &heads);
    for row in items(&report["misses"]) {
        misses.row([
            text(row, "about").into(),
            Cell::number(row["jobs"].as_u64().unwrap_or(0).to_string()),
            Cell::number(look.reads.minor(&row["quoted_minor"])),
            Cell::number(look.reads.minor(&row["real_minor"])),
            Cell::number(look.reads.minor(&row["off_minor"])),
        ]);
    }
    sheet.table(misses);
    sheet.part(Part::Words(
        "A failed casting costs of every part: what was quoted for it is shared out over the parts by what they come to."
            .to_owned(),
    ));
    sheet.links(&[
        ("How often ranges held", "/reports/quote-ranges".to_owned()),
        ("All quotes", "/quotes".to_owned()),
        ("All reports", "/reports".to_owned()),
    ]);
    sheet.show()
}
