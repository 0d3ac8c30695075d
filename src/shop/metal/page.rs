//! `/metal` and `/metal/{id}`: what is in stock, what came in and went out.

use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::science::trade::TradeStep;
use crate::shop::house::floor::{Floor, Look, Names, choice, items, plain, text};
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Sheet, Table};
use crate::web::slip::{Field, How, Slip};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::sync::Arc;

/// The pages.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    vec![floor.page("/metal", Right::Read, list), floor.page("/metal/{id}", Right::Read, one)]
}

/// Elements that an analysis of what is cast here names, by symbol.
const ELEMENTS: [&str; 10] = ["Cu", "Si", "Mn", "Zn", "Sn", "Pb", "Al", "Fe", "Ni", "Mg"];

fn kind_words(lot: &Value) -> &'static str {
    match lot["kind"].as_str() {
        Some("ingot") => "ingot",
        Some("returns") => "returns",
        _ => "addition",
    }
}

async fn list(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let (mut lots, next) = look.list("/v1/metal-lots", 100).await?;
    lots.sort_by_key(|lot| (text(lot, "alloy"), kind_words(lot)));
    let owners: Vec<&Value> = lots.iter().map(|lot| &lot["owner_client_id"]).collect();
    let owners = clients(&look, &owners).await?;
    let sees_money = visit.actor()?.sees_money;
    let all = !visit.query.get("all").is_empty();
    let mut sheet = Sheet::new(&visit, "Metal");
    for (heading, empty, of_clients) in [
        ("In stock", "No metal is on the book yet. Take in what is here: what was here before, too.", false),
        ("Clients' metal", "", true),
    ] {
        let heads: &[&str] =
            if sees_money && !of_clients { &["Alloy", "What", "Mass#", "Value#"] } else { &["Alloy", "What", "Mass#"] };
        let mut table = Table::new(heading, empty, heads);
        let of_those = lots.iter().filter(|lot| lot["owner_client_id"].is_null() != of_clients);
        let (held, gone): (Vec<&Value>, Vec<&Value>) =
            of_those.partition(|lot| all || lot["mass_kg"].as_f64().is_some_and(|kg| kg > 0.0));
        if !gone.is_empty() {
            table.foot = format!("{} used up are not shown.", gone.len());
            "/metal?all=1".clone_into(&mut table.next);
            table.next_words = "Show them too";
        }
        for lot in held {
            let link = Cell::text(text(lot, "alloy")).to(format!("/metal/{}", text(lot, "id")));
            let owner = owners.iter().find(|(id, _)| *id == text(lot, "owner_client_id")).map_or("", |(_, name)| name.as_str());
            let what = if of_clients { format!("{}, {owner}", kind_words(lot)) } else { kind_words(lot).to_owned() };
            let mass = Cell::number(look.reads.kg(&lot["mass_kg"]));
            if heads.len() == 4 {
                table.row([link, what.into(), mass, look.reads.minor(&lot["value_minor"]).into()]);
            } else {
                table.row([link, what.into(), mass]);
            }
        }
        if !of_clients || !table.rows.is_empty() {
            sheet.table(table);
        }
    }
    if !next.is_empty() {
        sheet.links(&[("Older lots", next)]);
    }
    let own = visit.actor()?.role.may(Right::Own) || sees_money;
    if own {
        sheet.slip("Metal came in", new_lot(&look, &lots).await?);
    }
    sheet.links(&[("Where all metal is", "/reports/metal".to_owned())]);
    sheet.part(look.cautions(TradeStep::Metal, None, None)?);
    sheet.show()
}

/// The names of the clients that own lots: few.
async fn clients(look: &Look<'_>, ids: &[&Value]) -> Result<Vec<(String, String)>, Problem> {
    let mut ids: Vec<&str> = ids.iter().filter_map(|id| id.as_str()).collect();
    ids.sort_unstable();
    ids.dedup();
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    let all = look.get("/v1/clients?limit=200").await?;
    Ok(items(&all["items"])
        .iter()
        .filter(|client| ids.contains(&text(client, "id").as_str()))
        .map(|client| (text(client, "id"), text(client, "name")))
        .collect())
}

async fn new_lot(look: &Look<'_>, lots: &[Value]) -> Result<Slip, Problem> {
    let alloys: std::collections::BTreeSet<String> = lots.iter().map(|lot| text(lot, "alloy")).collect();
    let last = lots.iter().max_by_key(|lot| text(lot, "recorded_at")).map_or_else(String::new, |lot| text(lot, "alloy"));
    let clients = look.get("/v1/clients?limit=200").await?;
    let clients = items(&clients["items"]).iter().map(|c| choice(text(c, "id"), text(c, "name"), ""));
    let owners = std::iter::once(choice("", "the shop", "")).chain(clients);
    let kinds = [("ingot", "Ingot"), ("returns", "Returns"), ("addition", "Addition")];
    let mut slip = look
        .slip("metal-lots", "Taken in")
        .field(Field::text("alloy", "Alloy").proposing(alloys).with(last).need())
        .field(Field::one("kind", "What it is", &kinds).with("ingot"))
        .field(Field::number("mass_kg", "Mass").need())
        .field(Field::number("cost_minor", "What it cost").need().hint("A client's metal, and what costs nothing: 0."))
        .field(Field::text("supplier", "From whom").proposing(look.proposed("suppliers").await?).more())
        .field(Field::new("owner_client_id", "Whose it is", How::List).of(owners).more())
        .field(Field::new("opening", "It was here already", How::Ticks).among(&[("true", "When the book was opened")]).more());
    for element in ELEMENTS {
        slip = slip.field(Field::number(&format!("composition.{element}"), &format!("{element}, percent")).more());
    }
    Ok(slip.field(Field::at()).then("/metal/{made}").main())
}

fn other_words(other: &str) -> String {
    match other {
        "outside" => "from outside".to_owned(),
        "written_off" => "written off".to_owned(),
        "leak" => "a leak".to_owned(),
        other => plain(other),
    }
}

async fn one(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let id = escape_part(visit.part("id"));
    let lot = look.get(&format!("/v1/metal-lots/{id}")).await?;
    let id = text(&lot, "id");
    let made_of = look.get(&format!("/v1/metal-lots/{id}/composition")).await?;
    let cursor = visit.query.get("older");
    let cursor = if cursor.is_empty() { String::new() } else { format!("?cursor={}", escape_part(cursor)) };
    let movements = look.get(&format!("/v1/metal-lots/{id}/movements{cursor}")).await?;
    let names: Names = floor.names(&[&lot["supplier"]]).await?;
    let sees_money = visit.actor()?.sees_money;
    let mut sheet = Sheet::new(&visit, format!("{} {}", text(&lot, "alloy"), kind_words(&lot)));
    let composition = made_of["composition"].as_object().map_or_else(
        || "not measured: something unmeasured went into it".to_owned(),
        |shares| shares.iter().map(|(e, share)| format!("{e} {share} %")).collect::<Vec<_>>().join(", "),
    );
    sheet.facts(
        "",
        [
            ("In it now", Cell::text(look.reads.kg(&lot["mass_kg"]))),
            ("Value", Cell::text(look.reads.minor(&lot["value_minor"]))),
            ("Came in as", Cell::text(look.reads.kg(&lot["received_kg"]))),
            ("From", Cell::text(names.of(&lot["supplier"]))),
            ("Made of", Cell::text(composition)),
            ("Notes", Cell::text(text(&lot, "notes"))),
        ],
    );
    let to = format!("metal-lots/{id}");
    let count = look
        .slip(format!("{to}/count"), "Counted")
        .field(Field::number("mass_kg", "What the scale says").need())
        .field(Field::text("reason", "Why it was weighed").with("stock-taking").more())
        .field(Field::at());
    sheet.folded("Weigh what is there", count);
    if lot["kind"] == "returns" && sees_money {
        let receipt = look
            .slip(format!("{to}/receipts"), "Taken in")
            .field(Field::number("mass_kg", "Mass").need())
            .field(Field::number("cost_minor", "What it cost").need())
            .field(Field::text("supplier", "From whom").proposing(look.proposed("suppliers").await?).more())
            .field(Field::at());
        sheet.folded("More came in", receipt);
    }
    let pools = pool_choices(&look, &id).await?;
    if !pools.is_empty() {
        let transfer = look
            .slip(format!("{to}/transfer"), "Moved")
            .field(Field::number("mass_kg", "How much").need())
            .field(Field::new("to_lot_id", "Into", How::List).of(pools))
            .field(Field::at());
        sheet.folded("Move some into a pool", transfer);
    }
    if visit.actor()?.role.may(Right::Own) {
        let out = look
            .slip(format!("{to}/out"), "Out")
            .field(Field::number("mass_kg", "How much").need())
            .field(Field::one("to", "Where to", &[("sold", "Sold"), ("written_off", "Written off")]))
            .field(Field::number("income_minor", "What was paid for it").more())
            .field(Field::at());
        sheet.folded("Sold or written off", out);
    }
    let heads: &[&str] = if sees_money { &["When", "What", "In#", "Out#", "Value#"] } else { &["When", "What", "In#", "Out#"] };
    let mut table = Table::new("What came and went", "Nothing has moved.", heads);
    for line in items(&movements["items"]) {
        let mass = look.reads.kg(&line["mass_kg"]);
        let (came, went) = if line["into"] == true { (mass, String::new()) } else { (String::new(), mass) };
        let what = format!("{} ({})", plain(&text(&line["record"], "kind")), other_words(&text(line, "other")));
        let what = Cell::text(what).to(format!("/records/{}", text(&line["record"], "id")));
        let when = look.reads.at(&line["at"]);
        if sees_money {
            table.row([when.into(), what, came.into(), went.into(), look.reads.minor(&line["value_minor"]).into()]);
        } else {
            table.row([when.into(), what, came.into(), went.into()]);
        }
    }
    if let Some(cursor) = movements["next_cursor"].as_str() {
        table.next = format!("/metal/{id}?older={}", escape_part(cursor));
    }
    sheet.table(table);
    sheet.links(&[("All metal", "/metal".to_owned()), ("The lot's record", format!("/records/{id}"))]);
    sheet.show()
}

/// Pools that metal may be moved into: all but this one.
async fn pool_choices(look: &Look<'_>, but: &str) -> Result<Vec<crate::web::slip::Choice>, Problem> {
    let lots = look.get("/v1/metal-lots?limit=200").await?;
    Ok(items(&lots["items"])
        .iter()
        .filter(|lot| lot["kind"] == "returns" && text(lot, "id") != but)
        .map(|lot| choice(text(lot, "id"), format!("returns {}", text(lot, "alloy")), look.reads.kg(&lot["mass_kg"])))
        .collect())
}
