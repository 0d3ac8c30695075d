//! `/jobs/{id}/class`: a class taken in, its rows pasted or typed; and what each maker's work takes.

use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::shop::house::floor::{Floor, Look, choice, items, plain, text};
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Part, Sheet, Table};
use crate::web::slip::{Field, How, Slip};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Rows on the page where none are pasted.
const ROWS: usize = 6;
/// The most rows that are taken in at once.
const MOST: usize = 60;

/// The page.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    vec![floor.page("/jobs/{id}/class", Right::Log, class)]
}

/// A row as it was pasted: maker, title, wax, shell.
#[derive(Clone, Default, PartialEq, Eq, Debug)]
struct Pasted([String; 4]);

/// Rows out of pasted text: a line each, cells parted by tabs, else semicolons, else commas. A line that
/// heads a table, or says nothing, is none.
fn rows(pasted: &str) -> Vec<Pasted> {
    let mut out = Vec::new();
    for line in pasted.lines().map(str::trim).filter(|line| !line.is_empty()) {
        let by = ['\t', ';', ','].into_iter().find(|c| line.contains(*c)).unwrap_or('\t');
        let mut cells = line.split(by).map(|cell| cell.trim().trim_matches('"').to_owned());
        let row = Pasted(std::array::from_fn(|_| cells.next().unwrap_or_default()));
        let heads = !row.0[2].chars().any(|c| c.is_ascii_digit()) && out.is_empty() && !row.0[2].is_empty();
        if !heads {
            out.push(row);
        }
    }
    out.truncate(MOST);
    out
}

async fn class(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let number = escape_part(visit.part("id"));
    let job = look.get(&format!("/v1/commissions/{number}")).await?;
    let mut sheet = Sheet::new(&visit, format!("Class: {}", text(&job, "title")));
    "One row for each maker. Rows with the same word under Shell share one.".clone_into(&mut sheet.lead);
    let pasted = rows(visit.query.get("pasted"));
    if pasted.is_empty() {
        let field = Field::new("pasted", "Paste rows here: maker, title, wax, shell", How::Long)
            .hint("From a spreadsheet, or with commas between. The rows then stand below, to be looked over.");
        sheet.part(Part::asking(&format!("/jobs/{number}/class"), vec![field]));
    }
    // What the job was last cast in is proposed.
    let alloy = items(&job["pieces"]).last().map_or_else(String::new, |piece| text(piece, "alloy"));
    let recipes = look.get("/v1/recipes?limit=100").await?;
    sheet.slip("Take the class in", slip(&look, &number, &pasted, items(&recipes["items"]), &alloy));
    let pieces = items(&job["pieces"]);
    if !pieces.is_empty() {
        sheet.table(makers(&look, pieces).await?);
    }
    sheet.links(&[("The job", format!("/jobs/{number}"))]);
    sheet.show()
}

fn slip(look: &Look<'_>, number: &str, pasted: &[Pasted], recipes: &[Value], alloy: &str) -> Slip {
    let count = if pasted.is_empty() { ROWS } else { pasted.len() };
    let button = if pasted.is_empty() { "Take them in".to_owned() } else { format!("Take in these {count}") };
    let mut slip = look
        .slip(format!("commissions/{number}/class"), &button)
        .field(Field::text("alloy", "Alloy").with(alloy).need())
        .field(
            Field::new("recipe_id", "Shell recipe", How::List)
                .of(recipes.iter().map(|r| choice(text(r, "id"), text(r, "name"), ""))),
        )
        .field(Field::number("gating_kg", "Gating of one shell, in wax").need())
        .field(Field::number("section_mm", "Thinnest section").more())
        .field(Field::at());
    // Typed before and refused, they may be more.
    let typed = (0..MOST).rev().find(|n| !look.visit.form.get(&format!("rows.{n}.maker")).is_empty()).map_or(0, |n| n + 1);
    let none = Pasted::default();
    for n in 0..count.max(typed) {
        let Pasted([maker, title, wax, shell]) = pasted.get(n).unwrap_or(&none);
        let name = |member: &str| format!("rows.{n}.{member}");
        slip = slip
            .field(Field::text(&name("maker"), &format!("{}. Maker", n + 1)).with(maker))
            .field(Field::text(&name("title"), "Title").with(title))
            .field(Field::number(&name("wax_kg"), "Wax").with(wax))
            .field(Field::text(&name("shell"), "Shell").with(shell));
    }
    slip.then(format!("/jobs/{number}/class")).main()
}

/// What each maker's work takes of the charge, and where it is.
async fn makers(look: &Look<'_>, pieces: &[Value]) -> Result<Table, Problem> {
    let mut by_maker: BTreeMap<String, (usize, f64, Vec<String>)> = BTreeMap::new();
    for piece in pieces {
        let maker = text(piece, "maker");
        let entry = by_maker.entry(if maker.is_empty() { "no maker".to_owned() } else { maker }).or_default();
        for casting in items(&piece["castings"]) {
            entry.0 += 1;
            entry.1 += casting["wax_kg"].as_f64().unwrap_or(0.0);
            entry.2.push(format!("{} {}", text(casting, "tag"), plain(&text(casting, "stage"))));
        }
    }
    let mut table = Table::new("By maker", "", &["Maker", "Castings#", "Wax#", "Where they are"]);
    for (maker, (count, wax, where_)) in by_maker {
        let wax = look.reads.kg(&serde_json::json!(wax));
        table.row([Cell::text(maker), count.to_string().into(), wax.into(), where_.join(", ").into()]);
    }
    "Metal to charge for it stands on the start page: by alloy, beside the metal on hand.".clone_into(&mut table.foot);
    Ok(table)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_pasted_from_a_spreadsheet_or_typed_with_commas() {
        let row = |cells: [&str; 4]| Pasted(cells.map(str::to_owned));
        assert_eq!(
            rows("Name\tTitle\tWax\tShell\nBo\tFish\t0,42\tA\n\nCleo\t\"Owl, small\"\t0.3\t\n"),
            [row(["Bo", "Fish", "0,42", "A"]), row(["Cleo", "Owl, small", "0.3", ""])]
        );
        assert_eq!(rows("Bo; Fish; 0,42\nCleo, Owl, 0.3"), [row(["Bo", "Fish", "0,42", ""]), row(["Cleo", "Owl", "0.3", ""])]);
        assert!(rows(" \n").is_empty());
        // A row that lacks its wax is kept: the book names what is missing.
        assert_eq!(rows("Bo, Fish"), [row(["Bo", "Fish", "", ""])]);
        assert_eq!(rows(&"a, b, 1\n".repeat(90)).len(), MOST);
    }
}
