//! `/clients`: who commissions work.

use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::shop::house::floor::{Floor, items, named_table, text};
use crate::web::sheet::{Cell, Sheet, Table};
use crate::web::slip::{Field, How};
use crate::web::{Page, Shown, Visit};
use std::sync::Arc;

/// The pages.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    let mut pages = vec![floor.page("/clients", Right::Read, list), floor.page("/clients/{id}", Right::Read, one)];
    pages.extend(super::property_page::pages(floor));
    pages
}

fn fields() -> [Field; 4] {
    [
        Field::text("name", "Name").need(),
        Field::text("email", "E-mail"),
        Field::text("phone", "Telephone"),
        Field::new("notes", "Notes", How::Long),
    ]
}

async fn list(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let (clients, next) = look.list("/v1/clients", 50).await?;
    let mut sheet = Sheet::new(&visit, "Clients");
    let mut table = named_table("On file", "No client is on file yet. Work without one is the shop's own.", &clients, "/clients");
    table.next = next;
    sheet.table(table);
    sheet.slip("A new client", look.slip("clients", "Keep").fields(fields()).then("/clients/{made}").main());
    sheet.show()
}

async fn one(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let id = visit.part("id");
    let client = look.get(&format!("/v1/clients/{id}")).await?;
    let jobs = look.get(&format!("/v1/commissions?client_id={}", text(&client, "id"))).await?;
    let mut sheet = Sheet::new(&visit, text(&client, "name"));
    let facts = [("E-mail", "email"), ("Telephone", "phone"), ("Notes", "notes")];
    sheet.facts("", facts.map(|(label, name)| (label, Cell::text(text(&client, name)))));
    let mut table = Table::new("Jobs", "No job of theirs is on record.", &["Job", "Title", "Due"]);
    for job in items(&jobs["items"]) {
        let number = text(job, "number");
        table.row([
            Cell::text(number.clone()).to(format!("/jobs/{number}")),
            text(job, "title").into(),
            text(job, "due_on").into(),
        ]);
    }
    sheet.table(table);
    sheet.links(&[("What of theirs is here", "/property".to_owned()), ("All clients", "/clients".to_owned())]);
    let correct = look.slip(format!("clients/{}", text(&client, "id")), "Correct").correcting(&text(&client, "etag"));
    let correct = correct.fields(fields().map(|field| {
        let value = text(&client, &field.name);
        field.with(value)
    }));
    if look.may_correct(&client) {
        sheet.folded("Correct this", correct);
    }
    sheet.show()
}
