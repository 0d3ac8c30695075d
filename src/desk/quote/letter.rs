//! The letter to the client: what is offered at what price, and nothing of what it costs.

use super::api::named;
use super::store;
use crate::book::api::Kit;
use crate::book::reach;
use crate::book::render::render_one;
use crate::db::ReadTx;
use crate::kernel::actor::Right;
use crate::kernel::{Instant, Mass, Problem, ProblemType, Seq};
use crate::shop::house::settings::{self, Settings};
use crate::shop::house::shown::Shown as Reads;
use crate::web::letter::{Day, Head, Letter, Mark, Paper, Row, pdf};
use crate::web::route::handler;
use crate::web::{Answer, Method, Reply, Route};
use serde_json::{Value, json};
use std::sync::Arc;

/// The route of the letter as a PDF.
pub fn route(kit: &Kit) -> Route {
    let kit = kit.clone();
    Route {
        method: Method::Get,
        path: "/v1/quotes/{id}/letter".into(),
        operation: "quote_letter".into(),
        right: Right::Own,
        about: "The letter to the client, without costs".into(),
        heading: "Quotes",
        params: Vec::new(),
        body: None,
        answer: Answer {
            status: 200,
            about: "A PDF",
            media: "application/pdf",
            schema: json!({"type": "string", "contentMediaType": "application/pdf"}),
            etag: false,
        },
        handler: handler(move |ctx| {
            let kit = kit.clone();
            async move {
                let mut read = kit.db.read().await?;
                let seq = named(&mut read, ctx.part("id")).await?;
                let letter = of(&mut read, &kit, seq, ctx.now).await?;
                drop(read);
                Ok(Reply::file("application/pdf", &set(letter).await?))
            }
        }),
    }
}

/// Sets a letter, off the threads that serve.
///
/// # Errors
/// `too-large` when it is longer than a letter may be.
pub async fn set(letter: Letter) -> Result<Vec<u8>, Problem> {
    let made = tokio::task::spawn_blocking(move || pdf(&letter)).await.map_err(Problem::internal)?;
    made.map_err(|e| Problem::new(ProblemType::TooLarge, format!("The letter cannot be set: {e}.")))
}

/// The letter of a quote.
///
/// # Errors
/// As the database says.
pub async fn of(read: &mut ReadTx, kit: &Kit, seq: Seq, now: Instant) -> Result<Letter, Problem> {
    let quote = render_one(read, &kit.catalogue, seq).await?;
    let row = store::one(read, seq).await?;
    let settings = settings::of(read).await?;
    let client = reach::referred(read, &[seq]).await?.into_iter().find(|r| r.member == "client_id").map(|r| r.target);
    let client = match client {
        Some(client) => reach::by_seqs(read, &[client]).await?.pop().and_then(|c| c.body["name"].as_str().map(str::to_owned)),
        None => None,
    };
    Ok(written(&quote, &row, client, &settings, now))
}

fn said(of: &Value, name: &str) -> String {
    of[name].as_str().unwrap_or_default().to_owned()
}

/// A number in a few words: without decimals where it has none.
fn plain(number: f64) -> String {
    let text = format!("{number:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn head(settings: &Settings, now: Instant) -> Head {
    let text = |name: &str| settings.value(name, now).as_str().unwrap_or_default().trim().to_owned();
    let name = text("shop_name");
    let mark = text("shop_mark");
    let initials: String = name.split_whitespace().filter_map(|word| word.chars().next()).take(3).collect();
    let letters = if mark.is_empty() { initials } else { mark };
    let lines = settings.value("shop_lines", now);
    let lines = lines.as_array().into_iter().flatten().filter_map(Value::as_str).map(str::to_owned).collect();
    Head { name, lines, mark: (!letters.is_empty()).then_some(Mark { letters }) }
}

/// A text with its first letter large.
fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// What a line of the letter says under its name.
fn detail(line: &Value, worked: &Value, reads: &Reads) -> Vec<String> {
    let mut out = Vec::new();
    let kg = worked["copy_kg"].as_f64().unwrap_or(0.0);
    #[expect(clippy::cast_possible_truncation, reason = "a mass of a quote is bounded")]
    let mass = Mass::from_mg((kg * 1e6).round() as i64);
    let hollow = match line["hollow"].as_bool() {
        Some(true) => ", cast hollow",
        Some(false) => ", cast solid",
        None => "",
    };
    let metal = format!("{} {}", said(worked, "family"), said(worked, "alloy"));
    out.push(format!("Cast in {}, about {} each{hollow}", metal.trim(), reads.mass(mass)));
    let finish = said(line, "finish");
    if !finish.is_empty() {
        out.push(format!("Finish: {finish}"));
    }
    if let Some(parts) = line["sections"].as_i64().filter(|n| *n > 1) {
        out.push(format!("Cast in {parts} parts and joined"));
    }
    match line["mould"].as_str() {
        Some("new") => out.push("With a new mould".into()),
        Some("client") => out.push("From your mould".into()),
        _ => {}
    }
    if let Some(proofs) = line["proofs"].as_i64().filter(|n| *n > 0) {
        let copies = line["copies"].as_i64().unwrap_or(0);
        out.push(format!("An edition of {copies} and {proofs} {}", if proofs == 1 { "proof" } else { "proofs" }));
    }
    if worked["unique"] == true {
        let chance = worked["chance_lost"].as_f64().unwrap_or(0.0);
        out.push(format!(
            "Its pattern is gone once it is cast. The chance that the work is lost in casting is about {:.0} in 100.",
            (chance * 100.0).round().max(1.0)
        ));
    }
    if worked["recast_borne_by"] == "client" {
        let more = worked["recast_price_minor"].as_i64().map_or_else(String::new, |minor| reads.money(minor));
        out.push(format!("A casting that fails is cast again at your cost: {more} each before tax"));
    }
    out
}

/// The letter in words. The price of the whole is shared among the lines by what the copies cost each.
fn written(quote: &Value, row: &store::QuoteRow, client: Option<String>, settings: &Arc<Settings>, now: Instant) -> Letter {
    let reads = Reads::new(settings.clone(), now);
    let none = Vec::new();
    let lines = quote["lines"].as_array().unwrap_or(&none);
    let worked = quote["lines_worked"].as_array().unwrap_or(&none);
    let price = &quote["price"];
    let money = |value: &Value| value.as_i64().map_or_else(String::new, |minor| reads.money(minor));
    let copies = |line: &Value| line["copies"].as_i64().unwrap_or(0) + line["proofs"].as_i64().unwrap_or(0);
    let one_line = lines.len() == 1;
    let table = lines
        .iter()
        .zip(worked)
        .map(|(line, of)| Row {
            what: said(of, "what"),
            detail: detail(line, of, &reads),
            count: copies(line).to_string(),
            each: of["share_minor"].as_i64().map_or_else(String::new, |share| reads.money(share / copies(line).max(1))),
            amount: money(&of["share_minor"]),
        })
        .collect();
    let mut sums = Vec::new();
    let taxed = price["tax_minor"].as_i64().unwrap_or(0) != 0;
    if taxed {
        sums.push(("Before tax".to_owned(), money(&price["net_minor"]), false));
        let percent = plain(price["tax_percent"].as_f64().unwrap_or(0.0));
        sums.push((format!("Tax, {percent} %"), money(&price["tax_minor"]), false));
    }
    sums.push(("In all".to_owned(), money(&price["total_minor"]), true));
    let edition = one_line && lines.first().is_some_and(|line| copies(line) > 1) && price["next_alone_minor"].is_i64();
    let mut terms: Vec<String> = Vec::new();
    if edition && price["once_minor"].as_i64().is_some_and(|minor| minor > 0) {
        terms.push(format!(
            "The price of a copy holds for the whole edition: what is paid once is spread over it. A further copy alone, the mould being there: {} before tax.",
            money(&price["next_alone_minor"])
        ));
    }
    if lines.iter().any(|line| line["remake_minor"].is_i64()) {
        for of in worked.iter().filter(|of| of["remake_price_minor"].is_i64()) {
            terms.push(format!(
                "Should {} be lost, making it again and casting it once more would come to {} before tax. Please say whether you want that.",
                said(of, "what"),
                money(&of["remake_price_minor"])
            ));
        }
    }
    let paragraphs = settings.value("quote_terms", now);
    terms.extend(paragraphs.as_array().into_iter().flatten().filter_map(Value::as_str).map(str::to_owned));
    let stages = price["stages"].as_array().unwrap_or(&none).iter();
    let due = quote["due_on"].as_str().and_then(|day| day.parse().ok()).map(written_day);
    let mut facts = vec![(
        "Date".to_owned(),
        quote["at"].as_str().map_or_else(String::new, |_| written_day(settings.day(instant(&quote["at"], now)))),
    )];
    facts.extend(client.map(|name| ("For".to_owned(), name)));
    facts.push(("What".to_owned(), row.title.clone()));
    facts.extend(due.map(|day| ("Wanted by".to_owned(), day)));
    facts.push(("Valid until".to_owned(), written_day(row.valid_until)));
    let version = if row.edition > 1 { format!(", version {}", row.edition) } else { String::new() };
    let void = if row.void { " (void)" } else { "" };
    let title = format!("Quote {}{version}{void}", row.base);
    let opening = said(quote, "opening");
    Letter {
        shop: head(settings, now),
        facts,
        opening: opening.split("\n\n").map(str::to_owned).filter(|p| !p.trim().is_empty()).collect(),
        heads: ["Work", "Copies", "Each", "Amount"].map(str::to_owned),
        table,
        sums,
        stages_title: "Payment".to_owned(),
        stages: stages.map(|stage| (capital(&said(stage, "for")), String::new(), money(&stage["amount_minor"]))).collect(),
        terms,
        sign: vec!["Accepted: date".to_owned(), "Name and signature".to_owned()],
        foot: format!("{title} · page {{page}} of {{pages}}"),
        title,
        dated: day(settings.day(instant(&quote["at"], now))),
        lang: "en".to_owned(),
        paper: if settings.value("units", now) == "us" { Paper::Letter } else { Paper::A4 },
    }
}

fn day(date: jiff::civil::Date) -> Option<Day> {
    let part = |n: i8| u8::try_from(n).ok();
    Some(Day { year: u16::try_from(date.year()).ok()?, month: part(date.month())?, day: part(date.day())? })
}

/// A day as it stands on paper that is signed: always with its year.
fn written_day(date: jiff::civil::Date) -> String {
    date.strftime("%-d %B %Y").to_string()
}

fn instant(value: &Value, now: Instant) -> Instant {
    value.as_str().and_then(Instant::parse).unwrap_or(now)
}
