//! Reports as pages: the figures beside their drawings, each figure opening what is behind it,
//! every table as CSV.

mod behind;
mod chart;
mod compare;
mod losses;
mod metal;
mod model;
mod rates;
mod reader;
mod yields;

use super::factor::Factor;
use crate::kernel::actor::Right;
use crate::kernel::{Instant, Problem};
use crate::shop::house::floor::{Floor, Look, choice};
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Part, Sheet, Table};
use crate::web::slip::{Field, How};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::sync::Arc;

/// The pages.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    let mut out = vec![floor.page("/reports", Right::Read, index)];
    out.extend(rates::pages(floor));
    out.extend(chart::pages(floor));
    out.extend(model::pages(floor));
    out.extend(yields::pages(floor));
    out.extend(losses::pages(floor));
    out.extend(metal::pages(floor));
    out.extend(behind::pages(floor));
    out.extend(compare::pages(floor));
    out
}

/// What can be asked.
const ASKED: [(&str, &str, &str); 12] = [
    ("Leaks", "/reports/leaks?by=recipe", "which shells leaked, by alloy, recipe or practice"),
    ("Short pours", "/reports/shorts?by=alloy", "which shells stayed short or were stopped"),
    ("Defects", "/reports/defects?by=alloy", "what was found on castings, commonest first"),
    (
        "Over time",
        "/reports/chart?outcome=leak",
        "leaks, short pours or defects month by month or shell by shell, and what stands out",
    ),
    (
        "Several causes at once",
        "/reports/model?outcome=leak",
        "what goes with leaks, short pours or defects, the rest alike; and the shell's temperature",
    ),
    ("Yields", "/reports/yields?by=month", "from the charge to the good casting, over time"),
    ("What makes a difference", "/reports/changed", "over all that is on record of a pour, what can be told apart"),
    ("Two compared", "/reports/compare", "two recipes, furnaces or practices, with the rest held alike"),
    ("Losses", "/reports/losses?by=stage", "where castings were lost, and why"),
    ("Heats out of balance", "/reports/heats", "what the scale cannot explain"),
    ("Melt loss", "/reports/melt-loss?by=furnace", "what of the charge never reached a mould"),
    ("Where all metal is", "/reports/metal", "bought, in stock, on the way, delivered, lost"),
];

async fn index(_: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let mut sheet = Sheet::new(&visit, "Reports");
    "Every rate stands beside its count and how sure it is.".clone_into(&mut sheet.lead);
    let mut table = Table::new("", "", &["Report", "What it says"]);
    for (words, path, about) in ASKED {
        table.row([Cell::text(words).to(path), about.into()]);
    }
    if visit.actor()?.sees_money {
        table
            .row([Cell::text("What it all cost").to("/reports/costs"), "job by job, and overhead recovered against real".into()]);
        table.row([
            Cell::text("What came in and went out").to("/reports/money"),
            "payments, costs and expenses, for the books".into(),
        ]);
    }
    table.row([Cell::text("Hours by hand and week").to("/reports/hours"), "as they were booked".into()]);
    table.row([Cell::text("Work in progress").to("/reports/work-in-progress"), "metal and value on the way".into()]);
    sheet.table(table);
    sheet.show()
}

/// The factors, as a caster calls them.
const FACTORS: [(Factor, &str); 23] = [
    (Factor::Alloy, "alloy"),
    (Factor::Recipe, "shell recipe"),
    (Factor::RecipeVersion, "version of the recipe"),
    (Factor::Support, "how the shell stood"),
    (Factor::Furnace, "furnace"),
    (Factor::Kiln, "kiln"),
    (Factor::Crucible, "crucible"),
    (Factor::Pattern, "pattern"),
    (Factor::PatternMaterial, "what the pattern is of"),
    (Factor::Section, "thinnest section"),
    (Factor::ShellTemperature, "shell temperature at the pour"),
    (Factor::Superheat, "metal above its liquidus"),
    (Factor::MinutesOut, "minutes out of the kiln"),
    (Factor::DryingShortfall, "hours short of dry"),
    (Factor::Coats, "number of coats"),
    (Factor::SlurryBatch, "slurry batch"),
    (Factor::Fed, "where it was fed"),
    (Factor::Core, "core"),
    (Factor::PlaceInHeat, "place in the heat"),
    (Factor::Patched, "whether it was patched"),
    (Factor::Hand, "who did it"),
    (Factor::Month, "month"),
    (Factor::PracticeFlag, "what was outside practice"),
];

/// A factor as a caster calls it.
pub(super) fn factor_words(name: &str) -> &'static str {
    FACTORS.iter().find(|(factor, _)| factor.name() == name).map_or("factor", |(_, words)| words)
}

/// What a page was asked: by what, from when to when, of what alloy, recipe, pattern, commission.
#[derive(Clone, Default)]
struct Asked {
    by: String,
    from: String,
    to: String,
    alloy: String,
    code: String,
    recipe: String,
    pattern: String,
    commission: String,
}

impl Asked {
    fn of(visit: &Visit, or: &str) -> Self {
        let text = |name: &str| visit.query.get(name).to_owned();
        let by = if text("by").is_empty() { or.to_owned() } else { text("by") };
        let (from, to) = (text("from"), text("to"));
        let (alloy, code) = (text("alloy"), text("code"));
        Self { by, from, to, alloy, code, recipe: text("recipe"), pattern: text("pattern"), commission: text("commission") }
    }
    /// The query of the API's report.
    fn api(&self, look: &Look<'_>, by: bool) -> String {
        let mut parts = if by { vec![format!("by={}", escape_part(&self.by))] } else { Vec::new() };
        for (name, day) in [("from", &self.from), ("to", &self.to)] {
            // A figure may have been asked for between two midnights.
            if let Some(at) = look.reads.begin(day).or_else(|| Instant::parse(day)) {
                parts.push(format!("{name}={}", escape_part(&at.to_string())));
            }
        }
        for (name, value) in self.narrowed() {
            if !value.is_empty() {
                parts.push(format!("{name}={}", escape_part(value)));
            }
        }
        parts.join("&")
    }
    /// What narrows it besides the time.
    const fn narrowed(&self) -> [(&'static str, &String); 5] {
        [
            ("alloy", &self.alloy),
            ("code", &self.code),
            ("recipe", &self.recipe),
            ("pattern", &self.pattern),
            ("commission", &self.commission),
        ]
    }
    /// The query of a page that asks the same.
    fn page(&self) -> String {
        let all = [("by", &self.by), ("from", &self.from), ("to", &self.to)];
        let said = all.into_iter().chain(self.narrowed()).filter(|(_, value)| !value.is_empty());
        said.map(|(name, value)| format!("{name}={}", escape_part(value))).collect::<Vec<_>>().join("&")
    }
    /// The fields that ask, by some factors.
    fn asking(&self, path: &str, factors: &[(&str, &str)]) -> Part {
        let mut fields = Vec::new();
        if !factors.is_empty() {
            let factors = factors.iter().map(|(value, words)| choice(*value, *words, ""));
            fields.push(Field::new("by", "By", How::List).of(factors).with(self.by.clone()));
        }
        fields.extend(self.fields());
        Part::asking(path, fields)
    }
    /// The fields that narrow it.
    fn fields(&self) -> Vec<Field> {
        vec![
            Field::new("from", "From", How::Day).with(self.from.clone()),
            Field::new("to", "Up to, without", How::Day).with(self.to.clone()),
            Field::text("alloy", "Only the alloy").with(self.alloy.clone()),
        ]
    }
    /// The query of a page that asks the same by something else.
    fn filters(&self) -> String {
        let all = [("from", &self.from), ("to", &self.to), ("alloy", &self.alloy)];
        let said = all.into_iter().filter(|(_, value)| !value.is_empty());
        said.map(|(name, value)| format!("{name}={}", escape_part(value))).collect::<Vec<_>>().join("&")
    }
}

/// All factors as choices.
fn all_factors() -> Vec<(&'static str, &'static str)> {
    FACTORS.iter().map(|(factor, words)| (factor.name(), *words)).collect()
}

/// What filters were said, in words.
fn said(asked: &Asked) -> String {
    let mut parts = Vec::new();
    if !asked.from.is_empty() {
        parts.push(format!("from {}", asked.from));
    }
    if !asked.to.is_empty() {
        parts.push(format!("up to {}", asked.to));
    }
    if !asked.alloy.is_empty() {
        parts.push(format!("only {}", asked.alloy));
    }
    for (given, words) in [(&asked.recipe, "one shell recipe"), (&asked.pattern, "one pattern"), (&asked.commission, "one job")] {
        if !given.is_empty() {
            parts.push(format!("only of {words}"));
        }
    }
    if parts.is_empty() {
        "All there is on record.".to_owned()
    } else {
        format!("{}.", crate::web::typed::sentence(&parts.join(", ")).trim_end_matches('.'))
    }
}

/// A fraction in percent.
fn percent(value: &Value) -> String {
    value.as_f64().map_or_else(String::new, |v| format!("{:.1} %", v * 100.0))
}

/// A rate with its interval.
fn rate_words(row: &Value) -> String {
    match (row["rate"].as_f64(), row["low"].as_f64(), row["high"].as_f64()) {
        (Some(rate), Some(low), Some(high)) => {
            format!("{:.1} % ({:.1} to {:.1})", rate * 100.0, low * 100.0, high * 100.0)
        }
        _ => "not yet seen".to_owned(),
    }
}
