//! `/patterns/{id}/edition`: the register to read, certificates to sign; `/certificates/{id}`: one to print.

use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::shop::house::floor::{Floor, Look, items, text};
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Sheet, Table};
use crate::web::slip::{Field, How};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::sync::Arc;

/// The page.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    vec![floor.page("/patterns/{id}/edition", Right::Read, edition), floor.page("/certificates/{id}", Right::Read, certificate)]
}

fn words(state: &str) -> &str {
    match state {
        "owed" => "not cast yet",
        "in_the_shop" => "in the shop",
        "finished" => "finished, here",
        "delivered" => "handed over",
        "lost" => "lost: only scrapped castings",
        "no_more" => "no more",
        other => other,
    }
}

async fn edition(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let id = escape_part(visit.part("id"));
    let register = look.get(&format!("/v1/patterns/{id}/edition")).await?;
    let mut sheet = Sheet::new(&visit, format!("Edition: {}", text(&register, "name")));
    let proofs: Vec<String> =
        register["proofs"].as_object().into_iter().flatten().map(|(kind, n)| format!("{n} {kind}")).collect();
    let states = ["owed", "in_the_shop", "finished", "delivered", "lost", "no_more"];
    let counts: Vec<String> =
        states.iter().filter_map(|state| register["counts"][state].as_i64().map(|n| format!("{n} {}", words(state)))).collect();
    let twice: Vec<&str> = items(&register["twice"]).iter().filter_map(|m| m.as_str()).collect();
    sheet.facts(
        "",
        [
            ("Edition of", Cell::text(text(&register, "of"))),
            ("Proofs", Cell::text(proofs.join(", "))),
            ("Next mark", Cell::text(text(&register, "next_mark"))),
            ("Mould cancelled on", Cell::text(text(&register, "cancelled_on"))),
            ("Where they are", Cell::text(counts.join(", "))),
            ("Borne twice", Cell::text(twice.join(", "))),
        ],
    );
    let mut table = Table::new(
        "The register",
        "No piece is owed of it yet.",
        &["Mark", "Where", "Castings", "Patina", "Job", "To whom", "When", "Certificate"],
    );
    for row in items(&register["rows"]) {
        let mark = text(row, "mark");
        let number = text(row, "number");
        let tags: Vec<&str> = items(&row["castings"]).iter().filter_map(|t| t.as_str()).collect();
        let to = tags.last().map_or_else(String::new, |tag| format!("/castings/{tag}"));
        let spares: Vec<&str> = items(&row["spares"]).iter().filter_map(|t| t.as_str()).collect();
        let spare = if spares.is_empty() { String::new() } else { format!(" (spare: {})", spares.join(", ")) };
        let patina = text(row, "patina");
        let patina = if patina.is_empty() { patina } else { format!("{patina} {}", text(row, "patina_version")) };
        let job = if number.is_empty() { String::new() } else { format!("/jobs/{}", escape_part(&number)) };
        table.row([
            Cell::text(if mark.is_empty() { "no mark".to_owned() } else { mark }).to(to),
            state(&look, row).into(),
            format!("{}{spare}", tags.join(", ")).into(),
            patina.into(),
            Cell::text(number).to(job),
            text(row, "to").into(),
            look.reads.at(&row["delivered_at"]).into(),
            signed(row),
        ]);
    }
    sheet.table(table);
    let rows = items(&register["rows"]);
    if look.visit.actor()?.role.may(Right::Log) {
        slips(&look, &mut sheet, rows, &format!("/patterns/{id}/edition"));
    }
    sheet.links(&[("The pattern", format!("/patterns/{id}")), ("All patterns", "/patterns".to_owned())]);
    sheet.show()
}

/// Where a piece stands, with what came of it.
fn state(look: &Look<'_>, row: &Value) -> String {
    let fate = text(row, "fate");
    let state = words(&text(row, "state")).to_owned();
    if fate.is_empty() { state } else { format!("{state}: {fate} {}", look.reads.at(&row["gone_at"])) }
}

/// Its certificate, to print.
fn signed(row: &Value) -> Cell {
    let id = text(row, "certificate_id");
    let number = text(row, "certificate");
    match (id.is_empty(), number.is_empty()) {
        (true, _) => Cell::text(""),
        (_, true) => Cell::text("signed").to(format!("/certificates/{id}")),
        _ => Cell::text(number).to(format!("/certificates/{id}")),
    }
}

/// What is recorded of pieces here: a certificate signed, a piece that is no more.
fn slips(look: &Look<'_>, sheet: &mut Sheet, rows: &[Value], back: &str) {
    let piece = |row: &Value| {
        let mark = text(row, "mark");
        let mark = if mark.is_empty() { "no mark".to_owned() } else { mark };
        (text(row, "piece_id"), mark, text(row, "to"))
    };
    for row in rows.iter().filter(|row| matches!(text(row, "state").as_str(), "finished" | "delivered")) {
        let (id, mark, to) = piece(row);
        if text(row, "certificate_id").is_empty() {
            let sign = look
                .slip(format!("pieces/{id}/certificate"), "Signed")
                .field(Field::text("signed_by", "Signed by").need())
                .field(Field::text("number", "Its number"))
                .field(Field::text("given_to", "Given to").with(to))
                .field(Field::new("statement", "What stands on it besides", How::Long).more())
                .field(Field::at())
                .then(back);
            sheet.folded(&format!("{mark}: sign a certificate"), sign);
        }
        if text(row, "state") == "delivered" {
            let fates = [("destroyed", "destroyed"), ("melted", "melted down"), ("lost", "lost"), ("stolen", "stolen")];
            let gone = look
                .slip(format!("pieces/{id}/loss"), "It is no more")
                .field(Field::one("fate", "What came of it", &fates))
                .field(Field::text("told_by", "Who saw it, or says so").need())
                .field(Field::at())
                .field(Field::new("notes", "Notes", How::Long).more())
                .then(back);
            sheet.folded(&format!("{mark}: is no more"), gone);
        }
    }
}

/// A certificate: what the record says of the piece, in the form in which it is signed.
async fn certificate(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let signed = look.get(&format!("/v1/certificates/{}", escape_part(visit.part("id")))).await?;
    let piece = look.get(&format!("/v1/pieces/{}", text(&signed, "piece_id"))).await?;
    let pattern = text(&piece, "pattern_id");
    let castings = items(&piece["castings"]);
    let tags: Vec<String> = castings.iter().filter(|c| c["stage"] != "scrapped").map(|c| text(c, "tag")).collect();
    let number = text(&signed, "number");
    let mut sheet =
        Sheet::new(&visit, if number.is_empty() { "Certificate".to_owned() } else { format!("Certificate {number}") });
    sheet.facts(
        "",
        [
            ("Work", Cell::text(text(&signed, "work"))),
            ("Mark", Cell::text(text(&signed, "mark"))),
            ("Cast in", Cell::text(text(&signed, "cast_in"))),
            ("Castings", Cell::text(tags.join(", "))),
            ("Statement", Cell::text(text(&signed, "statement"))),
            ("Given to", Cell::text(text(&signed, "given_to"))),
            ("Signed by", Cell::text(text(&signed, "signed_by"))),
            ("On", Cell::text(look.reads.at(&signed["at"]))),
        ],
    );
    sheet.links(&[
        ("The register", format!("/patterns/{pattern}/edition")),
        ("Its record", format!("/records/{}", text(&signed, "id"))),
    ]);
    sheet.show()
}
