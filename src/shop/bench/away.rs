//! `/away`: what is out of the house to be worked on, and when it is due back.

use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::shop::house::floor::{Floor, Look, choice, items, text};
use crate::web::sheet::{Cell, Sheet, Table};
use crate::web::slip::{Field, How};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::sync::Arc;

/// The page.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    vec![floor.page("/away", Right::Read, away)]
}

/// How many of the last are looked over.
const LAST: u16 = 100;

fn what(look: &Look<'_>, line: &Value) -> Cell {
    let due = line["due_back_on"].as_str().and_then(|day| day.parse().ok());
    let late = due.is_some_and(|day: jiff::civil::Date| day < look.reads.today());
    let said = due.map_or_else(String::new, |day| look.reads.date(day));
    Cell::text(if late { format!("was due {said}") } else { said })
}

async fn away(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let found = look.get(&format!("/v1/outside-work?limit={LAST}")).await?;
    let found = items(&found["items"]);
    let names = floor.names(&found.iter().map(|l| &l["supplier"]).collect::<Vec<_>>()).await?;
    let mut sheet = Sheet::new(&visit, "Away");
    let mut table = Table::new("Out of the house", "Nothing is away.", &["What is done", "With whom", "Since", "Due back"]);
    let out: Vec<&Value> = found.iter().filter(|l| l["back_at"].is_null()).collect();
    for line in &out {
        table.row([
            Cell::text(text(line, "what")).to(format!("/records/{}", text(line, "id"))),
            names.of(&line["supplier"]).into(),
            look.reads.at(&line["at"]).into(),
            what(&look, line),
        ]);
    }
    sheet.table(table);
    for line in &out {
        let heading = format!("{}, {}: back", text(line, "what"), names.of(&line["supplier"]));
        let slip = look
            .slip(format!("outside-work/{}", text(line, "id")), "It is back")
            .correcting(&text(line, "etag"))
            .field(Field::hidden("_now", "back_at"))
            .field(Field::new("back_at", "Back at", How::Time).hint("Now, unless said otherwise.").more());
        let money = look.visit.actor.as_ref().is_some_and(|a| a.sees_money) && line["cost_minor"].is_null();
        let slip = if money { slip.field(Field::number("cost_minor", "What it cost").more()) } else { slip };
        sheet.folded(&heading, slip);
    }
    let moulds = look.get("/v1/moulds?limit=100").await?;
    let none = std::iter::once(choice("", "no mould", ""));
    let moulds = items(&moulds["items"]).iter().map(|m| choice(text(m, "id"), text(m, "name"), ""));
    let mut slip = look
        .slip("outside-work", "It is away")
        .field(Field::text("casting_id", "Tag of the casting"))
        .field(Field::new("mould_id", "Or the mould", How::List).of(none.chain(moulds)).more())
        .field(
            Field::text("what", "What is done to it")
                .proposing(["plating", "machining", "polishing", "enamel", "heat treatment"])
                .need(),
        )
        .field(Field::text("supplier", "With whom").proposing(look.proposed("suppliers").await?).need())
        .field(Field::new("due_back_on", "Due back", How::Day));
    if look.visit.actor.as_ref().is_some_and(|a| a.sees_money) {
        slip = slip.field(Field::number("cost_minor", "What it costs").more());
    }
    sheet.slip("Something goes out", slip.field(Field::at()).field(Field::text("note", "Note").more()).main());
    let mut table = Table::new("Came back", "Nothing came back yet.", &["What was done", "With whom", "Away", "Back"]);
    for line in found.iter().filter(|l| !l["back_at"].is_null()).take(30) {
        table.row([
            Cell::text(text(line, "what")).to(format!("/records/{}", text(line, "id"))),
            names.of(&line["supplier"]).into(),
            look.reads.at(&line["at"]).into(),
            look.reads.at(&line["back_at"]).into(),
        ]);
    }
    sheet.table(table);
    sheet.links(&[("The bench", "/bench".to_owned())]);
    sheet.show()
}
