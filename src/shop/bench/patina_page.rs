//! `/patinas` and `/patinas/{id}`: finishes in versions, step by step, with the sample approved.

use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::science::trade::TradeStep;
use crate::shop::house::floor::{Floor, Look, items, named_table, plain, text};
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Sheet, Table};
use crate::web::slip::{Field, How, Slip};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::sync::Arc;

/// The pages.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    vec![floor.page("/patinas", Right::Read, list), floor.page("/patinas/{id}", Right::Read, one)]
}

/// Steps that are shown to be filled in beyond those there are.
const MORE: usize = 3;

fn steps(look: &Look<'_>, mut slip: Slip, of: &Value) -> Slip {
    let known = items(&of["steps"]);
    let kinds = [
        ("", ""),
        ("clean", "clean"),
        ("heat", "heat"),
        ("apply", "put on"),
        ("rinse", "rinse"),
        ("wait", "wait"),
        ("cool", "cool"),
        ("rub_back", "rub back"),
        ("wax", "wax"),
        ("other", "other"),
    ];
    let tools = [("", ""), ("brush", "brush"), ("spray", "spray"), ("dab", "rag or sponge"), ("bath", "bath")];
    for n in 0..known.len() + MORE {
        let step = known.get(n).unwrap_or(&Value::Null);
        let name = |member: &str| format!("steps.{n}.{member}");
        let hot = step["metal_c"].as_f64().and_then(crate::kernel::Celsius::new);
        let hot = hot.map_or_else(String::new, |c| look.reads.units().temperature_field(c));
        slip = slip
            .field(Field::list(&name("kind"), &format!("Step {}", n + 1), &kinds).with(text(step, "kind")))
            .field(Field::text(&name("chemical"), "What is put on").with(text(step, "chemical")))
            .field(Field::text(&name("strength"), "How strong").with(text(step, "strength")).more())
            .field(Field::list(&name("tool"), "With", &tools).with(text(step, "tool")).more())
            .field(Field::number(&name("metal_c"), "Metal").with(hot).more())
            .field(Field::number(&name("passes"), "Passes").with(text(step, "passes")).more())
            .field(Field::number(&name("minutes"), "Minutes").with(text(step, "minutes")).more());
    }
    slip.field(Field::text("sample", "The sample, and where it is kept").with(text(of, "sample")))
        .field(Field::new("approved_on", "Approved on", How::Day).with(text(of, "approved_on")))
        .field(Field::text("approved_by", "By").with(text(of, "approved_by")))
        .field(Field::new("notes", "Notes", How::Long).more())
}

async fn list(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let (found, next) = look.list("/v1/patinas", 50).await?;
    let mut sheet = Sheet::new(&visit, "Patinas");
    let mut table = named_table("Written down", "No patina is written down yet.", &found, "/patinas");
    table.next = next;
    sheet.table(table);
    let slip = look.slip("patinas", "Write it down").field(Field::text("name", "Name").need());
    sheet.slip("A new patina", steps(&look, slip, &Value::Null).then("/patinas/{made}").main());
    sheet.part(look.cautions(TradeStep::Bench, None, None)?);
    sheet.links(&[("The bench", "/bench".to_owned())]);
    sheet.show()
}

fn step_row(look: &Look<'_>, table: &mut Table, n: usize, step: &Value) {
    let said = [
        text(step, "chemical"),
        text(step, "strength"),
        plain(&text(step, "tool")),
        step["metal_c"].as_f64().map_or_else(String::new, |c| look.reads.temperature(c)),
        step["passes"].as_i64().map_or_else(String::new, |n| format!("{n} times")),
        step["minutes"].as_f64().map_or_else(String::new, |m| format!("{m} min")),
        text(step, "note"),
    ];
    let said = said.into_iter().filter(|s| !s.is_empty()).collect::<Vec<_>>().join(", ");
    let kind = match text(step, "kind").as_str() {
        "apply" => "put on".to_owned(),
        other => plain(other),
    };
    table.row([Cell::text((n + 1).to_string()), kind.into(), said.into()]);
}

async fn one(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let found = look.get(&format!("/v1/patinas/{}", escape_part(visit.part("id")))).await?;
    let id = text(&found, "id");
    let versions = items(&found["versions"]);
    let mut sheet = Sheet::new(&visit, text(&found, "name"));
    for version in versions.iter().rev() {
        let heading = format!("Version {}, from {}", text(version, "patina_version"), look.reads.at(&version["at"]));
        let mut table = Table::new(&heading, "", &["Step", "What", "How"]);
        for (n, step) in items(&version["steps"]).iter().enumerate() {
            step_row(&look, &mut table, n, step);
        }
        let approved = [text(version, "approved_on"), text(version, "approved_by")].join(" ");
        let sample = text(version, "sample");
        table.foot = match (sample.is_empty(), approved.trim().is_empty()) {
            (true, true) => "No sample is approved.".to_owned(),
            (_, true) => format!("Sample: {sample}. Not approved yet."),
            _ => format!("Sample: {sample}. Approved {}.", approved.trim()),
        };
        sheet.table(table);
    }
    let slip = look.slip(format!("patinas/{id}/versions"), "The next version");
    let last = versions.last().unwrap_or(&found);
    sheet.folded("Write down the next version", steps(&look, slip, last));
    sheet.part(look.cautions(TradeStep::Bench, None, None)?);
    sheet.links(&[("All patinas", "/patinas".to_owned()), ("Its record", format!("/records/{id}"))]);
    sheet.show()
}
