//! `/patterns` and `/moulds`: forms on file, and what they are pulled from.

use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::shop::house::floor::{Floor, Look, choice, items, named_table, plain, text};
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Sheet, Table};
use crate::web::slip::{Choice, Field, How, Slip};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::sync::Arc;

/// The pages.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    vec![
        floor.page("/patterns", Right::Read, patterns),
        floor.page("/patterns/{id}", Right::Read, pattern),
        floor.page("/moulds", Right::Read, moulds),
        floor.page("/moulds/{id}", Right::Read, mould),
    ]
}

fn kind_words(kind: &str) -> &str {
    match kind {
        "mould" => "pulled from a mould",
        "unique" => "unique: gone when its casting fails",
        _ => "printed again",
    }
}

/// What patterns are of, by name.
///
/// # Errors
/// As the API.
pub async fn materials(look: &Look<'_>) -> Result<Vec<Choice>, Problem> {
    let answer = look.get("/v1/trade/pattern-materials").await?;
    let words = |m: &Value| [text(m, "name"), text(m, "common_name")].into_iter().find(|n| !n.is_empty()).unwrap_or_default();
    Ok(items(&answer["items"]).iter().map(|m| choice(text(m, "code"), words(m), "")).collect())
}

async fn owned(look: &Look<'_>) -> Result<Vec<Choice>, Problem> {
    let clients = look.get("/v1/clients?limit=200").await?;
    let clients = items(&clients["items"]).iter().map(|c| choice(text(c, "id"), text(c, "name"), ""));
    Ok(std::iter::once(choice("", "the shop", "")).chain(clients).collect())
}

async fn pattern_fields(look: &Look<'_>, slip: Slip, of: &Value) -> Result<Slip, Problem> {
    let moulds = look.get("/v1/moulds?limit=200").await?;
    let moulds = items(&moulds["items"]).iter().map(|m| choice(text(m, "id"), text(m, "name"), ""));
    let none = std::iter::once(choice("", "none", ""));
    let kinds = [("file", "Printed again"), ("mould", "From a mould"), ("unique", "Unique")];
    let kind = if of["kind"].is_null() { "file".to_owned() } else { text(of, "kind") };
    let section = of["section_mm"].as_f64().and_then(crate::kernel::Millimetres::new);
    let section = section.map_or_else(String::new, |mm| look.reads.units().length_field(mm));
    Ok(slip
        .field(Field::text("name", "Name").with(text(of, "name")).need())
        .field(Field::new("material", "Of what", How::List).of(materials(look).await?).with(text(of, "material")))
        .field(Field::number("mass_kg", "Its mass").with(look.reads.kg_field(&of["mass_kg"])))
        .field(Field::number("section_mm", "Thinnest section").with(section).need())
        .field(Field::one("kind", "Can it be had again", &kinds).with(kind))
        .field(Field::number("volume_cm3", "Volume, cm³, where it was not weighed").with(text(of, "volume_cm3")).more())
        .field(Field::new("mould_id", "Pulled from", How::List).of(none.chain(moulds)).with(text(of, "mould_id")).more())
        .field(Field::number("area_cm2", "Surface, cm²").with(text(of, "area_cm2")).more())
        .field(
            Field::new("owner_client_id", "Whose it is", How::List)
                .of(owned(look).await?)
                .with(text(of, "owner_client_id"))
                .more(),
        )
        .field(Field::text("shelf", "Where it stands").with(text(of, "shelf")).more())
        .field(Field::new("notes", "Notes", How::Long).with(text(of, "notes")).more()))
}

async fn patterns(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let (found, next) = look.list("/v1/patterns", 50).await?;
    let mut sheet = Sheet::new(&visit, "Patterns");
    let mut table = Table::new("On file", "No pattern is on file yet.", &["Name", "Of what", "Mass#", "Can it be had again"]);
    for one in &found {
        let link = Cell::text(text(one, "name")).to(format!("/patterns/{}", text(one, "id")));
        let kind = kind_words(&text(one, "kind")).to_owned();
        table.row([link, plain(&text(one, "material")).into(), look.reads.kg(&one["mass_kg"]).into(), kind.into()]);
    }
    table.next = next;
    sheet.table(table);
    let slip = look.slip("patterns", "Put on file").then("/patterns/{made}").main();
    sheet.slip("A new pattern", pattern_fields(&look, slip, &Value::Null).await?);
    sheet.links(&[("Moulds", "/moulds".to_owned())]);
    sheet.show()
}

async fn castings_of(look: &Look<'_>, filter: &str) -> Result<Table, Problem> {
    let castings = look.get(&format!("/v1/castings?{filter}&limit=100")).await?;
    let mut table = Table::new(
        "Cast from it, newest first",
        "Nothing was cast from it yet.",
        &["Casting", "Attempt#", "Where it is", "Since"],
    );
    for casting in items(&castings["items"]) {
        let tag = text(casting, "tag");
        let link = Cell::tag(tag.clone()).to(format!("/castings/{tag}"));
        let since = look.reads.at(&casting["stage_since"]);
        table.row([link, text(casting, "attempt").into(), plain(&text(casting, "stage")).into(), since.into()]);
    }
    if castings["next_cursor"].is_string() {
        "The newest 100; older ones are not shown here.".clone_into(&mut table.foot);
    }
    Ok(table)
}

async fn pattern(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let found = look.get(&format!("/v1/patterns/{}", escape_part(visit.part("id")))).await?;
    let id = text(&found, "id");
    let mut sheet = Sheet::new(&visit, text(&found, "name"));
    if found["kind"] == "unique" {
        "UNIQUE, CANNOT BE RECAST".clone_into(&mut sheet.cry);
    }
    let section = found["section_mm"].as_f64().and_then(crate::kernel::Millimetres::new);
    sheet.facts(
        "",
        [
            ("Of what", Cell::text(plain(&text(&found, "material")))),
            ("Mass", Cell::text(look.reads.kg(&found["mass_kg"]))),
            ("Volume, cm³", Cell::text(text(&found, "volume_cm3"))),
            ("Thinnest section", Cell::text(section.map_or_else(String::new, |mm| look.reads.units().length_text(mm)))),
            ("Can it be had again", Cell::text(kind_words(&text(&found, "kind")))),
            ("Where it stands", Cell::text(text(&found, "shelf"))),
            ("Notes", Cell::text(text(&found, "notes"))),
        ],
    );
    sheet.table(castings_of(&look, &format!("pattern={id}")).await?);
    let slip = look.slip(format!("patterns/{id}"), "Correct").correcting(&text(&found, "etag"));
    if look.may_correct(&found) {
        sheet.folded("Correct this", pattern_fields(&look, slip, &found).await?);
    }
    sheet.links(&[
        ("Its edition", format!("/patterns/{id}/edition")),
        ("All patterns", "/patterns".to_owned()),
        ("Its record", format!("/records/{id}")),
    ]);
    sheet.show()
}

async fn mould_fields(look: &Look<'_>, slip: Slip, of: &Value, money: bool) -> Result<Slip, Problem> {
    let mut slip = slip
        .field(Field::text("name", "Name").with(text(of, "name")).need())
        .field(Field::text("shelf", "Where it stands").with(text(of, "shelf")))
        .field(Field::new("made_on", "Made on", How::Day).with(text(of, "made_on")).more())
        .field(Field::new("keep_until", "Kept until", How::Day).with(text(of, "keep_until")).more())
        .field(Field::new("cancelled_on", "Cancelled on, the edition being full", How::Day).with(text(of, "cancelled_on")).more())
        .field(
            Field::new("owner_client_id", "Whose it is", How::List)
                .of(owned(look).await?)
                .with(text(of, "owner_client_id"))
                .more(),
        );
    if money {
        slip = slip.field(Field::number("cost_minor", "What it cost").more());
    }
    Ok(slip.field(Field::new("notes", "Notes", How::Long).with(text(of, "notes")).more()))
}

async fn moulds(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let (found, next) = look.list("/v1/moulds", 50).await?;
    let mut sheet = Sheet::new(&visit, "Moulds");
    let mut table = named_table("On the shelves", "No mould is on file yet.", &found, "/moulds");
    table.next = next;
    sheet.table(table);
    let slip = look.slip("moulds", "Put on file").then("/moulds/{made}").main();
    sheet.slip("A new mould", mould_fields(&look, slip, &Value::Null, visit.actor()?.sees_money).await?);
    sheet.links(&[("Patterns", "/patterns".to_owned())]);
    sheet.show()
}

async fn mould(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let found = look.get(&format!("/v1/moulds/{}", escape_part(visit.part("id")))).await?;
    let id = text(&found, "id");
    let mut sheet = Sheet::new(&visit, text(&found, "name"));
    sheet.facts(
        "",
        [
            ("Where it stands", Cell::text(text(&found, "shelf"))),
            ("Made on", Cell::text(text(&found, "made_on"))),
            ("Kept until", Cell::text(text(&found, "keep_until"))),
            ("Cancelled on", Cell::text(text(&found, "cancelled_on"))),
            ("What it cost", Cell::text(look.reads.minor(&found["cost_minor"]))),
            ("Notes", Cell::text(text(&found, "notes"))),
        ],
    );
    // The edition of each pattern pulled from it: what was cast, and where each is.
    let of_mould = look.get(&format!("/v1/patterns?mould_id={id}&limit=20")).await?;
    for pattern in items(&of_mould["items"]) {
        let mut table = castings_of(&look, &format!("pattern={}", text(pattern, "id"))).await?;
        table.heading = text(pattern, "name");
        sheet.table(table);
    }
    let work = look
        .slip(format!("moulds/{id}/work"), "Log it")
        .field(Field::hidden("operation", "make_mould"))
        .field(Field::number("minutes", "Minutes").need())
        .field(Field::text("hand", "By whom").more())
        .field(Field::at());
    sheet.folded("Minutes on it", work);
    let slip = look.slip(format!("moulds/{id}"), "Correct").correcting(&text(&found, "etag"));
    if look.may_correct(&found) {
        sheet.folded("Correct this", mould_fields(&look, slip, &found, false).await?);
    }
    sheet.links(&[("All moulds", "/moulds".to_owned()), ("Its record", format!("/records/{id}"))]);
    sheet.show()
}
