//! `/things`: kilns, furnaces, crucibles, hands, suppliers; made on first use, renamed here.

use super::floor::{Floor, text};
use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::web::sheet::{Cell, Sheet, Table};
use crate::web::slip::Field;
use crate::web::{Page, Shown, Visit};
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

async fn things(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let mut sheet = Sheet::new(&visit, "Kilns, furnaces, crucibles, hands, suppliers");
    "Named on a slip for the first time, a thing is made; here it is looked up.".clone_into(&mut sheet.lead);
    for (collection, heading, new) in THINGS {
        let found = look.get(&format!("/v1/{collection}?limit=200")).await?;
        let mut table = Table::new(heading, "None yet.", &["Name", "Since"]);
        for thing in super::floor::items(&found["items"]) {
            let link = Cell::text(text(thing, "name")).to(format!("/records/{}", text(thing, "id")));
            table.row([link, look.reads.at(&thing["at"]).into()]);
        }
        sheet.table(table);
        if visit.actor()?.role.may(Right::Own) {
            sheet.folded(new, look.slip(collection, "Keep").field(Field::text("name", "Name").need()));
        }
    }
    sheet.show()
}
