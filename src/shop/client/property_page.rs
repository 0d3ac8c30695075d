//! `/property`: what belongs to clients and is in the shop, and what went back.

use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::shop::house::floor::{Floor, Look, choice, items, plain, text};
use crate::web::sheet::{Cell, Sheet, Table};
use crate::web::slip::{Field, How, Slip};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::sync::Arc;

/// The page.
pub(super) fn pages(floor: &Floor) -> Vec<Page> {
    vec![floor.page("/property", Right::Read, property)]
}

/// How many that went back are shown.
const GONE: u16 = 30;

/// What it is, with how many there are of it.
fn called(line: &Value) -> String {
    let many = line["count"].as_i64().filter(|n| *n > 1).map_or_else(String::new, |n| format!("{n} × "));
    format!("{many}{}", text(line, "what"))
}

fn take_in(look: &Look<'_>, clients: &[Value]) -> Slip {
    let kinds = [
        ("", "not said"),
        ("original", "original"),
        ("mould", "mould"),
        ("wax", "wax"),
        ("pattern", "pattern"),
        ("casting", "casting"),
        ("fitting", "base or fitting"),
        ("crate", "crate"),
        ("other", "something else"),
    ];
    let nobody = std::iter::once(choice("", "choose", ""));
    let whose = nobody.chain(clients.iter().map(|c| choice(text(c, "id"), text(c, "name"), "")));
    let slip = look
        .slip("properties", "It is here")
        .field(Field::new("client_id", "Whose it is", How::List).of(whose).need())
        .field(Field::text("what", "What it is").need())
        .field(Field::list("kind", "Kind of thing", &kinds))
        .field(Field::number("count", "How many").more())
        .field(Field::text("condition", "In what state").hint("Chips, cracks, repairs: before anybody works on it."))
        .field(Field::text("shelf", "Where it stands"));
    let slip = if look.visit.actor.as_ref().is_some_and(|a| a.sees_money) {
        slip.field(Field::number("value_minor", "What the client says it is worth").more())
    } else {
        slip
    };
    slip.field(Field::at()).field(Field::new("notes", "Notes", How::Long).more())
}

async fn property(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let here = look.get("/v1/properties?here=yes&limit=200").await?;
    let gone = look.get(&format!("/v1/properties?here=no&limit={GONE}")).await?;
    let clients = look.get("/v1/clients?limit=200").await?;
    let clients = items(&clients["items"]);
    let (here, gone) = (items(&here["items"]), items(&gone["items"]));
    let whose = |line: &Value| Cell::text(text(line, "client")).to(format!("/clients/{}", text(line, "client_id")));
    let mut sheet = Sheet::new(&visit, "Clients' property");
    let mut table =
        Table::new("Here", "Nothing of a client's is here.", &["What", "Whose", "Kind", "In what state", "Where", "Since"]);
    for line in here {
        table.row([
            Cell::text(called(line)).to(format!("/records/{}", text(line, "id"))),
            whose(line),
            plain(&text(line, "kind")).into(),
            text(line, "condition").into(),
            text(line, "shelf").into(),
            look.reads.at(&line["at"]).into(),
        ]);
    }
    sheet.table(table);
    for line in here {
        let slip = look
            .slip(format!("properties/{}", text(line, "id")), "It went back")
            .correcting(&text(line, "etag"))
            .field(Field::hidden("_now", "out_at"))
            .field(Field::new("out_at", "Out at", How::Time).hint("Now, unless said otherwise.").more())
            .field(Field::text("out_to", "Who took it").need());
        sheet.folded(&format!("{}: goes back", called(line)), slip);
    }
    if clients.is_empty() {
        sheet.links(&[("A client first", "/clients".to_owned())]);
    } else {
        sheet.slip("Something comes in", take_in(&look, clients).main());
    }
    let mut table = Table::new("Went back", "Nothing went back yet.", &["What", "Whose", "Here from", "To", "Who took it"]);
    for line in gone {
        table.row([
            Cell::text(called(line)).to(format!("/records/{}", text(line, "id"))),
            whose(line),
            look.reads.at(&line["at"]).into(),
            look.reads.at(&line["out_at"]).into(),
            text(line, "out_to").into(),
        ]);
    }
    sheet.table(table);
    sheet.show()
}
