//! `/jobs/{id}/cost`: what a job cost from the first hour to the last, each figure opening its
//! records; `/reports/costs`, `/reports/money`: a span of time.

use crate::kernel::actor::Right;
use crate::kernel::{Problem, ProblemType};
use crate::science::costing::Part as CostPart;
use crate::shop::house::floor::{Floor, Look, items, plain, text};
use crate::web::csv;
use crate::web::draw::{self, Bar};
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Part, Sheet, Table};
use crate::web::slip::{Field, How};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::sync::Arc;

/// The pages.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    vec![
        floor.page("/jobs/{id}/cost", Right::Read, job),
        floor.page("/reports/costs", Right::Read, costs),
        floor.page("/reports/money", Right::Read, money),
        floor.page("/reports/money.csv", Right::Read, |floor, visit| async move {
            of_money(&visit)?;
            let look = floor.look(&visit).await?;
            csv::table("money", &look.get(&format!("/v1/reports/money?{}", span(&look))).await?["items"])
        }),
        floor.page("/reports/hours", Right::Read, hours),
        floor.page("/reports/hours.csv", Right::Read, |floor, visit| async move {
            let look = floor.look(&visit).await?;
            csv::table("hours", &look.get(&format!("/v1/reports/hours?{}", span(&look))).await?["rows"])
        }),
    ]
}

/// The parts as a caster calls them.
fn words(part: &str) -> &str {
    match part {
        "metal" => "Metal",
        "mould" => "Moulds and patterns",
        "wax" => "Waxes and prints",
        "shell" => "Slurry and stucco",
        "fuel" => "Fuel",
        "crucible" => "Wear of crucibles",
        "pour_day" => "Pour days",
        "work" => "Hours",
        "material" => "Bench materials and bases",
        "services" => "Outside work and services",
        "royalty" => "Royalties",
        "delivery" => "Crates and freight",
        "overhead" => "The shop's overhead",
        other => other,
    }
}

/// The parts as bars, the largest first; metal among them. Its value may be below nothing, which is no bar.
fn bars(look: &Look<'_>, number: &str, cost: &Value) -> Vec<Bar> {
    let metal = std::iter::once(("metal", &cost["metal"]["total_minor"]));
    let names: Vec<(&str, String)> = CostPart::ALL.iter().map(|part| (part.name(), format!("{}_minor", part.name()))).collect();
    let parts = names.iter().map(|(part, member)| (*part, &cost[member]));
    let mut all: Vec<(&str, i64)> =
        metal.chain(parts).filter_map(|(part, minor)| Some((part, minor.as_i64().filter(|m| *m > 0)?))).collect();
    all.sort_by_key(|(_, minor)| std::cmp::Reverse(*minor));
    #[expect(clippy::cast_precision_loss, reason = "the length of a bar")]
    let bar = |(part, minor): &(&str, i64)| Bar {
        label: words(part).to_owned(),
        value: *minor as f64,
        said: look.reads.money(*minor),
        to: if *part == "metal" { "#metal".to_owned() } else { format!("/jobs/{number}/cost?part={part}#lines") },
    };
    all.iter().map(bar).collect()
}

/// What is lacking, in words.
fn lack(lacking: &Value) -> (String, Cell) {
    let why = text(lacking, "why");
    let said = match why.as_str() {
        "no-rate-hand-hour" => "no rate is on file for an hour of this hand",
        "no-rate-shell-coat-dm2" => "no price is on file for a dm² of coat",
        "no-rate-fuel-kg" | "no-rate-fuel-kwh" => "no price is on file for fuel",
        "no-rate-wax-kg" => "no price is on file for a kg of wax",
        "no-area" => "the surface of the shell cannot be told: weigh the wax, or give the pattern a mass",
        "no-fuel" => "what was burnt is not on record",
        "heat-open" => "the heat is not closed",
        "no-coats" => "fired with no coat on record",
        "metal-open" => "its metal may still change: a heat is open, or a casting is not weighed or judged",
        other => other,
    };
    let first = &lacking["first"];
    let count = lacking["records"].as_i64().unwrap_or(1);
    let more = if count > 1 { format!(", and {} more", count - 1) } else { String::new() };
    let cell = Cell::text(format!("{}{more}", plain(&text(first, "kind")))).to(format!("/records/{}", text(first, "id")));
    (format!("{}: {said}", words(&text(lacking, "part"))), cell)
}

fn of_money(visit: &Visit) -> Result<(), Problem> {
    if visit.actor()?.sees_money {
        return Ok(());
    }
    Err(Problem::new(ProblemType::NotAllowed, "What things cost is not open to you here; the owner sets who sees money."))
}

/// What is left of the price agreed.
fn against_price(look: &Look<'_>, sheet: &mut Sheet, cost: &Value) {
    let amount = |name: &str| Cell::text(look.reads.minor(&cost[name]));
    if cost["price_minor"].is_i64() {
        sheet.facts(
            "Against the price",
            [
                ("Agreed", amount("price_minor")),
                ("Cost so far", amount("total_minor")),
                ("Left over", amount("margin_minor")),
                ("Received", amount("paid_minor")),
                ("Open", amount("balance_minor")),
            ],
        );
    }
}

/// What an accepted quote said it would cost.
fn against_quote(look: &Look<'_>, sheet: &mut Sheet, cost: &Value) {
    let quoted = &cost["quoted"];
    if !quoted.is_object() {
        return;
    }
    if quoted["past"] == true {
        sheet.part(Part::Note("It has cost more than its quote said it would four times in five.".to_owned()));
    }
    let amount = |of: &Value, name: &str| Cell::text(look.reads.minor(&of[name]));
    sheet.facts(
        "Against the quote",
        [
            ("Half of such jobs cost less than", amount(quoted, "p50_minor")),
            ("Four in five cost less than", amount(quoted, "p80_minor")),
            ("Cost so far", amount(cost, "total_minor")),
        ],
    );
}

async fn job(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    of_money(&visit)?;
    let look = floor.look(&visit).await?;
    let number = escape_part(visit.part("id"));
    let cost = look.get(&format!("/v1/commissions/{number}/cost")).await?;
    let part = visit.query.get("part");
    let known = CostPart::parse(part).map(CostPart::name);
    let mut sheet = Sheet::new(&visit, format!("What job {} cost", visit.part("id")));
    let amount = |of: &Value, name: &str| look.reads.minor(&of[name]);
    let provisional = match (cost["provisional"] == true, items(&cost["lacking"]).is_empty()) {
        (true, _) => "Not final: something is still open, see below.",
        (false, false) => "Something is lacking: see below.",
        (false, true) => "",
    };
    provisional.clone_into(&mut sheet.lead);
    let mut table = Table::new("From the first hour to the last", "", &["Part", "Cost#"]);
    for part in CostPart::ALL.map(CostPart::name) {
        let name = format!("{part}_minor");
        if cost[&name].is_i64() {
            let link = Cell::text(words(part)).to(format!("/jobs/{number}/cost?part={part}#lines"));
            table.row([link, amount(&cost, &name).into()]);
        }
        // Metal comes in after the shell, before what the pour itself costs.
        if part == "shell" {
            let metal = Cell::text("Metal").to(format!("/jobs/{number}/cost#metal"));
            table.row([metal, amount(&cost["metal"], "total_minor").into()]);
        }
    }
    table.row([Cell::text("In all"), amount(&cost, "total_minor").into()]);
    sheet.table(table);
    let drawn = bars(&look, &number, &cost);
    if !drawn.is_empty() {
        let about = "A bar is a part of the cost, the largest first.";
        sheet.part(Part::Drawing(String::new(), draw::bars("Where the money went", about, &drawn)));
    }
    against_price(&look, &mut sheet, &cost);
    against_quote(&look, &mut sheet, &cost);
    let lacking = items(&cost["lacking"]);
    if !lacking.is_empty() {
        let mut table = Table::new("Lacking", "", &["What", "Where"]);
        for one in lacking {
            let (what, first) = lack(one);
            table.row([what.into(), first]);
        }
        sheet.table(table);
    }
    if let Some(part) = known {
        let lines = look.get(&format!("/v1/commissions/{number}/cost-lines?part={part}")).await?;
        sheet.part(Part::Anchor("lines".to_owned()));
        let mut table = Table::new(words(part), "Nothing of it is on record.", &["When", "What", "Of#", "On this job#"]);
        for line in items(&lines["items"]) {
            let link = Cell::text(look.reads.at(&line["at"])).to(format!("/records/{}", text(line, "id")));
            table.row([
                link,
                plain(&text(line, "what")).into(),
                amount(line, "of_minor").into(),
                amount(line, "amount_minor").into(),
            ]);
        }
        sheet.table(table);
    }
    sheet.part(Part::Anchor("metal".to_owned()));
    let metal = &cost["metal"];
    sheet.facts(
        "What its metal cost",
        [
            ("In good castings", Cell::text(amount(metal, "accepted_minor"))),
            ("In failed castings", Cell::text(amount(metal, "recast_minor"))),
            ("Lost on the way", Cell::text(amount(metal, "lost_minor"))),
            ("Net", Cell::text(look.reads.kg(&metal["net_kg"]))),
            ("Poured", Cell::text(look.reads.kg(&metal["poured_kg"]))),
        ],
    );
    let mut table =
        Table::new("Casting by casting", "Nothing was cast for it yet.", &["Casting", "Attempt#", "Metal#", "Hours#", "In all#"]);
    for piece in items(&cost["pieces"]) {
        for casting in items(&piece["castings"]) {
            let tag = text(casting, "tag");
            table.row([
                Cell::tag(tag.clone()).to(format!("/castings/{tag}")),
                text(casting, "attempt").into(),
                amount(&casting["metal"], "total_minor").into(),
                amount(casting, "work_minor").into(),
                amount(casting, "total_minor").into(),
            ]);
        }
    }
    sheet.table(table);
    sheet.links(&[("The job", format!("/jobs/{number}")), ("All costs of the year", "/reports/costs".to_owned())]);
    sheet.show()
}

/// The span asked for on a page, as the API takes it.
fn span(look: &Look<'_>) -> String {
    let mut parts = Vec::new();
    for name in ["from", "to"] {
        if let Some(at) = look.reads.begin(look.visit.query.get(name)) {
            parts.push(format!("{name}={}", escape_part(&at.to_string())));
        }
    }
    parts.join("&")
}

fn asking(look: &Look<'_>, path: &str) -> Part {
    let field = |name: &str, label: &str| Field::new(name, label, How::Day).with(look.visit.query.get(name));
    Part::asking(path, vec![field("from", "From"), field("to", "Up to, without")])
}

async fn costs(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    of_money(&visit)?;
    let look = floor.look(&visit).await?;
    let report = look.get(&format!("/v1/reports/costs?{}", span(&look))).await?;
    let mut sheet = Sheet::new(&visit, "What it all cost");
    "This year so far, unless asked otherwise. Metal has its own account.".clone_into(&mut sheet.lead);
    sheet.part(asking(&look, "/reports/costs"));
    let amount = |of: &Value, name: &str| look.reads.minor(&of[name]);
    let mut table = Table::new("By part", "", &["Part", "Cost#"]);
    for part in CostPart::ALL.map(CostPart::name) {
        let name = format!("{part}_minor");
        if report["all"][&name].is_i64() {
            table.row([words(part).into(), amount(&report["all"], &name).into()]);
        }
    }
    table.row(["In all".into(), amount(&report["all"], "total_minor").into()]);
    sheet.table(table);
    let overhead = &report["overhead"];
    sheet.facts(
        "Overhead",
        [
            ("Charged to jobs by the shop's rule", Cell::text(amount(overhead, "recovered_minor"))),
            ("Expenses of the shop", Cell::text(amount(overhead, "expenses_minor"))),
            ("Fell on nobody", Cell::text(amount(overhead, "shop_minor"))),
            ("Charged less real", Cell::text(amount(overhead, "difference_minor"))),
        ],
    );
    let mut table = Table::new("Job by job", "Nothing is on record in that time.", &["Job", "What", "Hours#", "In all#"]);
    for job in items(&report["jobs"]) {
        let number = text(job, "number");
        let link = Cell::text(number.clone()).to(format!("/jobs/{}/cost", escape_part(&number)));
        table.row([link, text(job, "title").into(), amount(job, "work_minor").into(), amount(job, "total_minor").into()]);
    }
    table.row([Cell::text("On moulds, for copies to come"), "".into(), "".into(), amount(&report, "moulds_minor").into()]);
    sheet.table(table);
    if visit.actor()?.role.may(Right::Own) {
        let kinds = ["rent", "utilities", "insurance", "repair", "tools", "protection", "waste", "office", "wages", "other"];
        let slip = look
            .slip("expenses", "Keep")
            .field(Field::list("kind", "What for", &kinds.map(|k| (k, k))))
            .field(Field::number("amount_minor", "How much").need())
            .field(Field::text("supplier", "To whom").proposing(look.proposed("suppliers").await?).more())
            .field(Field::text("note", "Note").more())
            .field(Field::at());
        sheet.folded("An expense of the shop", slip);
    }
    sheet.links(&[("What came in and went out", "/reports/money".to_owned()), ("All reports", "/reports".to_owned())]);
    sheet.show()
}

async fn hours(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let report = look.get(&format!("/v1/reports/hours?{}", span(&look))).await?;
    let mut sheet = Sheet::new(&visit, "Hours by hand and week");
    "As they were booked, this year so far unless asked otherwise. What nobody booked is not here.".clone_into(&mut sheet.lead);
    sheet.part(asking(&look, "/reports/hours"));
    let hours = |of: &Value| of.as_f64().map_or_else(String::new, |h| format!("{h:.2} h"));
    sheet.facts("", [("In all", Cell::text(hours(&report["hours"])))]);
    let mut table = Table::new("", "No hours are booked in that time.", &["Week from", "Who", "Hours#", "On what"]);
    for row in items(&report["rows"]) {
        let on: Vec<String> = row["by_operation"]
            .as_object()
            .into_iter()
            .flatten()
            .map(|(operation, h)| format!("{} {}", plain(operation), hours(h)))
            .collect();
        let name = text(row, "hand");
        let begins =
            row["begins_on"].as_str().and_then(|day| day.parse().ok()).map_or_else(String::new, |day| look.reads.date(day));
        let name = if name.is_empty() { "nobody named".to_owned() } else { name };
        table.row([begins.into(), name.into(), hours(&row["hours"]).into(), on.join(", ").into()]);
    }
    sheet.table(table);
    let asked = visit.query.encoded();
    sheet.links(&[("This table as CSV", format!("/reports/hours.csv?{asked}")), ("All reports", "/reports".to_owned())]);
    sheet.show()
}

async fn money(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    of_money(&visit)?;
    let look = floor.look(&visit).await?;
    let report = look.get(&format!("/v1/reports/money?{}", span(&look))).await?;
    let rows = items(&report["items"]);
    let mut sheet = Sheet::new(&visit, "What came in and went out");
    "Payments, bought-in costs and expenses, this year so far unless asked otherwise.".clone_into(&mut sheet.lead);
    sheet.part(asking(&look, "/reports/money"));
    let amount = |of: &Value, name: &str| look.reads.minor(&of[name]);
    sheet.facts("", [("In", Cell::text(amount(&report, "in_minor"))), ("Out", Cell::text(amount(&report, "out_minor")))]);
    let mut table =
        Table::new("Line by line, newest first", "Nothing in that time.", &["When", "What", "Job", "With", "Amount#"]);
    for line in rows.iter().rev().take(400) {
        let number = text(line, "number");
        let to = if number.is_empty() { String::new() } else { format!("/jobs/{}", escape_part(&number)) };
        table.row([
            Cell::text(look.reads.at(&line["at"])).to(format!("/records/{}", text(line, "id"))),
            format!("{} {}", text(line, "kind"), plain(&text(line, "what"))).trim().to_owned().into(),
            Cell::text(number).to(to),
            text(line, "with").into(),
            amount(line, "amount_minor").into(),
        ]);
    }
    if rows.len() > 400 {
        table.foot = format!("The newest 400 of {}; the file has all.", rows.len());
    }
    sheet.table(table);
    let asked = visit.query.encoded();
    sheet.links(&[
        ("As CSV for the books", format!("/reports/money.csv?{asked}")),
        ("What it all cost", "/reports/costs".to_owned()),
        ("All reports", "/reports".to_owned()),
    ]);
    sheet.show()
}
