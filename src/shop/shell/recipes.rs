//! `/recipes` and `/slurry`: shell recipes in versions, tanks of slurry and their checks.

use crate::kernel::Problem;
use crate::kernel::actor::Right;
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
    vec![
        floor.page("/recipes", Right::Read, recipes),
        floor.page("/recipes/{id}", Right::Read, recipe),
        floor.page("/slurry", Right::Read, slurry),
        floor.page("/slurry/{id}", Right::Read, batch),
    ]
}

/// Empty rows offered below the coats there are.
const SPARE: usize = 2;

/// The coats of a recipe as rows to be filled in: those there are, and some empty ones.
fn coat_rows(mut slip: Slip, of: &Value) -> Slip {
    let coats = items(&of["coats"]);
    for n in 0..coats.len() + SPARE {
        let coat = coats.get(n).unwrap_or(&Value::Null);
        let label = |what: &str| format!("Coat {}: {what}", n + 1);
        let name = |member: &str| format!("coats.{n}.{member}");
        let kinds = [("", "no coat"), ("prime", "prime"), ("backup", "backup"), ("seal", "seal")];
        slip = slip
            .field(Field::list(&name("kind"), &label("kind"), &kinds).with(text(coat, "kind")))
            .field(Field::text(&name("slurry"), &label("slurry")).with(text(coat, "slurry")))
            .field(Field::text(&name("stucco"), &label("stucco")).with(text(coat, "stucco")))
            .field(Field::number(&name("dry_hours"), &label("dries at least, hours")).with(text(coat, "dry_hours")))
            .field(
                Field::number(&name("viscosity_s.low"), &label("viscosity from, s"))
                    .with(text(&coat["viscosity_s"], "low"))
                    .more(),
            )
            .field(
                Field::number(&name("viscosity_s.high"), &label("viscosity to, s"))
                    .with(text(&coat["viscosity_s"], "high"))
                    .more(),
            )
            .field(Field::text(&name("cup"), &label("cup")).with(text(coat, "cup")).more());
    }
    slip.field(Field::number("final_dry_hours", "From the last coat to the kiln, hours").with(text(of, "final_dry_hours")))
}

async fn recipes(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let (found, next) = look.list("/v1/recipes", 50).await?;
    let mut sheet = Sheet::new(&visit, "Shell recipes");
    let mut table = named_table("On file", "No recipe is on file yet.", &found, "/recipes");
    table.next = next;
    sheet.table(table);
    // A recipe begins as the last one does.
    let like = found.first().cloned().unwrap_or(Value::Null);
    let slip = look.slip("recipes", "Put on file").field(Field::text("name", "Name").need());
    let slip = coat_rows(slip, &like).field(Field::new("notes", "Notes", How::Long).more()).then("/recipes/{made}").main();
    sheet.folded("A new recipe", slip);
    sheet.links(&[("Slurry", "/slurry".to_owned())]);
    sheet.show()
}

fn coats_table(heading: &str, of: &Value) -> Table {
    let mut table = Table::new(heading, "No coats.", &["Coat", "Kind", "Slurry", "Stucco", "Dries, h#", "Viscosity, s"]);
    for (n, coat) in items(&of["coats"]).iter().enumerate() {
        let window = &coat["viscosity_s"];
        let viscosity =
            if window.is_null() { String::new() } else { format!("{} to {}", text(window, "low"), text(window, "high")) };
        table.row([
            (n + 1).to_string().into(),
            text(coat, "kind").into(),
            text(coat, "slurry").into(),
            text(coat, "stucco").into(),
            text(coat, "dry_hours").into(),
            viscosity.into(),
        ]);
    }
    table
}

async fn recipe(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let found = look.get(&format!("/v1/recipes/{}", escape_part(visit.part("id")))).await?;
    let id = text(&found, "id");
    let mut sheet = Sheet::new(&visit, text(&found, "name"));
    let versions = items(&found["versions"]);
    let mut newest = Value::Null;
    for (n, version) in versions.iter().enumerate().rev() {
        let since = look.reads.at(&version["at"]);
        let mut table = coats_table(&format!("Version {}, from {since}", n + 1), version);
        let dry = text(version, "final_dry_hours");
        if !dry.is_empty() {
            table.foot = format!("{dry} h from the last coat to the kiln. {}", text(version, "notes"));
        }
        sheet.table(table);
        if newest.is_null() {
            newest = version.clone();
        }
    }
    let slip = coat_rows(look.slip(format!("recipes/{id}/versions"), "From now on"), &newest);
    sheet.folded("A new version", slip.field(Field::new("notes", "What changed", How::Long)).field(Field::at()).main());
    sheet.links(&[("All recipes", "/recipes".to_owned()), ("Its record", format!("/records/{id}"))]);
    sheet.show()
}

async fn slurry(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let (found, next) = look.list("/v1/slurry-batches", 50).await?;
    let mut sheet = Sheet::new(&visit, "Slurry");
    let mut table = Table::new("Tanks", "No slurry batch is on file yet.", &["Name", "Mixed", "Binder", "Last check"]);
    for one in &found {
        let link = Cell::text(text(one, "name")).to(format!("/slurry/{}", text(one, "id")));
        let last = items(&one["checks"]).last().map_or_else(|| "none on record".to_owned(), |c| look.reads.at(&c["at"]));
        table.row([link, look.reads.at(&one["at"]).into(), text(one, "binder").into(), last.into()]);
    }
    table.next = next;
    sheet.table(table);
    let slip = look
        .slip("slurry-batches", "Mixed")
        .field(Field::text("name", "Name").need())
        .field(Field::text("binder", "Binder").more())
        .field(Field::text("flour", "Flour").more())
        .field(Field::new("notes", "Notes", How::Long).more())
        .field(Field::at())
        .then("/slurry/{made}")
        .main();
    sheet.slip("A new batch", slip);
    sheet.part(look.cautions(crate::science::trade::TradeStep::Shell, None, None)?);
    sheet.links(&[("Dip", "/dip".to_owned())]);
    sheet.show()
}

fn check(look: &Look<'_>, id: &str, last: &Value) -> Slip {
    look.slip(format!("slurry-batches/{id}/checks"), "Checked")
        .field(Field::number("viscosity_s", "Viscosity, s"))
        .field(Field::text("cup", "Cup").with(text(last, "cup")).more())
        .field(Field::number("ph", "pH").more())
        .field(Field::number("tank_c", "Tank").more())
        .field(Field::number("solids_percent", "Solids, percent").more())
        .field(Field::text("note", "Note").more())
        .field(Field::at())
        .main()
}

async fn batch(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let found = look.get(&format!("/v1/slurry-batches/{}", escape_part(visit.part("id")))).await?;
    let id = text(&found, "id");
    let checks = items(&found["checks"]);
    let mut sheet = Sheet::new(&visit, text(&found, "name"));
    let facts = [("Binder", "binder"), ("Flour", "flour"), ("Poured away on", "retired_on"), ("Notes", "notes")];
    sheet.facts("", facts.map(|(label, name)| (label, Cell::text(text(&found, name)))));
    sheet.slip("Check it", check(&look, &id, checks.last().unwrap_or(&Value::Null)));
    if found["retired_on"].is_null() {
        let slip = look
            .slip(format!("slurry-batches/{id}"), "Poured away")
            .correcting(&text(&found, "etag"))
            .named(look.visit, "retire")
            .field(Field::new("retired_on", "On", How::Day).with(look.reads.today().to_string()));
        sheet.folded("Take it out of use", slip);
    }
    let mut table = Table::new("Checks", "Not checked yet.", &["When", "Viscosity, s#", "Cup", "pH#", "Tank#"]);
    for line in checks.iter().rev() {
        let when = Cell::text(look.reads.at(&line["at"])).to(format!("/records/{}", text(line, "id")));
        let tank = line["tank_c"].as_f64().map_or_else(String::new, |c| look.reads.temperature(c));
        table.row([
            when,
            text(line, "viscosity_s").into(),
            plain(&text(line, "cup")).into(),
            text(line, "ph").into(),
            tank.into(),
        ]);
    }
    sheet.table(table);
    sheet.links(&[("All slurry", "/slurry".to_owned()), ("Its record", format!("/records/{id}"))]);
    sheet.show()
}
