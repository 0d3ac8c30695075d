//! Heats out of balance, the balance of one heat, where all metal is, and work in progress.

use super::{Asked, percent, said};
use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::shop::house::floor::{Floor, Look, items, plain, text};
use crate::web::csv;
use crate::web::draw::{self, Bar, Stream};
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Part, Sheet, Table};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::sync::Arc;

pub(super) fn pages(floor: &Floor) -> Vec<Page> {
    vec![
        floor.page("/reports/heats", Right::Read, heats),
        floor.page("/reports/heats.csv", Right::Read, |floor, visit| async move {
            let look = floor.look(&visit).await?;
            let report = look.get(&balances(&look, &visit, 200)).await?;
            csv::table("heat-balances", &report["items"])
        }),
        floor.page("/heats/{id}/balance", Right::Read, balance),
        floor.page("/reports/metal", Right::Read, metal),
        floor.page("/reports/metal.csv", Right::Read, |floor, visit| async move {
            let look = floor.look(&visit).await?;
            let balance = look.get("/v1/metal/balance").await?;
            csv::table("metal-balance", &Value::Array(vec![balance]))
        }),
        floor.page("/reports/work-in-progress", Right::Read, in_progress),
        floor.page("/reports/work-in-progress.csv", Right::Read, |floor, visit| async move {
            let look = floor.look(&visit).await?;
            let report = look.get("/v1/reports/work-in-progress").await?;
            csv::table("work-in-progress", &report["pieces"])
        }),
    ]
}

fn mg(value: &Value) -> i64 {
    let scaled = value.as_number().and_then(|n| crate::kernel::json::scaled(n, 6));
    scaled.and_then(|n| i64::try_from(n).ok()).unwrap_or(0)
}

/// The query of the API's list of balances: what the page was asked, filters of the API's own
/// links among it.
fn balances(look: &Look<'_>, visit: &Visit, limit: u16) -> String {
    let asked = Asked::of(visit, "");
    let mut query = asked.api(look, false);
    for name in ["from", "to", "furnace", "crucible", "charge_kind", "cursor"] {
        let value = visit.query.get(name);
        let day = matches!(name, "from" | "to") && look.reads.begin(value).is_some();
        if !value.is_empty() && !day {
            query = format!("{query}&{name}={}", escape_part(value));
        }
    }
    format!("/v1/reports/heat-balances?limit={limit}&{}", query.trim_start_matches('&'))
}

async fn heats(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let asked = Asked::of(&visit, "");
    let report = look.get(&balances(&look, &visit, 50)).await?;
    let rows = items(&report["items"]);
    let summary = &report["summary"];
    let mut sheet = Sheet::new(&visit, "Heats and their balance");
    sheet.lead = said(&asked);
    sheet.part(asked.asking("/reports/heats", &[]));
    sheet.facts(
        "",
        [
            ("Heats closed", Cell::text(text(summary, "heats"))),
            ("Weighed", Cell::text(text(summary, "weighed"))),
            ("Closed by difference", Cell::text(text(summary, "by_difference"))),
            ("Out of balance", Cell::text(text(summary, "out_of_balance"))),
            ("Unexplained", Cell::text(look.reads.kg(&summary["unexplained_kg"]))),
            ("Of the charge", Cell::text(percent(&summary["unexplained_share"]))),
        ],
    );
    let weighed: Vec<&Value> = rows.iter().filter(|row| row["closed_by_difference"] != true).collect();
    let bars: Vec<Bar> = weighed
        .iter()
        .take(20)
        .filter_map(|row| {
            let (was, limit) = (row["unexplained_kg"].as_f64()?, row["limit_kg"].as_f64().filter(|l| *l > 0.0)?);
            let share = was.abs() / limit;
            let said = format!("{}, {:.0} % of the limit", look.reads.kg(&row["unexplained_kg"]), share * 100.0);
            Some(Bar { label: text(row, "number"), value: share, said, to: format!("/heats/{}/balance", text(row, "number")) })
        })
        .collect();
    if !bars.is_empty() {
        let about = "A bar is what the scale cannot explain, held against the shop's limit for that heat.";
        sheet.part(Part::Drawing("Unexplained, newest first".to_owned(), draw::bars("Unexplained", about, &bars)));
    }
    let mut table = Table::new(
        "The figures",
        "No heat is closed yet.",
        &["Heat", "Poured on", "Metal", "Charged#", "Poured#", "Unexplained#", ""],
    );
    for row in rows {
        let number = text(row, "number");
        let state = match (row["closed_by_difference"] == true, row["within_tolerance"] == false) {
            (true, _) => "by difference",
            (_, true) => "out of balance",
            _ => "in balance",
        };
        table.row([
            Cell::text(number.clone()).to(format!("/heats/{}/balance", escape_part(&number))),
            look.reads.at(&row["at"]).into(),
            text(row, "alloy").into(),
            look.reads.kg(&row["charged_kg"]).into(),
            look.reads.kg(&row["poured_kg"]).into(),
            look.reads.kg(&row["unexplained_kg"]).into(),
            state.into(),
        ]);
    }
    if let Some(cursor) = report["next_cursor"].as_str() {
        table.next = format!("/reports/heats?cursor={}&{}", escape_part(cursor), asked.page());
    }
    sheet.table(table);
    sheet.links(&[("This table as CSV", format!("/reports/heats.csv?{}", asked.page())), ("All reports", "/reports".to_owned())]);
    sheet.show()
}

/// Where the metal of a heat went: member, name, whether it is a loss.
const WENT: [(&str, &str, bool); 6] = [
    ("poured_kg", "Poured", false),
    ("pigged_kg", "Pigged", false),
    ("heel_kg", "Left in the pot", false),
    ("dross_kg", "Dross", true),
    ("spilled_kg", "Spilled", true),
    ("unexplained_kg", "Unexplained", true),
];

async fn balance(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let id = escape_part(visit.part("id"));
    let heat = look.get(&format!("/v1/heats/{id}")).await?;
    let found = look.get(&format!("/v1/heats/{id}/balance")).await?;
    let number = text(&heat, "number");
    let mut sheet = Sheet::new(&visit, format!("Balance of heat {number}"));
    let state = match (found["closed"] == true, found["closed_by_difference"] == true, found["within_tolerance"] == false) {
        (false, ..) => "Not closed yet: what is still in the pot has not gone anywhere.".to_owned(),
        (_, true, _) => "Closed by difference: not every pour is weighed, so nothing can be unexplained yet.".to_owned(),
        (_, _, true) => format!("Out of balance: more than the limit of {} is unexplained.", look.reads.kg(&found["limit_kg"])),
        _ => format!("In balance: within the limit of {}.", look.reads.kg(&found["limit_kg"])),
    };
    sheet.part(Part::Note(state));
    let dross_unweighed = items(&heat["closings"]).first().is_some_and(|c| c["dross_kg"].is_null());
    let streams: Vec<Stream> = WENT
        .iter()
        .map(|(member, name, lost)| Stream {
            label: (*name).to_owned(),
            mg: mg(&found[*member]),
            said: look.reads.kg(&found[*member]),
            lost: *lost,
            to: String::new(),
        })
        .collect();
    let whole = format!("Charged {}", look.reads.kg(&found["charged_kg"]));
    let drawn = draw::flow("Where the charge went", "Each band is as wide as its mass; losses are hatched.", &whole, &streams);
    if !drawn.is_empty() {
        sheet.part(Part::Drawing("Where the charge went".to_owned(), drawn));
    }
    let mut table = Table::new("The figures", "", &["", "Mass#"]);
    table.row(["Charged".into(), look.reads.kg(&found["charged_kg"]).into()]);
    for (member, name, _) in WENT {
        let mass = if member == "dross_kg" && dross_unweighed { "not weighed".to_owned() } else { look.reads.kg(&found[member]) };
        table.row([name.into(), mass.into()]);
    }
    sheet.table(table);
    let unit = found["unit_cost_minor_per_kg"].as_f64();
    #[expect(clippy::cast_possible_truncation, reason = "a price per kilogram")]
    let unit = unit.map_or_else(String::new, |u| format!("{} a kg", look.reads.money(u.round() as i64)));
    sheet.facts(
        "",
        [
            ("Charge recovery", Cell::text(percent(&found["charge_recovery"]))),
            ("Melt loss", Cell::text(percent(&found["melt_loss"]))),
            ("Its metal cost", Cell::text(unit)),
        ],
    );
    sheet.links(&[("The heat", format!("/heats/{id}")), ("All heats' balances", "/reports/heats".to_owned())]);
    sheet.show()
}

/// Where all metal is: member, name, whether it is a loss.
const PLACES: [(&str, &str, bool); 7] = [
    ("in_stock", "In stock", false),
    ("in_heats", "In heats", false),
    ("in_shells", "In shells", false),
    ("in_castings", "In castings here", false),
    ("delivered", "Delivered", false),
    ("sold", "Sold", false),
    ("written_off", "Written off", true),
];

async fn metal(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let found = look.get("/v1/metal/balance").await?;
    let sees_money = visit.actor()?.sees_money;
    let mut sheet = Sheet::new(&visit, "Where all metal is");
    let places = PLACES.iter().map(|(member, name, lost)| ((*name).to_owned(), &found[*member], *lost));
    let sinks = found["by_sink"].as_object().into_iter().flatten();
    let sinks =
        sinks.map(|(name, value)| (crate::web::typed::sentence(&plain(name)).trim_end_matches('.').to_owned(), value, true));
    let all: Vec<(String, &Value, bool)> = places.chain(sinks).collect();
    let streams: Vec<Stream> = all
        .iter()
        .map(|(name, value, lost)| Stream {
            label: name.clone(),
            mg: mg(&value["mass_kg"]),
            said: look.reads.kg(&value["mass_kg"]),
            lost: *lost,
            to: match name.as_str() {
                "In stock" => "/metal".to_owned(),
                "In heats" => "/heats".to_owned(),
                "Unexplained" => "/reports/heats".to_owned(),
                "In shells" | "In castings here" => "/reports/work-in-progress".to_owned(),
                _ => String::new(),
            },
        })
        .collect();
    let whole = format!("Came in {}", look.reads.kg(&found["bought"]["mass_kg"]));
    let drawn = draw::flow("Where all metal is", "Each band is as wide as its mass; losses are hatched.", &whole, &streams);
    if drawn.is_empty() {
        sheet.part(Part::Words("No metal is on the book yet.".to_owned()));
    } else {
        sheet.part(Part::Drawing(String::new(), drawn));
    }
    let heads: &[&str] = if sees_money { &["", "Mass#", "Value#"] } else { &["", "Mass#"] };
    let mut table = Table::new("The figures", "", heads);
    let came = ("Came in".to_owned(), &found["bought"], false);
    for (name, value, _) in std::iter::once(&came).chain(&all) {
        let mass = Cell::number(look.reads.kg(&value["mass_kg"]));
        if sees_money {
            table.row([name.clone().into(), mass, look.reads.minor(&value["value_minor"]).into()]);
        } else {
            table.row([name.clone().into(), mass]);
        }
    }
    let apart = &found["closing_difference"];
    let closes = mg(&apart["mass_mg"]) == 0 && apart["value_minor"].as_i64().unwrap_or(0) == 0;
    (if closes { "It closes: what came in is all somewhere." } else { "It does not close: run pourbook check." })
        .clone_into(&mut table.foot);
    sheet.table(table);
    sheet.links(&[("These figures as CSV", "/reports/metal.csv".to_owned()), ("All reports", "/reports".to_owned())]);
    sheet.show()
}

async fn in_progress(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let found = look.get("/v1/reports/work-in-progress").await?;
    let mut sheet = Sheet::new(&visit, "Work in progress");
    "Metal that is neither in stock nor delivered.".clone_into(&mut sheet.lead);
    let bars: Vec<Bar> = [("in_heats", "In heats"), ("in_shells", "In shells"), ("in_castings", "In castings")]
        .iter()
        .map(|(member, name)| Bar {
            label: (*name).to_owned(),
            value: found[*member]["mass_kg"].as_f64().unwrap_or(0.0),
            said: [look.reads.kg(&found[*member]["mass_kg"]), look.reads.minor(&found[*member]["value_minor"])]
                .into_iter()
                .filter(|s| !s.is_empty())
                .collect::<Vec<_>>()
                .join(", "),
            to: String::new(),
        })
        .collect();
    sheet.part(Part::Drawing(String::new(), draw::bars("Work in progress", "A bar is the mass there.", &bars)));
    for (member, heading, path) in [("in_heats", "Heats", "/heats"), ("in_shells", "Shells", "/shells")] {
        let mut table = Table::new(heading, "None.", &["", "Mass#"]);
        for row in items(&found[member]["rows"]) {
            let name = [text(row, "number"), text(row, "tag")].into_iter().find(|n| !n.is_empty()).unwrap_or_default();
            table.row([Cell::text(name.clone()).to(format!("{path}/{name}")), look.reads.kg(&row["mass_kg"]).into()]);
        }
        sheet.table(table);
    }
    let mut table = Table::new("Castings by stage", "None.", &["Stage", "Mass#"]);
    for row in items(&found["in_castings"]["by_stage"]) {
        table.row([text(row, "stage").into(), look.reads.kg(&row["mass_kg"]).into()]);
    }
    sheet.table(table);
    sheet.links(&[("Pieces as CSV", "/reports/work-in-progress.csv".to_owned()), ("All reports", "/reports".to_owned())]);
    sheet.show()
}
