//! `/heats` and `/heats/{id}`: lit, charged, ready, poured, closed.

use super::store;
use crate::kernel::actor::Right;
use crate::kernel::{Mass, Problem, Seq};
use crate::science::trade::TradeStep;
use crate::shop::house::floor::{Floor, Look, choice, items, plain, text};
use crate::shop::house::trade;
use crate::shop::metal;
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Sheet, Table};
use crate::web::slip::{Choice, Field, How, Slip};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::sync::Arc;

/// The pages.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    vec![floor.page("/heats", Right::Read, list), floor.page("/heats/{id}", Right::Read, one)]
}

/// Lots with metal in them, those of an alloy first, as choices.
async fn lots(look: &Look<'_>, alloy: &str) -> Result<Vec<Choice>, Problem> {
    let lots = look.get("/v1/metal-lots?limit=200").await?;
    let mut lots: Vec<&Value> =
        items(&lots["items"]).iter().filter(|lot| lot["mass_kg"].as_f64().is_some_and(|kg| kg > 0.0)).collect();
    lots.sort_by_key(|lot| (lot["alloy"] != alloy, lot["kind"] == "addition", !lot["owner_client_id"].is_null()));
    Ok(lots
        .into_iter()
        .map(|lot| {
            let client = if lot["owner_client_id"].is_null() { "" } else { ", a client's" };
            let words = format!("{} {}{client}", text(lot, "alloy"), text(lot, "kind"));
            choice(text(lot, "id"), words, look.reads.kg(&lot["mass_kg"]))
        })
        .collect())
}

/// What heats are usually poured as here: the alloys of lots on hand, and of the last heats.
fn alloys(lots: &[Choice], heats: &[Value]) -> Vec<String> {
    let of_lots = lots.iter().filter_map(|lot| lot.words.split(' ').next()).filter(|a| *a != "unknown");
    let mut out: Vec<String> = heats.iter().map(|heat| text(heat, "alloy")).chain(of_lots.map(str::to_owned)).collect();
    let mut seen = std::collections::BTreeSet::new();
    out.retain(|alloy| seen.insert(alloy.clone()));
    out
}

async fn list(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let mut read = floor.kit.db.read().await?;
    let open = metal::open_heats(&mut read).await?;
    let seqs: Vec<Seq> = open.iter().map(|h| h.heat).collect();
    let numbers = store::numbers(&mut read, &seqs).await?;
    drop(read);
    let (heats, next) = look.list("/v1/heats", 20).await?;
    let furnaces: Vec<&Value> = heats.iter().map(|h| &h["furnace"]).collect();
    let names = floor.names(&furnaces).await?;
    let mut sheet = Sheet::new(&visit, "Heats");
    let mut table = Table::new("Open", "No heat is open.", &["Heat", "Metal", "Charged#"]);
    for heat in &open {
        let number = numbers.iter().find(|(s, ..)| *s == heat.heat).map_or("", |(_, number, _)| number.as_str());
        let link = Cell::text(number).to(format!("/heats/{}", escape_part(number)));
        table.row([link, heat.alloy.clone().into(), look.reads.mass(heat.charged).into()]);
    }
    sheet.table(table);
    if !open.is_empty() {
        sheet.links(&[("Pour day", "/pour-day".to_owned())]);
    }
    let last = heats.first().cloned().unwrap_or(Value::Null);
    let alloy = text(&last, "alloy");
    let lots = lots(&look, &alloy).await?;
    let furnace = names.of(&last["furnace"]);
    let light = look
        .slip("heats", "Lit")
        .field(Field::text("furnace", "Furnace").proposing(look.proposed("furnaces").await?).with(furnace).need())
        .field(Field::text("alloy", "Poured as").proposing(alloys(&lots, &heats)).with(alloy).need())
        .field(Field::new("charge.0.lot_id", "First charge, from", How::List).of(lots))
        .field(Field::number("charge.0.mass_kg", "How much").need())
        .field(Field::text("crucible", "Crucible").proposing(look.proposed("crucibles").await?).more())
        .field(Field::at())
        .field(look.hands("Lit by"))
        .field(Field::new("notes", "Notes", How::Long).more())
        .then("/heats/{made}")
        .main();
    sheet.slip("Light a furnace", light);
    sheet.part(look.cautions(TradeStep::Heat, None, None)?);
    let mut table = Table::new("Before", "No heat is on record yet.", &["Heat", "Lit", "Metal", "Furnace"]);
    for heat in &heats {
        let number = text(heat, "number");
        let link = Cell::text(number.clone()).to(format!("/heats/{}", escape_part(&number)));
        table.row([link, look.reads.at(&heat["at"]).into(), text(heat, "alloy").into(), names.of(&heat["furnace"]).into()]);
    }
    table.next = next;
    sheet.table(table);
    sheet.show()
}

/// What was done to a melt, as a caster calls it.
fn event_words(kind: &str) -> &str {
    match kind {
        "skim" => "skimmed",
        "flux" => "fluxed",
        "degas" => "degassed",
        "deoxidise" => "deoxidised",
        "temperature" => "temperature read",
        "ready" => "ready",
        other => other,
    }
}

/// How metal may stand at a pour.
const SUPPORTS: [(&str, &str); 4] = [
    ("open_rack", "hung in an open rack"),
    ("buried", "buried"),
    ("half_buried", "half buried"),
    ("standing", "standing by itself"),
];

async fn one(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let id = escape_part(visit.part("id"));
    let heat = look.get(&format!("/v1/heats/{id}")).await?;
    let number = text(&heat, "number");
    let path = format!("heats/{number}");
    let trade = trade::of(&mut floor.kit.db.read().await?).await?;
    let alloy = trade.alloy(&text(&heat, "alloy")).cloned();
    let closing = items(&heat["closings"]).first().cloned();
    let mut ids: Vec<&Value> = vec![&heat["furnace"], &heat["crucible"]];
    ids.extend(["charge", "events", "pours"].iter().flat_map(|c| items(&heat[*c])).flat_map(|l| items(&l["hands"])));
    let names = floor.names(&ids).await?;
    let seq = seq_of(&floor, &heat).await?;
    let mut read = floor.kit.db.read().await?;
    let streams = store::pours_of(&mut read, seq).await?;
    let tags = crate::shop::shell::names(&mut read, &streams.iter().map(|s| s.shell).collect::<Vec<_>>()).await?;
    drop(read);
    let tag_of = |pour: &str| {
        let shell = streams.iter().find(|s| s.pour.to_string() == pour).map(|s| s.shell);
        tags.iter().find(|(seq, ..)| Some(*seq) == shell).map_or_else(String::new, |(_, tag, _)| tag.clone())
    };
    let mut sheet = Sheet::new(&visit, format!("Heat {number}"));
    let common = alloy.as_ref().map_or_else(String::new, |a| format!("{} ", a.common_name));
    let state = if closing.is_some() { "closed" } else { "open" };
    sheet.lead =
        format!("{common}{}, {}, lit {}, {state}.", text(&heat, "alloy"), names.of(&heat["furnace"]), look.reads.at(&heat["at"]));
    let charged: f64 = items(&heat["charge"]).iter().filter_map(|c| c["mass_kg"].as_f64()).sum();
    sheet.facts(
        "",
        [
            ("Charged", Cell::text(look.reads.kg(&serde_json::json!(charged)))),
            ("Crucible", Cell::text(names.of(&heat["crucible"]))),
            ("Notes", Cell::text(text(&heat, "notes"))),
        ],
    );
    if closing.is_some() {
        sheet.links(&[("The balance", format!("/heats/{id}/balance")), ("All heats", "/heats".to_owned())]);
    } else {
        sheet.links(&[("Pour day", format!("/pour-day?heat={id}"))]);
        sheet.slip("Pour", pour(&floor, &look, &path).await?);
        sheet.slip("Charge", charge(&look, &path, &text(&heat, "alloy")).await?);
        for slip in events(&look, &path) {
            sheet.slip("", slip);
        }
        sheet.folded("Close the heat", close(&look, &path));
    }
    let mut table = Table::new("Charged and done", "Nothing was charged yet.", &["When", "What", "How much#"]);
    let mut lines: Vec<(String, [Cell; 3])> = Vec::new();
    for line in items(&heat["charge"]) {
        let what = Cell::text("charged").to(format!("/records/{}", text(line, "id")));
        lines.push((text(line, "at"), [look.reads.at(&line["at"]).into(), what, look.reads.kg(&line["mass_kg"]).into()]));
    }
    for line in items(&heat["events"]) {
        let what = Cell::text(event_words(&text(line, "kind"))).to(format!("/records/{}", text(line, "id")));
        let degrees = line["metal_c"].as_f64().map_or_else(String::new, |c| look.reads.temperature(c));
        let mass = look.reads.kg(&line["mass_kg"]);
        let much = if degrees.is_empty() { mass } else { degrees };
        lines.push((text(line, "at"), [look.reads.at(&line["at"]).into(), what, much.into()]));
    }
    if let Some(closing) = &closing {
        let what = Cell::text("closed").to(format!("/records/{}", text(closing, "id")));
        lines.push((text(closing, "at"), [look.reads.at(&closing["at"]).into(), what, Cell::text("")]));
    }
    lines.sort_by(|a, b| a.0.cmp(&b.0));
    for (_, row) in lines {
        table.row(row);
    }
    sheet.table(table);
    let mut table = Table::new("Poured", "Nothing was poured from it yet.", &["Shell", "When", "How", "Mass#", "Record"]);
    for pour in items(&heat["pours"]) {
        let id = text(pour, "id");
        let tag = tag_of(&id);
        let leaks: Vec<String> = items(&pour["leaks"])
            .iter()
            .map(|l| format!("leaked at the {}, {}", text(l, "where"), answer_words(&text(l, "response"))))
            .collect();
        let how = [vec![text(pour, "filled"), plain(&text(pour, "support"))], leaks].concat().join(", ");
        let link = Cell::tag(tag.clone()).to(format!("/shells/{tag}"));
        let mass = look.reads.kg(&pour["poured_kg"]);
        let mass = if mass.is_empty() { "not weighed".to_owned() } else { mass };
        table.row([
            link,
            look.reads.at(&pour["at"]).into(),
            how.into(),
            mass.into(),
            Cell::text("open").to(format!("/records/{id}")),
        ]);
    }
    sheet.table(table);
    sheet.part(look.cautions(TradeStep::Heat, alloy.as_ref(), None)?);
    sheet.part(look.cautions(TradeStep::Pour, alloy.as_ref(), None)?);
    sheet.show()
}

async fn seq_of(floor: &Floor, heat: &Value) -> Result<Seq, Problem> {
    crate::book::api::find(&mut floor.kit.db.read().await?, crate::kernel::Kind::Heat, &text(heat, "id")).await
}

fn answer_words(code: &str) -> &str {
    match code {
        "froze_off" => "froze off",
        "none" => "nothing done",
        other => other,
    }
}

async fn charge(look: &Look<'_>, path: &str, alloy: &str) -> Result<Slip, Problem> {
    Ok(look
        .slip(format!("{path}/charges"), "Charged")
        .field(Field::new("lot_id", "From", How::List).of(lots(look, alloy).await?))
        .field(Field::number("mass_kg", "How much").need())
        .field(Field::at())
        .field(look.hands("Charged by"))
        .main())
}

/// One tap each; the temperature with its number.
fn events(look: &Look<'_>, path: &str) -> [Slip; 3] {
    let to = format!("{path}/events");
    let slip = |name: &str, button: &str| look.slip(to.clone(), button).named(look.visit, name);
    [
        slip("ready", "Ready").field(Field::hidden("kind", "ready")).main(),
        slip("temperature", "Temperature read")
            .field(Field::hidden("kind", "temperature"))
            .field(Field::number("metal_c", "Metal").need()),
        slip("done", "Done").field(Field::one(
            "kind",
            "Done to the melt",
            &[("skim", "Skimmed"), ("flux", "Fluxed"), ("degas", "Degassed"), ("deoxidise", "Deoxidised")],
        )),
    ]
}

/// A pour: which shell is said, never proposed.
async fn pour(floor: &Floor, look: &Look<'_>, path: &str) -> Result<Slip, Problem> {
    use crate::shop::casting::{self, route::Stage};
    let mut read = floor.kit.db.read().await?;
    let fired = casting::shells_at(&mut read, &[Stage::Burnout, Stage::Preheat]).await?;
    let names = crate::shop::shell::names(&mut read, &fired).await?;
    let expected = metal::expected(&mut read, &fired).await?;
    drop(read);
    let last = look.get("/v1/pours?limit=1").await?;
    let last = items(&last["items"]).first().cloned().unwrap_or(Value::Null);
    let hands = floor.names(&items(&last["hands"]).iter().collect::<Vec<_>>()).await?.all(&last["hands"]);
    let takes = |seq: Seq| expected.iter().find(|(s, ..)| *s == seq).map_or(Mass::ZERO, |(.., mass)| *mass);
    let shells = names
        .iter()
        .map(|(seq, tag, _)| choice(tag.clone(), tag.clone(), format!("takes about {}", look.reads.mass(takes(*seq)))));
    let asked = look.visit.query.get("shell");
    let places = [
        ("", "no leak"),
        ("cup", "cup"),
        ("sprue", "sprue"),
        ("runner", "runner"),
        ("gate", "gate"),
        ("vent", "vent"),
        ("casting", "casting"),
    ];
    let answers = [
        ("", ""),
        ("froze_off", "it froze off"),
        ("plugged", "it was plugged"),
        ("stopped", "the pour was stopped"),
        ("none", "nothing"),
    ];
    let support = text(&last, "support");
    let support = if support.is_empty() { "open_rack".to_owned() } else { support };
    Ok(look
        .slip(format!("{path}/pours"), "Poured")
        .field(
            Field::new("shell_id", "Shell", How::List)
                .of(std::iter::once(choice("", "which shell", "")).chain(shells))
                .with(asked),
        )
        .field(Field::one("filled", "It filled", &[("full", "Full"), ("short", "Short"), ("stopped", "Stopped")]).with("full"))
        .field(Field::list("leaks.0.where", "It leaked at", &places))
        .field(Field::list("leaks.0.response", "What was done about the leak", &answers))
        .field(Field::number("leaks.0.lost_kg", "Lost by the leak").more())
        .field(Field::number("leaks.0.swept_kg", "Swept up of it").more())
        .field(Field::list("support", "It stood", &SUPPORTS).assume(support).more())
        .field(look.hands("Poured by").assume(if hands.is_empty() { signed_in(look) } else { hands }))
        .field(Field::number("metal_c", "Metal").more())
        .field(Field::number("shell_c", "Shell as the metal went in").more())
        .field(Field::number("poured_kg", "What went in, weighed").more())
        .field(Field::new("shell_out_at", "Out of the kiln", How::Time).more())
        .field(Field::at())
        .main())
}

fn signed_in(look: &Look<'_>) -> String {
    look.visit.actor.as_ref().map_or_else(String::new, |a| a.name.clone())
}

fn close(look: &Look<'_>, path: &str) -> Slip {
    look.slip(format!("{path}/closings"), "Closed")
        .field(Field::number("pigged_kg", "Pigged").hint("Into ingot moulds. Nothing: leave it empty."))
        .field(Field::number("dross_kg", "Dross").hint("Left empty it counts as not weighed, never as none."))
        .field(Field::number("spilled_kg", "Spilled").more())
        .field(Field::number("heel_kg", "Left in the crucible").more())
        .field(Field::number("fuel_kg", "Gas burnt").more())
        .field(Field::number("fuel_kwh", "Current used, kWh").more())
        .field(Field::at())
        .field(look.hands("Closed by"))
        .field(Field::text("note", "Note").more())
        .then(format!("/{path}"))
        .main()
}
