//! `/patterns/{id}/edition`: the register to read.

use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::shop::house::floor::{Floor, items, text};
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Sheet, Table};
use crate::web::{Page, Shown, Visit};
use std::sync::Arc;

/// The page.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    vec![floor.page("/patterns/{id}/edition", Right::Read, edition)]
}

fn words(state: &str) -> &str {
    match state {
        "owed" => "not cast yet",
        "in_the_shop" => "in the shop",
        "finished" => "finished, here",
        "delivered" => "handed over",
        "lost" => "lost: only scrapped castings",
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
    let states = ["owed", "in_the_shop", "finished", "delivered", "lost"];
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
        &["Mark", "Where", "Castings", "Patina", "Job", "To whom", "When"],
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
            words(&text(row, "state")).into(),
            format!("{}{spare}", tags.join(", ")).into(),
            patina.into(),
            Cell::text(number).to(job),
            text(row, "to").into(),
            look.reads.at(&row["delivered_at"]).into(),
        ]);
    }
    sheet.table(table);
    sheet.links(&[("The pattern", format!("/patterns/{id}")), ("All patterns", "/patterns".to_owned())]);
    sheet.show()
}
