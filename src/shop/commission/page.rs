//! `/jobs` and `/jobs/{id}`: what is owed, to whom, by when; pieces, costs, payments.

use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::science::trade::Catalogue;
use crate::shop::house::floor::{Floor, Look, choice, items, plain, text};
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Part, Sheet, Table};
use crate::web::slip::{Choice, Field, How, Slip};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::sync::Arc;

/// The pages.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    vec![floor.page("/jobs", Right::Read, list), floor.page("/jobs/{id}", Right::Read, one)]
}

/// The most copies of an edition that are taken in at once.
const COPIES: usize = 60;

async fn list(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let (jobs, next) = look.list("/v1/commissions", 50).await?;
    let clients = look.get("/v1/clients?limit=200").await?;
    let clients = items(&clients["items"]);
    let mut sheet = Sheet::new(&visit, "Jobs");
    let choices = clients.iter().map(|c| choice(text(c, "id"), text(c, "name"), ""));
    let new = look
        .slip("commissions", "Take it in")
        .field(Field::text("title", "What it is").need())
        .field(
            Field::new("client_id", "For whom", How::List)
                .of(std::iter::once(choice("", "the shop's own work", "")).chain(choices)),
        )
        .field(Field::new("due_on", "Due", How::Day))
        .fields(price_fields(&look, &Value::Null))
        .field(Field::new("notes", "Notes", How::Long).more())
        .then("/jobs/{made}")
        .main();
    let mut table = Table::new("Newest first", "No job is on record yet.", &["Job", "What", "For", "Due"]);
    for job in &jobs {
        let number = text(job, "number");
        let client = clients.iter().find(|c| c["id"] == job["client_id"]).map_or_else(String::new, |c| text(c, "name"));
        let link = Cell::text(number.clone()).to(format!("/jobs/{}", escape_part(&number)));
        table.row([link, text(job, "title").into(), client.into(), day(&look, job).into()]);
    }
    table.next = next;
    sheet.table(table);
    sheet.slip("A new job", new);
    sheet.links(&[("Clients", "/clients".to_owned()), ("Patterns", "/patterns".to_owned())]);
    sheet.show()
}

/// The price and up to three stages of it, for those who see money.
fn price_fields(look: &Look<'_>, job: &Value) -> Vec<Field> {
    if !look.visit.actor.as_ref().is_some_and(|a| a.sees_money) {
        return Vec::new();
    }
    let stages = items(&job["stages"]);
    let amount = |of: &Value, name: &str| of[name].as_i64().map_or_else(String::new, |minor| look.reads.money_field(minor));
    let mut out = vec![Field::number("price_minor", "Price agreed").with(amount(job, "price_minor")).more()];
    for n in 0..stages.len().max(3) {
        let stage = stages.get(n).unwrap_or(&Value::Null);
        let name = |member: &str| format!("stages.{n}.{member}");
        out.push(
            Field::text(&name("for"), &format!("Stage {}: what for", n + 1))
                .proposing(["deposit", "wax approved", "poured", "delivered"])
                .with(text(stage, "for"))
                .more(),
        );
        out.push(Field::number(&name("amount_minor"), "How much of it").with(amount(stage, "amount_minor")).more());
        out.push(Field::new(&name("due_on"), "By", How::Day).with(text(stage, "due_on")).more());
    }
    out
}

fn day(look: &Look<'_>, job: &Value) -> String {
    job["due_on"].as_str().and_then(|day| day.parse().ok()).map_or_else(String::new, |day| look.reads.date(day))
}

async fn one(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let job = look.get(&format!("/v1/commissions/{}", escape_part(visit.part("id")))).await?;
    let number = text(&job, "number");
    let client = match job["client_id"].as_str() {
        Some(id) => Some(look.get(&format!("/v1/clients/{id}")).await?),
        None => None,
    };
    let mut sheet = Sheet::new(&visit, text(&job, "title"));
    sheet.lead = format!("Job {number}");
    let client_cell = client.as_ref().map_or_else(
        || Cell::text("the shop's own work"),
        |c| Cell::text(text(c, "name")).to(format!("/clients/{}", text(c, "id"))),
    );
    sheet.facts("", [("For", client_cell), ("Due", Cell::text(day(&look, &job))), ("Notes", Cell::text(text(&job, "notes")))]);
    let patterns = look.get("/v1/patterns?limit=200").await?;
    let patterns = items(&patterns["items"]);
    let pieces = items(&job["pieces"]);
    sheet.table(pieces_table(pieces, patterns));
    let number = escape_part(&number);
    let mut of_what = crate::shop::pattern::page::materials(&look).await?;
    of_what.insert(0, choice("", "", ""));
    sheet.slip("A piece more", piece(&look, &number, pieces, patterns, &of_what));
    edition(&look, &mut sheet, &number, pieces, patterns);
    let work = look
        .slip(format!("commissions/{number}/work"), "Log it")
        .field(Field::new("operation", "What", How::List).of(operations()?).with("other"))
        .field(Field::number("minutes", "Minutes").need())
        .field(Field::text("hand", "By whom").more())
        .field(Field::at());
    sheet.folded("Minutes on the job as a whole", work);
    if visit.actor()?.sees_money {
        money(&look, &mut sheet, &number, &job).await?;
    }
    let correct = look
        .slip(format!("commissions/{number}"), "Correct")
        .correcting(&text(&job, "etag"))
        .field(Field::text("title", "What it is").with(text(&job, "title")))
        .field(Field::new("due_on", "Due", How::Day).with(text(&job, "due_on")))
        .fields(price_fields(&look, &job))
        .field(Field::new("notes", "Notes", How::Long).with(text(&job, "notes")));
    if look.may_correct(&job) {
        sheet.folded("Correct this", correct);
    }
    if visit.actor()?.role.may(Right::Own) {
        sheet.links(&[("A link for the client", format!("/jobs/{number}/links"))]);
    }
    if look.visit.actor.as_ref().is_some_and(|a| a.role.may(Right::Log)) {
        sheet.links(&[("Take a class in", format!("/jobs/{number}/class"))]);
    }
    sheet.links(&[("All jobs", "/jobs".to_owned()), ("The job's record", format!("/records/{}", text(&job, "id")))]);
    sheet.show()
}

/// Operations by name.
fn operations() -> Result<Vec<Choice>, Problem> {
    let built_in = Catalogue::builtin().map_err(Problem::internal)?;
    Ok(built_in.operations.iter().map(|o| choice(o.code.clone(), o.name.clone(), "")).collect())
}

fn name_of(patterns: &[Value], id: &Value) -> String {
    patterns.iter().find(|p| p["id"] == *id).map_or_else(|| "a pattern".to_owned(), |p| text(p, "name"))
}

fn pieces_table(pieces: &[Value], patterns: &[Value]) -> Table {
    let mut table = Table::new("Pieces", "No piece is owed on it yet.", &["Casting", "Piece", "Where it is", "Shell"]);
    for piece in pieces {
        let mark = [text(piece, "edition_mark"), text(piece, "maker")].into_iter().find(|m| !m.is_empty()).unwrap_or_default();
        let name = format!("{} {mark}", name_of(patterns, &piece["pattern_id"]));
        for casting in items(&piece["castings"]) {
            let tag = text(casting, "tag");
            let part = if casting["part"] == "whole" { String::new() } else { format!(", {}", text(casting, "part")) };
            let attempt = casting["attempt"].as_i64().filter(|n| *n > 1).map_or_else(String::new, |n| format!(", attempt {n}"));
            let shell = text(casting, "shell_tag");
            let to = if shell.is_empty() { String::new() } else { format!("/shells/{shell}") };
            table.row([
                Cell::tag(tag.clone()).to(format!("/castings/{tag}")),
                format!("{}{part}{attempt}", name.trim()).into(),
                plain(&text(casting, "stage")).into(),
                Cell { to, ..Cell::tag(shell) },
            ]);
        }
    }
    table
}

fn pattern_choices(patterns: &[Value]) -> Vec<Choice> {
    patterns.iter().map(|p| choice(text(p, "id"), text(p, "name"), if p["kind"] == "unique" { "unique" } else { "" })).collect()
}

fn piece(look: &Look<'_>, number: &str, pieces: &[Value], patterns: &[Value], materials: &[Choice]) -> Slip {
    let last = pieces.last().cloned().unwrap_or(Value::Null);
    let alloys: std::collections::BTreeSet<String> = pieces.iter().map(|p| text(p, "alloy")).collect();
    let none = std::iter::once(choice("", "a new one, described below", ""));
    look.slip(format!("commissions/{number}/pieces"), "Take it in")
        .field(
            Field::new("pattern_id", "Pattern", How::List)
                .of(none.chain(pattern_choices(patterns)))
                .with(text(&last, "pattern_id")),
        )
        .field(Field::text("alloy", "Alloy").proposing(alloys).with(text(&last, "alloy")).need())
        .field(Field::text("edition_mark", "Edition mark").hint("As 3/8 or AP 1/2; empty for a single work."))
        .field(Field::text("pattern.name", "A new pattern: its name").more())
        .field(Field::new("pattern.material", "Of what", How::List).of(materials.iter().cloned()).more())
        .field(Field::number("pattern.mass_kg", "Mass of the pattern").more())
        .field(Field::number("pattern.section_mm", "Thinnest section").more())
        .field(Field::list("pattern.kind", "Can it be had again", KINDS).more())
        .field(Field::text("maker", "Who made it, in a class pour").more())
        .field(Field::text("parts", "Parts cast apart").hint("Names with commas between.").more())
        .main()
}

/// Whether a pattern can be had again.
const KINDS: &[(&str, &str)] =
    &[("", ""), ("mould", "pulled from a mould"), ("file", "printed again"), ("unique", "unique: gone when its casting fails")];

/// An edition taken in at once: how many first, then their marks to look over.
fn edition(look: &Look<'_>, sheet: &mut Sheet, number: &str, pieces: &[Value], patterns: &[Value]) {
    let copies = look.visit.query.get("copies").parse::<usize>().ok().filter(|n| (1..=COPIES).contains(n));
    let Some(copies) = copies else {
        let ways = [4, 6, 8, 12].map(|n| (format!("Edition of {n}"), format!("/jobs/{number}?copies={n}")));
        sheet.part(Part::Links(ways.to_vec()));
        return;
    };
    let last = pieces.last().cloned().unwrap_or(Value::Null);
    let mut slip =
        look.slip(format!("commissions/{number}/pieces"), &format!("Take in these {copies}")).named(look.visit, "edition");
    for n in 0..copies {
        slip = slip
            .field(
                Field::new(&format!("rows.{n}.pattern_id"), &format!("Pattern of {}", n + 1), How::List)
                    .of(pattern_choices(patterns))
                    .with(text(&last, "pattern_id"))
                    .more(),
            )
            .field(Field::text(&format!("rows.{n}.alloy"), &format!("Alloy of {}", n + 1)).with(text(&last, "alloy")).more())
            .field(
                Field::text(&format!("rows.{n}.edition_mark"), &format!("Mark {}", n + 1)).with(format!("{}/{copies}", n + 1)),
            );
    }
    sheet.slip("An edition", slip.then(format!("/jobs/{number}")).main());
}

async fn money(look: &Look<'_>, sheet: &mut Sheet, number: &str, job: &Value) -> Result<(), Problem> {
    sheet.links(&[("What it cost", format!("/jobs/{number}/cost"))]);
    if let Some(quote) = job["quote_id"].as_str().filter(|_| look.visit.actor.as_ref().is_some_and(|a| a.role.may(Right::Own))) {
        sheet.links(&[("The quote it was taken on", format!("/quotes/{quote}"))]);
    }
    let price = &job["price_minor"];
    let stages = items(&job["stages"]);
    if !stages.is_empty() {
        let mut table = Table::new("How it is paid", "", &["For", "Due", "How much#"]);
        for stage in stages {
            table.row([text(stage, "for").into(), day(look, stage).into(), look.reads.minor(&stage["amount_minor"]).into()]);
        }
        sheet.table(table);
    }
    sheet.facts("", [("Price agreed", Cell::text(look.reads.minor(price)))]);
    let kinds =
        ["mould", "pattern", "print", "service", "base", "crate", "freight", "travel", "royalty", "other"].map(|k| (k, k));
    let bought = look
        .slip(format!("commissions/{number}/costs"), "Keep")
        .field(Field::list("kind", "What for", &kinds))
        .field(Field::number("amount_minor", "How much").need())
        .field(Field::text("supplier", "From whom").proposing(look.proposed("suppliers").await?).more())
        .field(Field::text("note", "Note").more())
        .field(Field::at());
    sheet.folded("A cost bought in", bought);
    let paid = look
        .slip(format!("commissions/{number}/payments"), "Received")
        .field(Field::number("amount_minor", "How much").need())
        .field(Field::text("for", "What for").proposing(["deposit", "stage", "balance"]))
        .field(Field::at());
    sheet.folded("A payment received", paid);
    for (collection, heading, what) in [("costs", "Bought in", "kind"), ("payments", "Received", "for")] {
        let lines = look.get(&format!("/v1/{collection}?commission_id={number}&limit=100")).await?;
        let mut table = Table::new(heading, "", &["When", "What", "How much#"]);
        for line in items(&lines["items"]) {
            let what = Cell::text(format!("{} ", plain(&text(line, what))).trim().to_owned());
            let to = format!("/records/{}", text(line, "id"));
            table.row([Cell::text(look.reads.at(&line["at"])).to(to), what, look.reads.minor(&line["amount_minor"]).into()]);
        }
        if !table.rows.is_empty() {
            sheet.table(table);
        }
    }
    Ok(())
}
