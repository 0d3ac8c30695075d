//! `/quotes`: all of them, and asking for one; `/quotes/side`: several side by side.

use super::card;
use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::science::trade::Catalogue;
use crate::shop::house::floor::{Floor, Look, choice, items, text};
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Part, Sheet, Table};
use crate::web::slip::{Choice, Field, How, Slip};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::sync::Arc;

/// The pages.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    let mut out = vec![
        floor.page("/quotes", Right::Own, list),
        floor.page("/quotes/side", Right::Own, side),
        floor.page("/quotes/{id}", Right::Own, card::one),
        floor.page("/quotes/{id}/letter", Right::Own, card::letter),
        floor.page("/quotes/{id}/letter.pdf", Right::Own, card::letter_file),
    ];
    out.extend(super::learnt_page::pages(floor));
    out
}

/// The lines that a page asks for; further ones are asked for by the API.
const LINES: usize = 3;
/// The most quotes side by side.
const MOST_SIDE: usize = 4;

/// How a quote stands, in a word.
pub fn stands(quote: &Value, today: jiff::civil::Date) -> String {
    let over = quote["valid_until"].as_str().and_then(|day| day.parse::<jiff::civil::Date>().ok()).is_some_and(|day| day < today);
    match quote["state"].as_str().unwrap_or_default() {
        "draft" | "sent" if over => "lapsed".into(),
        "draft" => "not sent yet".into(),
        "superseded" => "replaced by a later version".into(),
        other => other.to_owned(),
    }
}

async fn list(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let (found, next) = look.list("/v1/quotes", 50).await?;
    let clients = look.get("/v1/clients?limit=200").await?;
    let clients = items(&clients["items"]);
    let mut sheet = Sheet::new(&visit, "Quotes");
    "What a job will cost, by what such jobs cost here; and how far that is to be trusted.".clone_into(&mut sheet.lead);
    let asked = ask(&look, &Value::Null).await?;
    sheet.slip("Quote a job", asked);
    let mut table = Table::new("On record", "No quote is on record yet.", &["Quote", "What", "For", "Price#", "How it stands"]);
    for quote in &found {
        let number = text(quote, "number");
        let client = clients.iter().find(|c| c["id"] == quote["client_id"]).map_or_else(String::new, |c| text(c, "name"));
        table.row([
            Cell::text(number.clone()).to(format!("/quotes/{}", escape_part(&number))),
            text(quote, "title").into(),
            client.into(),
            look.reads.minor(&quote["price_minor"]).into(),
            stands(quote, look.reads.today()).into(),
        ]);
    }
    table.next = next;
    sheet.table(table);
    sheet.links(&[
        ("How often ranges held", "/reports/quote-ranges".to_owned()),
        ("Won, lost, and what misses", "/reports/quotes".to_owned()),
        ("Jobs", "/jobs".to_owned()),
    ]);
    sheet.show()
}

fn alloys() -> Result<Vec<Choice>, Problem> {
    let built_in = Catalogue::builtin().map_err(Problem::internal)?;
    Ok(built_in.alloys.iter().map(|a| choice(a.designation.clone(), a.designation.clone(), "")).collect())
}

/// The slip that asks for a quote; of another, it asks for a new version.
///
/// # Errors
/// As the API.
pub async fn ask(look: &Look<'_>, of: &Value) -> Result<Slip, Problem> {
    let clients = look.get("/v1/clients?limit=200").await?;
    let patterns = look.get("/v1/patterns?limit=200").await?;
    let recipes = look.get("/v1/recipes?limit=100").await?;
    let patinas = look.get("/v1/patinas?limit=100").await?;
    let named = |all: &Value, none: &str| -> Vec<Choice> {
        let first = choice("", none, "");
        std::iter::once(first)
            .chain(items(&all["items"]).iter().map(|one| choice(text(one, "id"), text(one, "name"), "")))
            .collect()
    };
    let finishes: Vec<String> = items(&patinas["items"]).iter().map(|one| text(one, "name")).collect();
    let revises = text(of, "id");
    let mut slip = look.slip("quotes", if revises.is_empty() { "Work it out" } else { "Give this version" });
    if !revises.is_empty() {
        slip = slip.field(Field::hidden("revises", &revises));
    }
    let lines = items(&of["lines"]);
    let recent = look.get("/v1/quotes?limit=1").await?;
    let last = recent["items"][0]["lines"][0]["alloy"].as_str().unwrap_or("C87300").to_owned();
    let choices =
        Choices { patterns: named(&patterns, "none on file"), recipes: named(&recipes, "any"), alloys: alloys()?, finishes };
    for n in 0..LINES.max(lines.len()) {
        for field in line(look, n, lines.get(n).unwrap_or(&Value::Null), &choices, &last) {
            slip = slip.field(field);
        }
    }
    slip = slip
        .field(
            Field::new("client_id", "For whom", How::List).of(named(&clients, "nobody yet")).with(text(of, "client_id")).more(),
        )
        .field(Field::text("title", "What the job is called").with(text(of, "title")).more())
        .field(Field::new("due_on", "Wanted by", How::Day).with(text(of, "due_on")).more())
        .field(Field::new("valid_until", "Holds until", How::Day).more())
        .field(
            Field::number("set_price_minor", "Your own price, before tax")
                .with(of["set_price_minor"].as_i64().map_or_else(String::new, |minor| look.reads.money_field(minor)))
                .hint("Left empty, the shop's rules make it.")
                .more(),
        )
        .field(Field::new("opening", "Words at the head of the letter", How::Long).with(text(of, "opening")).more())
        .field(Field::new("notes", "Notes for the shop alone", How::Long).with(text(of, "notes")).more());
    Ok(slip.then("/quotes/{made}").main())
}

struct Choices {
    patterns: Vec<Choice>,
    recipes: Vec<Choice>,
    alloys: Vec<Choice>,
    finishes: Vec<String>,
}

/// The fields of a line: the first few of the first line are seen at once.
fn line(look: &Look<'_>, n: usize, of: &Value, choices: &Choices, last: &str) -> Vec<Field> {
    let name = |member: &str| format!("lines.{n}.{member}");
    let nth = |label: &str| if n == 0 { label.to_owned() } else { format!("{label}, work {}", n + 1) };
    let number = |member: &str| of[member].as_f64().map_or_else(String::new, |value| value.to_string());
    let money = |member: &str| of[member].as_i64().map_or_else(String::new, |minor| look.reads.money_field(minor));
    let first = n == 0;
    let open = |field: Field| if first { field } else { field.more() };
    let alloy = if first { of["alloy"].as_str().unwrap_or(last).to_owned() } else { text(of, "alloy") };
    let none = std::iter::once(choice("", "none", ""));
    let alloys: Vec<Choice> = if first { choices.alloys.clone() } else { none.chain(choices.alloys.iter().cloned()).collect() };
    let copies = if first { of["copies"].as_i64().unwrap_or(1).to_string() } else { number("copies") };
    vec![
        open(
            Field::new(&name("pattern_id"), &nth("Pattern"), How::List).of(choices.patterns.clone()).with(text(of, "pattern_id")),
        ),
        open(
            Field::number(&name("mass_kg"), &nth("Or what a copy weighs in metal"))
                .with(look.reads.kg_field(&of["mass_kg"]))
                .hint("Where no pattern is on file."),
        ),
        open(
            Field::number(&name("section_mm"), &nth("Its thinnest section"))
                .with(number("section_mm"))
                .hint("A pattern on file says it."),
        ),
        open(Field::new(&name("alloy"), &nth("Alloy"), How::List).of(alloys).with(alloy)),
        open(Field::number(&name("copies"), &nth("Copies")).with(copies)),
        open(Field::number(&name("proofs"), &nth("Proofs beside them")).with(number("proofs"))),
        Field::text(&name("what"), &nth("What it is called")).with(text(of, "what")).more(),
        Field::new(&name("recipe_id"), &nth("Shell recipe"), How::List)
            .of(choices.recipes.clone())
            .with(text(of, "recipe_id"))
            .more(),
        Field::text(&name("finish"), &nth("Finish")).proposing(&choices.finishes).with(text(of, "finish")).more(),
        Field::list(
            &name("mould"),
            &nth("Mould"),
            &[
                ("", "not said"),
                ("new", "a new one"),
                ("existing", "one that is there"),
                ("client", "the client's"),
                ("none", "none"),
            ],
        )
        .with(text(of, "mould"))
        .more(),
        Field::number(&name("mould_minor"), &nth("What the new mould costs"))
            .with(money("mould_minor"))
            .hint("Left empty, by the record.")
            .more(),
        Field::list(&name("chasing"), &nth("Chasing"), &[("", "as usual"), ("plain", "plain"), ("fine", "fine")])
            .with(text(of, "chasing"))
            .more(),
        Field::number(&name("chase_minutes"), &nth("Minutes of chasing a copy"))
            .with(number("chase_minutes"))
            .hint("Left empty, by the record.")
            .more(),
        Field::number(&name("sections"), &nth("Cast in so many parts")).with(number("sections")).more(),
        Field::list(
            &name("unique"),
            &nth("Its pattern"),
            &[("", "as on file"), ("true", "gone with its casting"), ("false", "can be had again")],
        )
        .with(of["unique"].as_bool().map_or_else(String::new, |unique| unique.to_string()))
        .more(),
        Field::number(&name("base_minor"), &nth("A copy's base")).with(money("base_minor")).more(),
        Field::number(&name("royalty_minor"), &nth("A copy's royalty")).with(money("royalty_minor")).more(),
        Field::number(&name("crate_minor"), &nth("A copy's crate"))
            .with(money("crate_minor"))
            .hint("Left empty with freight, by the record.")
            .more(),
        Field::number(&name("freight_minor"), &nth("Freight in all")).with(money("freight_minor")).more(),
        Field::number(&name("bought_minor"), &nth("What else is bought in")).with(money("bought_minor")).more(),
        Field::number(&name("metal_minor_per_kg"), &nth("A kg of the metal"))
            .with(money("metal_minor_per_kg"))
            .hint("Left empty, by the book.")
            .more(),
        Field::list(
            &name("recast_borne_by"),
            &nth("A failed casting is borne by"),
            &[("", "the shop"), ("client", "the client")],
        )
        .with(text(of, "recast_borne_by"))
        .more(),
        Field::number(&name("remake_minor"), &nth("Making a unique pattern again")).with(money("remake_minor")).more(),
    ]
}

/// A row of quotes side by side: what it is, and how it is taken from a quote.
type Compared = (&'static str, fn(&Look<'_>, &Value) -> String);

/// Quotes side by side: what is asked for, what it costs, what it is offered at.
async fn side(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let mut sheet = Sheet::new(&visit, "Quotes side by side");
    let asked = visit.query.get("of").to_owned();
    sheet.part(Part::asking("/quotes/side", vec![Field::text("of", "Numbers, with commas between").with(asked.clone())]));
    let mut quotes = Vec::new();
    for number in asked.split(',').map(str::trim).filter(|n| !n.is_empty()).take(MOST_SIDE) {
        quotes.push(look.get(&format!("/v1/quotes/{}", escape_part(number))).await?);
    }
    if quotes.is_empty() {
        sheet.part(Part::Words("Give up to four numbers, as 26-Q001, 26-Q001-2.".to_owned()));
        sheet.links(&[("All quotes", "/quotes".to_owned())]);
        return sheet.show();
    }
    let mut table = Table::new("", "", &[]);
    table.heads.push((String::new(), false));
    for quote in &quotes {
        table.heads.push((text(quote, "number"), true));
    }
    let rows: [Compared; 9] = [
        ("What", |_, q| text(q, "title")),
        ("Alloy", |_, q| text(&q["lines_worked"][0], "alloy")),
        ("Copies", |_, q| items(&q["lines_worked"]).iter().filter_map(|l| l["copies"].as_u64()).sum::<u64>().to_string()),
        ("Half of such jobs cost less than", |look, q| look.reads.minor(&q["cost_minor"]["p50"])),
        ("Four in five cost less than", |look, q| look.reads.minor(&q["cost_minor"]["p80"])),
        ("Chance that a casting fails", |_, q| card::in_100(&q["lines_worked"][0]["chance_of_failure"])),
        ("Price before tax", |look, q| look.reads.minor(&q["price_minor"])),
        ("A copy", |look, q| look.reads.minor(&q["price"]["each_minor"])),
        ("Chance of losing money", |_, q| card::in_100(&q["price"]["chance_of_loss"])),
    ];
    for (label, of) in rows {
        let cells = std::iter::once(Cell::text(label)).chain(quotes.iter().map(|quote| Cell::number(of(&look, quote))));
        table.rows.push(cells.collect());
    }
    sheet.table(table);
    let links: Vec<(String, String)> = quotes
        .iter()
        .map(|q| (format!("Quote {}", text(q, "number")), format!("/quotes/{}", escape_part(&text(q, "number")))))
        .collect();
    sheet.part(Part::Links(links));
    sheet.links(&[("All quotes", "/quotes".to_owned())]);
    sheet.show()
}
