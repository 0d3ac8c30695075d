//! `/things`: kilns, furnaces, crucibles, hands, suppliers; made on first use, renamed here.

use super::floor::{Floor, Look, choice, items, plain, text};
use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Sheet, Table};
use crate::web::slip::{Field, How};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::sync::Arc;

/// The page.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    vec![floor.page("/things", Right::Read, things)]
}

/// The collections, as they are called.
const THINGS: [(&str, &str, &str); 5] = [
    ("kilns", "Kilns", "A new kiln"),
    ("furnaces", "Furnaces", "A new furnace"),
    ("crucibles", "Crucibles", "A new crucible"),
    ("hands", "Hands", "Someone new"),
    ("suppliers", "Suppliers", "A new supplier"),
];

/// Names with commas between.
fn listed(thing: &Value, member: &str) -> String {
    items(&thing[member]).iter().filter_map(Value::as_str).collect::<Vec<_>>().join(", ")
}

/// What else is known of a thing.
fn known(look: &Look<'_>, thing: &Value) -> String {
    let number = |name: &str, words: &str| thing[name].as_f64().map(|n| format!("{n}{words}"));
    let day = |name: &str| thing[name].as_str().and_then(|day| day.parse().ok()).map(|day| look.reads.date(day));
    let family = Some(plain(&text(thing, "family"))).filter(|f| !f.is_empty());
    let cleared = listed(thing, "cleared_for");
    [
        family,
        Some(plain(&text(thing, "fuel"))).filter(|f| !f.is_empty()),
        thing["max_c"].as_f64().map(|c| format!("up to {}", look.reads.temperature(c))),
        number("chamber_litre", " l inside"),
        number("capacity_litre", " l"),
        Some(look.reads.kg(&thing["capacity_kg"])).filter(|kg| !kg.is_empty()),
        number("heats_before", " heats before the book"),
        number("life_heats", " heats in all"),
        Some(cleared).filter(|c| !c.is_empty()).map(|c| format!("cleared for {c}")),
        Some(listed(thing, "also_called")).filter(|c| !c.is_empty()).map(|c| format!("also called {c}")),
        day("retired_on").map(|day| format!("out of use since {day}")),
    ]
    .into_iter()
    .flatten()
    .collect::<Vec<_>>()
    .join(", ")
}

/// The fields of a thing of a collection.
fn fields(look: &Look<'_>, collection: &str, of: &Value) -> Vec<Field> {
    let with = |name: &str, label: &str| Field::text(name, label).with(text(of, name));
    let mut out = vec![with("name", "Name").need()];
    if collection == "crucibles" {
        let families = [
            ("", "not said"),
            ("copper_base", "copper-base"),
            ("aluminium", "aluminium"),
            ("zinc", "zinc"),
            ("precious", "silver and gold"),
            ("ferrous", "iron and steel"),
        ];
        out.push(Field::list("family", "Kept for", &families).with(text(of, "family")));
        out.push(Field::number("capacity_kg", "Holds of its metal").with(look.reads.kg_field(&of["capacity_kg"])).more());
        out.push(Field::number("capacity_litre", "Holds, litres").with(text(of, "capacity_litre")).more());
        out.push(Field::number("heats_before", "Heats before the book").with(text(of, "heats_before")).more());
        out.push(Field::number("life_heats", "Heats after which it is taken out of use").with(text(of, "life_heats")).more());
    }
    if matches!(collection, "kilns" | "furnaces") {
        let fuels = [
            ("", "not said"),
            ("propane", "propane"),
            ("natural_gas", "natural gas"),
            ("oil", "oil"),
            ("electric", "electricity"),
            ("induction", "induction"),
            ("solid", "coke, charcoal, wood"),
        ];
        let most = of["max_c"].as_f64().and_then(crate::kernel::Celsius::new);
        let most = most.map_or_else(String::new, |c| look.reads.units().temperature_field(c));
        out.push(Field::list("fuel", "Runs on", &fuels).with(text(of, "fuel")));
        out.push(Field::number("max_c", "Taken up to").with(most).more());
        if collection == "kilns" {
            out.push(Field::number("chamber_litre", "Room inside, litres").with(text(of, "chamber_litre")).more());
        }
    }
    // One field a name, since a name may have a comma in it.
    let also: Vec<&str> = items(&of["also_called"]).iter().filter_map(Value::as_str).chain([""]).collect();
    for (n, name) in also.into_iter().enumerate() {
        let label = if n == 0 { "Also called" } else { "And also called" };
        out.push(Field::text(&format!("also_called.{n}"), label).with(name).hint("A slip that says this means it.").more());
    }
    if collection == "hands" {
        out.push(
            Field::text("cleared_for", "Cleared for")
                .with(listed(of, "cleared_for"))
                .hint("With commas between: pouring, furnace, forklift.")
                .more(),
        );
    }
    out.push(Field::new("retired_on", "Out of use since", How::Day).with(text(of, "retired_on")).more());
    out.push(Field::new("notes", "Notes", How::Long).with(text(of, "notes")).more());
    out
}

async fn things(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let mut sheet = Sheet::new(&visit, "Kilns, furnaces, crucibles, hands, suppliers");
    "Named on a slip for the first time, a thing is made; here it is looked up, changed and taken out of use."
        .clone_into(&mut sheet.lead);
    let owner = visit.actor()?.role.may(Right::Own);
    if let Some((collection, id)) = visit.query.get("change").split_once('/')
        && THINGS.iter().any(|(known, ..)| *known == collection)
        && owner
    {
        let thing = look.get(&format!("/v1/{collection}/{}", escape_part(id))).await?;
        let slip = look
            .slip(format!("{collection}/{}", text(&thing, "id")), "Change")
            .correcting(&text(&thing, "etag"))
            .fields(fields(&look, collection, &thing))
            .then("/things");
        sheet.slip(&text(&thing, "name"), slip.main());
        let others = look.get(&format!("/v1/{collection}?limit=200")).await?;
        let others = items(&others["items"]).iter().filter(|other| other["id"] != thing["id"]);
        let others = others.map(|other| choice(text(other, "id"), text(other, "name"), ""));
        let others: Vec<_> = std::iter::once(choice("", "choose", "")).chain(others).collect();
        if others.len() > 1 {
            let merge = look
                .slip(format!("{collection}/{}/merge", text(&thing, "id")), "They are one")
                .field(
                    Field::new("into", "The one that stays", How::List)
                        .of(others)
                        .hint("Every record that names this one will name the other, each with a line in its history. No tap undoes it.")
                        .need(),
                )
                .field(Field::text("reason", "Why").more())
                .then("/things");
            sheet.folded(&format!("{} is the same as another", text(&thing, "name")), merge);
        }
    }
    for (collection, heading, new) in THINGS {
        let found = look.get(&format!("/v1/{collection}?limit=200")).await?;
        let mut table = Table::new(heading, "None yet.", &["Name", "What is known", "Since", ""]);
        for thing in items(&found["items"]) {
            let id = text(thing, "id");
            let link = Cell::text(text(thing, "name")).to(format!("/records/{id}"));
            let change =
                if owner { Cell::text("Change").to(format!("/things?change={collection}/{id}")) } else { Cell::text("") };
            table.row([link, known(&look, thing).into(), look.reads.at(&thing["at"]).into(), change]);
        }
        sheet.table(table);
        if owner {
            sheet.folded(new, look.slip(collection, "Keep").fields(fields(&look, collection, &Value::Null)));
        }
    }
    sheet.show()
}
