//! `/incidents`: what went wrong, or nearly did, and what was done.

use super::floor::{Floor, text};
use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::web::sheet::{Cell, Part, Sheet, Table};
use crate::web::slip::{Field, How};
use crate::web::{Page, Shown, Visit};
use std::sync::Arc;

/// The page.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    vec![floor.page("/incidents", Right::Read, incidents)]
}

async fn incidents(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let (found, next) = look.list("/v1/incidents", 50).await?;
    let mut sheet = Sheet::new(&visit, "Incidents");
    sheet.part(Part::Note(
        "Somebody hurt: help first, and call who must be called where you are. Writing it down comes after.".to_owned(),
    ));
    let slip = look
        .slip("incidents", "Keep it")
        .field(Field::text("where", "Where").proposing(["pit", "furnace", "kiln", "dip room", "bench", "yard"]).need())
        .field(Field::new("what", "What happened", How::Long).need())
        .field(Field::one("hurt", "Was somebody hurt", &[("false", "Nobody"), ("true", "Somebody")]))
        .field(Field::text("who", "Who, and how").more())
        .field(Field::new("done", "What was done, and what is done so that it does not happen again", How::Long))
        .field(Field::at());
    sheet.slip("Write it down", slip.main());
    let mut table = Table::new("On record", "Nothing is on record.", &["When", "Where", "What", "Hurt", "Done"]);
    for one in &found {
        let hurt = if one["hurt"] == true { format!("yes {}", text(one, "who")) } else { "nobody".to_owned() };
        table.row([
            Cell::text(look.reads.at_of(one)).to(format!("/records/{}", text(one, "id"))),
            text(one, "where").into(),
            text(one, "what").into(),
            hurt.trim().to_owned().into(),
            text(one, "done").into(),
        ]);
    }
    table.next = next;
    sheet.table(table);
    sheet.show()
}
