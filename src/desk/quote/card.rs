//! `/quotes/{id}`: what it will cost and why, on which castings that rests, the price, what became of it;
//! and the letter to the client.

use super::page::{ask, stands};
use super::{api, letter as written};
use crate::kernel::Problem;
use crate::shop::house::floor::{Floor, Look, items, text};
use crate::web::draw::quote::{CostMark, CostRange, cost_range};
use crate::web::draw::{Bar, bars};
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Part, Sheet, Table};
use crate::web::slip::{Field, How};
use crate::web::{Shown, Visit};
use serde_json::Value;
use std::sync::Arc;

/// The most movers that are drawn.
const DRAWN: usize = 12;
/// The most castings that a page lists.
const LISTED: usize = 40;

/// A chance as so many in a hundred.
pub fn in_100(chance: &Value) -> String {
    chance.as_f64().map_or_else(String::new, |p| match p * 100.0 {
        n if n > 0.0 && n < 1.0 => "under 1 in 100".to_owned(),
        n => format!("{n:.0} in 100"),
    })
}

/// A rule of price in words.
fn rule_words(rule: &str) -> &'static str {
    match rule {
        "cost_and_markup" => "cost and markup",
        "by_kg" => "by the kg net",
        "by_wax" => "by the wax",
        "by_hour" => "by the hour",
        "least_of_pieces" => "least price of its pieces",
        "least_of_a_pour" => "least price of a pour",
        "set" => "set by hand",
        _ => "another rule",
    }
}

/// The page of a quote.
pub async fn one(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let quote = look.get(&format!("/v1/quotes/{}", escape_part(visit.part("id")))).await?;
    let number = text(&quote, "number");
    let state = stands(&quote, look.reads.today());
    let mut sheet = Sheet::new(&visit, text(&quote, "title"));
    sheet.lead = format!("Quote {number}, {state}");
    if quote["real"]["past_p80"] == true {
        sheet.cry = text(&quote["real"], "said");
    }
    for lack in items(&quote["lacking"]) {
        sheet.part(Part::Note(text(lack, "said")));
    }
    for line in items(&quote["lines_worked"]) {
        if line["extrapolates"].is_object() {
            sheet.part(Part::Note(format!("{}: {}", text(line, "what"), text(&line["extrapolates"], "said"))));
        }
    }
    money(&look, &mut sheet, &quote);
    if quote["state"] != "accepted" {
        steps(&look, &mut sheet, &quote, &state);
    }
    lines(&look, &mut sheet, &quote);
    movers(&look, &mut sheet, &quote);
    basis(&look, &mut sheet, &quote);
    if quote["state"] != "accepted" {
        sheet.folded("Another version of it", ask(&look, &quote).await?);
    }
    others(&mut sheet, &quote);
    let id = escape_part(&number);
    sheet.links(&[
        ("The letter to the client", format!("/quotes/{id}/letter")),
        ("The letter as a PDF", format!("/quotes/{id}/letter.pdf")),
        ("The quote's record", format!("/records/{}", text(&quote, "id"))),
        ("How often ranges held", "/reports/quote-ranges".to_owned()),
        ("All quotes", "/quotes".to_owned()),
    ]);
    sheet.show()
}

/// What it costs and what it is offered at.
fn money(look: &Look<'_>, sheet: &mut Sheet, quote: &Value) {
    let (cost, price, eighty) = (&quote["cost_minor"], &quote["price"], &quote["interval80"]);
    let said = |value: &Value| look.reads.minor(value);
    let real = &quote["real"];
    let mark =
        |value: &Value, words: &str| value.as_f64().map(|at| CostMark { value: at, said: format!("{words} {}", said(value)) });
    let range = CostRange {
        low: eighty["low"].as_f64(),
        high: eighty["high"].as_f64(),
        middle: mark(&cost["p50"], "middle"),
        marks: [
            mark(&cost["p80"], "80 % line"),
            mark(&price["net_minor"], "price"),
            mark(&real["cost_minor"], if real["finished"] == true { "cost" } else { "cost so far" }),
        ]
        .into_iter()
        .flatten()
        .collect(),
    };
    let about = format!("80 in 100 such jobs cost between {} and {}.", said(&eighty["low"]), said(&eighty["high"]));
    sheet.part(Part::Drawing("What it will cost".to_owned(), cost_range("What it will cost", &about, &range).inline()));
    let between = if eighty["low"].is_null() || eighty["high"].is_null() {
        "not known from so few jobs".to_owned()
    } else {
        format!("{} to {}", said(&eighty["low"]), said(&eighty["high"]))
    };
    let most = if cost["p95"].is_null() { "not known from so few jobs".to_owned() } else { said(&cost["p95"]) };
    sheet.facts(
        "",
        [
            ("Half of such jobs cost less than", Cell::text(said(&cost["p50"]))),
            ("80 in 100 lie within", Cell::text(between)),
            ("Four in five cost less than", Cell::text(said(&cost["p80"]))),
            ("Nineteen in twenty cost less than", Cell::text(most)),
        ],
    );
    sheet.part(Part::Words(text(quote, "said")));
    let rule = rule_words(price["rule"].as_str().unwrap_or_default());
    sheet.facts(
        "The price",
        [
            ("Before tax", Cell::text(format!("{} ({rule})", said(&price["net_minor"])))),
            ("With tax", Cell::text(if price["tax_minor"] == 0 { String::new() } else { said(&price["total_minor"]) })),
            ("A copy", Cell::text(said(&price["each_minor"]))),
            ("One copy more, alone", Cell::text(said(&price["next_alone_minor"]))),
            ("Chance of losing money at it", Cell::text(in_100(&price["chance_of_loss"]))),
        ],
    );
    let mut rules = Table::new("What each rule asks", "", &["Rule", "Comes to#"]);
    for one in items(&price["rules"]) {
        rules.row([rule_words(one["rule"].as_str().unwrap_or_default()).into(), said(&one["amount_minor"]).into()]);
    }
    if items(&price["rules"]).len() > 1 {
        sheet.table(rules);
    }
    if real.is_object() {
        sheet.facts(
            "What it has cost",
            [
                ("So far", Cell::text(said(&real["cost_minor"]))),
                ("How that is", Cell::text(text(real, "said"))),
                (
                    "Job",
                    Cell::text(text(&quote["commission"], "number"))
                        .to(format!("/jobs/{}", escape_part(&text(&quote["commission"], "number")))),
                ),
            ],
        );
    }
}

/// What may become of it.
fn steps(look: &Look<'_>, sheet: &mut Sheet, quote: &Value, state: &str) {
    let id = text(quote, "id");
    let here = format!("/quotes/{}", escape_part(&text(quote, "number")));
    if matches!(state, "not sent yet" | "sent") {
        if state == "not sent yet" {
            sheet.slip(
                "",
                look.slip(format!("quotes/{id}/send"), "It went to the client")
                    .field(Field::text("whom", "To whom").more())
                    .field(Field::at())
                    .then(here.clone())
                    .main(),
            );
        }
        sheet.slip(
            "",
            look.slip(format!("quotes/{id}/accept"), "Accepted: make it a job")
                .saying("It becomes a job with its pieces, tags and stages of payment.")
                .field(Field::text("whom", "Who said so").more())
                .field(Field::at())
                .then(here.clone()),
        );
    }
    if matches!(state, "not sent yet" | "sent" | "lapsed") {
        sheet.folded(
            "Not taken",
            look.slip(format!("quotes/{id}/decline"), "Not taken")
                .field(Field::text("reason", "Why").proposing([
                    "price",
                    "time",
                    "another caster",
                    "the work will not be made",
                    "no word",
                ]))
                .field(Field::new("notes", "Notes", How::Long).more())
                .field(Field::at())
                .then(here),
        );
    }
}

fn lines(look: &Look<'_>, sheet: &mut Sheet, quote: &Value) {
    for line in items(&quote["lines_worked"]) {
        let kg = |value: &Value| look.reads.kg(value);
        let unique = line["unique"] == true;
        let lost = in_100(&line["chance_lost"]);
        let castings = format!(
            "{:.1} on average, {:.0} in the worse tenth",
            line["castings"]["mean"].as_f64().unwrap_or(0.0),
            line["castings"]["p90"].as_f64().unwrap_or(0.0)
        );
        let metal = format!(
            "{} a kg, {}",
            look.reads.minor(&line["metal"]["per_kg_minor"]),
            match line["metal"]["from"].as_str() {
                Some("said") => "as said",
                Some("market") => "the market's",
                _ => "as the book has it",
            }
        );
        let poured = format!("{}, up to {} in the worse tenth", kg(&line["poured_kg"]["p50"]), kg(&line["poured_kg"]["p90"]));
        let unknown: Vec<&str> = items(&line["nothing_known_of"]).iter().filter_map(Value::as_str).collect();
        sheet.facts(
            &text(line, "what"),
            [
                ("Cast in", Cell::text(format!("{}, {} a copy", text(line, "alloy"), kg(&line["copy_kg"])))),
                ("Copies, proofs among them", Cell::text(line["copies"].as_u64().unwrap_or(0).to_string())),
                ("Metal", Cell::text(metal)),
                ("To be poured", Cell::text(poured)),
                ("Hours", Cell::text(format!("{:.1}", line["hours"].as_f64().unwrap_or(0.0)))),
                ("Chance that a casting fails", Cell::text(in_100(&line["chance_of_failure"]))),
                ("Castings", Cell::text(if unique { String::new() } else { castings })),
                ("Chance that the work is lost", Cell::text(if unique { lost.clone() } else { String::new() })),
                ("Chance that a copy is not good within its attempts", Cell::text(if unique { String::new() } else { lost })),
                ("One casting more costs", Cell::text(look.reads.minor(&line["one_more_minor"]))),
                ("Making it again is offered at", Cell::text(look.reads.minor(&line["remake_price_minor"]))),
                (
                    "Compared with",
                    Cell::text(format!(
                        "{} jobs, as good as {:.1}: {}",
                        line["looked"]["comparables"].as_u64().unwrap_or(0),
                        line["looked"]["effective"].as_f64().unwrap_or(0.0),
                        text(&line["looked"], "said")
                    )),
                ),
                ("Nothing is known of", Cell::text(unknown.join("; "))),
            ],
        );
    }
}

/// What moves the price.
fn movers(look: &Look<'_>, sheet: &mut Sheet, quote: &Value) {
    let drivers = items(&quote["drivers"]);
    let rows: Vec<Bar> = drivers
        .iter()
        .filter(|driver| driver["adds_minor"].as_i64().unwrap_or(0) > 0)
        .take(DRAWN)
        .map(|driver| Bar {
            label: text(driver, "about"),
            value: driver["adds_minor"].as_f64().unwrap_or(0.0),
            said: look.reads.minor(&driver["adds_minor"]),
            to: String::new(),
        })
        .collect();
    let about = "What each part adds to the cost, on average.";
    sheet.part(Part::Drawing("What moves the price".to_owned(), bars("What moves the price", about, &rows)));
    let whole: f64 = drivers.iter().filter_map(|driver| driver["adds_minor"].as_f64()).sum();
    let counts = |driver: &Value| {
        let adds = driver["adds_minor"].as_f64().unwrap_or(0.0).abs();
        adds >= whole / 100.0 || driver["share_of_spread"].as_f64().unwrap_or(0.0) >= 0.01
    };
    let heads = ["What", "Adds#", "In 80 of 100#", "Of the spread#", "Rests on#"];
    let mut table = Table::new("", "Nothing moves it.", &heads);
    for driver in drivers.iter().filter(|driver| counts(driver)) {
        let share = driver["share_of_spread"].as_f64().unwrap_or(0.0) * 100.0;
        table.row([
            text(driver, "about").into(),
            Cell::number(look.reads.minor(&driver["adds_minor"])),
            Cell::number(format!("{} to {}", look.reads.minor(&driver["low_minor"]), look.reads.minor(&driver["high_minor"]))),
            Cell::number(format!("{share:.0} %")),
            Cell::number(format!("{:.1} jobs", driver["rests_on"].as_f64().unwrap_or(0.0))),
        ]);
    }
    let small: Vec<&Value> = drivers.iter().filter(|driver| !counts(driver)).collect();
    if !small.is_empty() {
        let sum: i64 = small.iter().filter_map(|driver| driver["adds_minor"].as_i64()).sum();
        table.foot = format!("And {} more that hardly count, together {}.", small.len(), look.reads.money(sum));
    }
    sheet.table(table);
    for driver in drivers.iter().filter(|driver| driver["narrower"].is_string()) {
        sheet.part(Part::Words(text(driver, "narrower")));
    }
}

/// The castings that it rests on.
fn basis(look: &Look<'_>, sheet: &mut Sheet, quote: &Value) {
    let all = items(&quote["basis"]["items"]);
    let heads = ["Job", "What", "Castings", "Alloy", "Mass#", "Failed#", "Counts#"];
    let mut table = Table::new(
        "The castings it rests on, the nearest first",
        "No finished casting is on record: a handbook's figures.",
        &heads,
    );
    let near = |one: &&Value| one["weight"].as_f64().unwrap_or(0.0) >= 0.01;
    let listed = all.iter().filter(near).count().min(LISTED);
    for one in all.iter().filter(near).take(LISTED) {
        let tags: Vec<&str> = items(&one["castings"]).iter().filter_map(Value::as_str).collect();
        let first = tags.first().map_or_else(String::new, |tag| format!("/castings/{tag}"));
        let more = if tags.len() > 4 { format!(" and {} more", tags.len() - 4) } else { String::new() };
        let shown = tags.iter().take(4).copied().collect::<Vec<_>>().join(" ");
        table.row([
            Cell::text(text(one, "job")).to(format!("/jobs/{}/cost", escape_part(&text(one, "job")))),
            text(one, "title").into(),
            Cell::text(format!("{shown}{more}")).to(first),
            text(one, "alloy").into(),
            Cell::number(look.reads.kg(&one["mass_kg"])),
            Cell::number(format!("{} of {}", one["failed"].as_u64().unwrap_or(0), one["attempts"].as_u64().unwrap_or(0))),
            Cell::number(format!("{:.2}", one["weight"].as_f64().unwrap_or(0.0))),
        ]);
    }
    let left = all.len().saturating_sub(listed) + usize::try_from(quote["basis"]["left_out"].as_u64().unwrap_or(0)).unwrap_or(0);
    if left > 0 {
        table.foot = format!("And {left} more, too far off to count for much.");
    }
    sheet.table(table);
}

/// Its other versions.
fn others(sheet: &mut Sheet, quote: &Value) {
    let number = text(quote, "number");
    let versions: Vec<&str> = items(&quote["versions"]).iter().filter_map(Value::as_str).collect();
    if versions.len() < 2 {
        return;
    }
    let from = versions.len().saturating_sub(4);
    let last = versions.get(from..).unwrap_or(&[]).join(",");
    let links: Vec<(String, String)> = versions
        .iter()
        .filter(|one| **one != number)
        .map(|one| (format!("Version {one}"), format!("/quotes/{}", escape_part(one))))
        .chain([("Versions side by side".to_owned(), format!("/quotes/side?of={}", escape_part(&last)))])
        .collect();
    sheet.part(Part::Links(links));
}

/// The letter as a page.
pub async fn letter(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let letter = the_letter(&floor, &visit).await?;
    let mut sheet = Sheet::new(&visit, letter.title.clone());
    sheet.lead.clone_from(&letter.shop.name);
    for line in &letter.shop.lines {
        sheet.part(Part::Words(line.clone()));
    }
    sheet.part(Part::Facts(
        String::new(),
        letter.facts.iter().map(|(name, value)| (name.clone(), Cell::text(value.clone()))).collect(),
    ));
    for paragraph in &letter.opening {
        sheet.part(Part::Words(paragraph.clone()));
    }
    let [what, copies, each, amount] = &letter.heads;
    let (copies, each, amount) = (format!("{copies}#"), format!("{each}#"), format!("{amount}#"));
    let mut table = Table::new("", "", &[what.as_str(), copies.as_str(), each.as_str(), amount.as_str()]);
    for row in &letter.table {
        let what = std::iter::once(row.what.clone()).chain(row.detail.iter().cloned()).collect::<Vec<_>>().join(". ");
        table.row([
            what.into(),
            Cell::number(row.count.clone()),
            Cell::number(row.each.clone()),
            Cell::number(row.amount.clone()),
        ]);
    }
    sheet.table(table);
    sheet.part(Part::Facts(
        String::new(),
        letter.sums.iter().map(|(name, amount, _)| (name.clone(), Cell::text(amount.clone()))).collect(),
    ));
    let stages = letter.stages.iter().map(|(what, _, amount)| (what.clone(), Cell::text(amount.clone()))).collect();
    sheet.part(Part::Facts(letter.stages_title.clone(), stages));
    for term in &letter.terms {
        sheet.part(Part::Words(term.clone()));
    }
    let id = escape_part(visit.part("id"));
    if letter.shop.name.is_empty() {
        sheet.part(Part::Note("The shop has no name on letters yet: the owner sets shop_name and shop_lines.".to_owned()));
    }
    sheet.links(&[("As a PDF", format!("/quotes/{id}/letter.pdf")), ("Back to the quote", format!("/quotes/{id}"))]);
    sheet.show()
}

async fn the_letter(floor: &Floor, visit: &Visit) -> Result<crate::web::letter::Letter, Problem> {
    let mut read = floor.kit.db.read().await?;
    let seq = api::named(&mut read, visit.part("id")).await?;
    written::of(&mut read, &floor.kit, seq, visit.now).await
}

/// The letter as a PDF.
pub async fn letter_file(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let letter = the_letter(&floor, &visit).await?;
    let name = format!("{}.pdf", letter.title.to_lowercase().replace([' ', ','], "-"));
    Ok(Shown::file("application/pdf", name, written::set(letter).await?))
}
