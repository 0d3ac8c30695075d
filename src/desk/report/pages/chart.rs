//! `/reports/chart`: a rate over time, drawn, each signal in a sentence, the figures below.

use super::super::chart_drawing::{self, DRAWN, of_gaps};
use super::super::outcome::{Outcome, capital, percent};
use super::{Asked, said};
use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::shop::house::floor::{Floor, Look, choice, items, text};
use crate::web::csv;
use crate::web::sheet::{Cell, Part, Sheet, Table};
use crate::web::slip::{Field, How};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;

/// So many shells stand in the table, the newest.
const ROWS: usize = 200;

pub(super) fn pages(floor: &Floor) -> Vec<Page> {
    vec![
        floor.page("/reports/chart", Right::Read, |floor, visit| async move { show(&floor, &visit).await }),
        floor.page("/reports/chart.csv", Right::Read, |floor, visit| async move {
            let look = floor.look(&visit).await?;
            let chosen = Chosen::of(&visit);
            let report = look.get(&chosen.api(&look)).await?;
            csv::table(&format!("{}-per-{}", chosen.outcome.report(), chosen.per), &report["points"])
        }),
    ]
}

/// What of which kind is watched.
struct Chosen {
    outcome: Outcome,
    per: &'static str,
    asked: Asked,
}

impl Chosen {
    fn of(visit: &Visit) -> Self {
        let named = |o: &Outcome| o.name() == visit.query.get("outcome");
        let outcome = Outcome::ALL.into_iter().find(named).unwrap_or(Outcome::Leak);
        let per = if visit.query.get("per") == "pour" { "pour" } else { "month" };
        let mut asked = Asked::of(visit, "month");
        if outcome != Outcome::Defect {
            asked.code.clear();
        }
        Self { outcome, per, asked }
    }
    fn api(&self, look: &Look<'_>) -> String {
        format!("/v1/reports/chart?outcome={}&per={}&{}", self.outcome.name(), self.per, self.asked.api(look, false))
    }
    fn page(&self) -> String {
        let filters = self.asked.page();
        let filters: Vec<&str> = filters.split('&').filter(|part| !part.starts_with("by=")).collect();
        format!("outcome={}&per={}&{}", self.outcome.name(), self.per, filters.join("&"))
    }
    fn asking(&self) -> Part {
        let outcomes = Outcome::ALL.map(|o| choice(o.name(), o.title(), ""));
        let pers = [choice("month", "month by month", ""), choice("pour", "shell by shell", "")];
        let mut fields = vec![
            Field::new("outcome", "Watch", How::List).of(outcomes).with(self.outcome.name()),
            Field::new("per", "As", How::List).of(pers).with(self.per),
        ];
        fields.extend(self.asked.fields());
        Part::asking("/reports/chart", fields)
    }
}

async fn show(floor: &Floor, visit: &Visit) -> Result<Shown, Problem> {
    let look = floor.look(visit).await?;
    let chosen = Chosen::of(visit);
    let report = look.get(&chosen.api(&look)).await?;
    let mut sheet = Sheet::new(visit, chart_drawing::title(&report));
    sheet.lead = said(&chosen.asked);
    sheet.part(chosen.asking());
    let overall = &report["overall"];
    let of = chosen.outcome.of();
    if overall["n"] == 0 {
        sheet.part(Part::Note(format!("{}: none in this time, so there is no rate.", capital(of))));
    } else {
        let (n, count) = (text(overall, "n"), text(overall, "count"));
        sheet.part(Part::Note(format!("{count} of {n} {of} {}: {}.", chosen.outcome.did(), ranged(overall, "low", "high"))));
        sheet.part(Part::Drawing(String::new(), chart_drawing::chart(&report).inline()));
    }
    for part in ["method", "baseline", "running"] {
        let words = text(&report["words"], part);
        if !words.is_empty() {
            sheet.part(Part::Words(words));
        }
    }
    if let Some(why) = report["left_out"]["why"].as_str() {
        sheet.part(Part::Words(format!("{} older ones are left out: {why}.", report["left_out"]["count"])));
    }
    sheet.table(signals(&report));
    if of_gaps(&report) {
        sheet.table(gaps(&report));
    }
    sheet.table(points(&chosen, &report));
    let page = chosen.page();
    sheet.links(&[("These figures as CSV", format!("/reports/chart.csv?{page}")), ("All reports", "/reports".to_owned())]);
    sheet.show()
}

/// A rate with its interval.
fn ranged(row: &Value, low: &str, high: &str) -> String {
    let n = row["n"].as_f64().unwrap_or(0.0);
    match (row["rate"].as_f64(), row[low].as_f64(), row[high].as_f64()) {
        (Some(rate), Some(low), Some(high)) if rate <= 0.0 && low <= 0.0 => {
            format!("none seen, which still allows up to {}", percent(high, n))
        }
        (Some(rate), Some(low), Some(high)) => {
            format!("{} ({} to {})", percent(rate, n), percent(low, n).trim_end_matches(" %"), percent(high, n))
        }
        _ => "not yet seen".to_owned(),
    }
}

fn signals(report: &Value) -> Table {
    let mut table = Table::new("What stands out", "Nothing stands out.", &["When", "What it says", "So it is"]);
    for point in items(&report["points"]) {
        for signal in items(&point["signals"]) {
            let more = if signal["more"] == true { "more than before" } else { "fewer than before" };
            table.row([
                Cell::text(text(point, "label")).to(text(point, "behind_href")),
                text(signal, "words").into(),
                more.into(),
            ]);
        }
    }
    if table.rows.is_empty() && report["method"] == "rates_only" {
        "There are no limits yet that anything could pass.".clone_into(&mut table.empty);
    }
    table
}

fn gaps(report: &Value) -> Table {
    let mut table = Table::new("Between two", "There are not two yet.", &["Ended by the shell of", "Sound shells before it#"]);
    let found = items(&report["gaps"]);
    for gap in found.iter().rev().take(DRAWN) {
        table.row([Cell::text(text(gap, "label")).to(text(gap, "behind_href")), text(gap, "sound").into()]);
    }
    if found.len() > DRAWN {
        table.foot = format!("The newest {DRAWN} of {}.", found.len());
    }
    table
}

/// The rate of a month in few words.
fn seen(point: &Value, n: f64) -> String {
    match point["rate_high"].as_f64() {
        Some(high) if point["count"] == 0 => format!("none (up to {})", percent(high, n)),
        Some(_) => ranged(point, "rate_low", "rate_high"),
        None => "nothing poured".to_owned(),
    }
}

fn points(chosen: &Chosen, report: &Value) -> Table {
    let found = items(&report["points"]);
    let first = found.len().saturating_sub(ROWS);
    let shown = found.get(first..).unwrap_or_default();
    let did = capital(chosen.outcome.did());
    if chosen.per == "pour" {
        let mut table = Table::new("The figures", "Nothing of that is on record yet.", &["Poured", "Shell", &did]);
        for point in shown.iter().rev() {
            let tag = Cell::tag(text(point, "tag")).to(text(point, "behind_href"));
            table.row([text(point, "label").into(), tag, if point["count"] == 1 { "yes".into() } else { "no".into() }]);
        }
        if first > 0 {
            table.foot = format!("The newest {ROWS} of {}.", found.len());
        }
        return table;
    }
    let heads = ["Month", "Shells#", &format!("{did}#"), "Rate, 95 % interval#", "Centre#", "Limits#"];
    let mut table = Table::new("The figures", "Nothing of that is on record yet.", &heads);
    for point in shown {
        let n = point["n"].as_f64().unwrap_or(0.0);
        let share = |name: &str| point[name].as_f64().map(|v| percent(v, n));
        let limits = share("lower").zip(share("upper"));
        table.row([
            Cell::text(text(point, "label")).to(text(point, "behind_href")),
            text(point, "n").into(),
            text(point, "count").into(),
            seen(point, n).into(),
            share("centre").unwrap_or_default().into(),
            limits.map_or_else(String::new, |(low, high)| format!("{} to {high}", low.trim_end_matches(" %"))).into(),
        ]);
    }
    if first > 0 {
        table.foot = format!("The newest {ROWS} of {}.", found.len());
    }
    table
}
