//! `/kiln`: shells in, shells out, and only the bad ones named.

use crate::book::story;
use crate::kernel::actor::Right;
use crate::kernel::{Problem, Seq};
use crate::science::trade::TradeStep;
use crate::shop::casting;
use crate::shop::casting::route::Stage;
use crate::shop::house::floor::{Floor, Look, choice, items, text};
use crate::shop::shell;
use crate::web::sheet::{Cell, Sheet, Table};
use crate::web::slip::{Choice, Field, How, Slip};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::sync::Arc;

/// The page.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    vec![floor.page("/kiln", Right::Log, kiln)]
}

/// How many of the last loads are looked over for shells not yet told.
const LOADS: u16 = 12;

async fn kiln(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let mut read = floor.kit.db.read().await?;
    let dipped = casting::shells_at(&mut read, &[Stage::Shell]).await?;
    let fired = casting::shells_at(&mut read, &[Stage::Burnout, Stage::Preheat]).await?;
    let both: Vec<Seq> = dipped.iter().chain(&fired).copied().collect();
    let story = story::load(&mut read, &[], &dipped).await?;
    let names = shell::names(&mut read, &both).await?;
    drop(read);
    let tag = |seq: Seq| names.iter().find(|(s, ..)| *s == seq).map_or_else(String::new, |(_, tag, _)| tag.clone());
    let asked = visit.query.get("shell");
    // All coats on first; of those the dry ones are proposed.
    let mut ready: Vec<(bool, Choice)> = dipped
        .iter()
        .filter_map(|seq| shell::next_dip(&story, *seq))
        .map(|dip| {
            let wet = dip.dry_at.filter(|at| *at > visit.now);
            let (words, dry) = match (dip.is_due(), wet) {
                (true, _) => (format!("{} of {} coats on", dip.coat - 1, dip.of), false),
                (false, Some(at)) => (format!("drying until {}", look.reads.soon(at)), false),
                (false, None) => ("dry by the recipe".to_owned(), true),
            };
            let tag = tag(dip.shell);
            let chosen = if asked.is_empty() { dry } else { tag == asked };
            (dip.is_due(), Choice { chosen, ..choice(tag.clone(), tag, words) })
        })
        .collect();
    ready.sort_by_key(|(due, _)| *due);
    let ready: Vec<Choice> = ready.into_iter().map(|(_, choice)| choice).collect();
    let again: Vec<Choice> =
        fired.iter().map(|seq| Choice { chosen: tag(*seq) == asked, ..choice(tag(*seq), tag(*seq), "fired") }).collect();
    let loads = look.get(&format!("/v1/burnouts?limit={LOADS}")).await?;
    let loads = items(&loads["items"]);
    let last = loads.first().cloned().unwrap_or(Value::Null);
    let last_name = floor.names(&[&last["kiln"]]).await?.of(&last["kiln"]);
    let kilns = look.proposed("kilns").await?;
    let mut sheet = Sheet::new(&visit, "Kiln");
    for load in loads.iter().filter(|load| is_open(load)) {
        let out = out(&floor, &look, load).await?;
        sheet.slip(&format!("In since {}: out", look.reads.at(&load["at"])), out);
    }
    if ready.is_empty() {
        sheet.part(crate::web::sheet::Part::Words("No shell is waiting for the kiln.".to_owned()));
    } else {
        let purposes = [("dewax_and_fire", "Melt out and fire"), ("dewax", "Melt out"), ("fire", "Fire")];
        let mut slip = look.slip("burnouts", "In the kiln");
        slip = slip
            .field(rows("shells", "Shells", ready))
            .field(Field::one("purpose", "What for", &purposes).with("dewax_and_fire").more())
            .field(Field::text("kiln", "Kiln").proposing(kilns.clone()).with(last_name.clone()).need())
            .field(Field::at())
            .field(look.hands("Loaded by"));
        sheet.slip("Into the kiln", slip.main());
    }
    sheet.part(look.cautions(TradeStep::Burnout, None, None)?);
    if !again.is_empty() {
        let slip = look
            .slip("preheats", "Back to heat")
            .field(Field::new("shell_ids", "Shells", How::Ticks).of(again.clone()))
            .field(Field::text("kiln", "Kiln").proposing(kilns.clone()).with(last_name.clone()).need())
            .field(Field::number("target_c", "Set to"))
            .field(Field::number("soak_minutes", "Held, minutes").more())
            .field(Field::new("out_at", "First shell out", How::Time).more())
            .field(Field::number("fuel_kg", "Gas burnt").more())
            .field(Field::at())
            .field(look.hands("Loaded by"));
        sheet.folded("Preheat before a pour", slip);
        let again = look
            .slip("burnouts", "In the kiln")
            .named(&visit, "again")
            .field(rows("shells", "Shells", again))
            .field(Field::hidden("purpose", "fire"))
            .field(Field::text("kiln", "Kiln").proposing(kilns).with(last_name).need())
            .field(Field::at());
        sheet.folded("Fire again", again);
        sheet.part(look.cautions(TradeStep::Preheat, None, None)?);
    }
    let mut table = Table::new("Last loads", "No kiln load is on record yet.", &["In", "Shells#", "Hottest#", "Out"]);
    for load in loads {
        let peak = load["peak_c"].as_f64().map_or_else(String::new, |c| look.reads.temperature(c));
        table.row([
            Cell::text(look.reads.at(&load["at"])).to(format!("/records/{}", text(load, "id"))),
            items(&load["shells"]).len().to_string().into(),
            peak.into(),
            look.reads.at(&load["out_at"]).into(),
        ]);
    }
    sheet.table(table);
    sheet.show()
}

/// Shells as rows of a list of objects: what is ticked is a row with its tag.
fn rows(list: &str, label: &str, shells: Vec<Choice>) -> Field {
    Field::new(&format!("{list}.*.shell_id"), label, How::Ticks).of(shells)
}

/// Whether shells of a load are not told yet.
fn is_open(load: &Value) -> bool {
    load["void"].is_null() && items(&load["shells"]).iter().any(|s| s["result"].is_null())
}

/// A load comes out: sound, but for those tapped.
async fn out(floor: &Floor, look: &Look<'_>, load: &Value) -> Result<Slip, Problem> {
    let shells = items(&load["shells"]);
    let ids: Vec<String> = shells.iter().map(|s| text(s, "shell_id")).collect();
    let tags = shell::tags_of(&mut floor.kit.db.read().await?, &ids).await?;
    let mut slip = look.slip(format!("burnouts/{}", text(load, "id")), "Out of the kiln").correcting(&text(load, "etag"));
    let results = [("sound", "Sound"), ("cracked", "Cracked"), ("lost", "Lost")];
    for (n, shell) in shells.iter().enumerate() {
        let id = text(shell, "shell_id");
        let tag = tags.iter().find(|(of, _)| *of == id).map_or("its shell", |(_, tag)| tag.as_str());
        let result = if shell["result"].is_null() { "sound".to_owned() } else { text(shell, "result") };
        slip = slip
            .field(Field::hidden(&format!("shells.{n}.shell_id"), &id))
            .field(Field::one(&format!("shells.{n}.result"), tag, &results).with(result));
    }
    if load["out_at"].is_null() {
        slip = slip.field(Field::hidden("_now", "out_at"));
    }
    Ok(slip
        .field(Field::number("peak_c", "Hottest").more())
        .field(Field::number("hold_minutes", "Held there, minutes").more())
        .field(Field::new("out_at", "Out at", How::Time).hint("Now, unless said otherwise.").more())
        .field(Field::number("fuel_kg", "Gas burnt").more())
        .field(Field::number("fuel_kwh", "Current used, kWh").more())
        .main())
}
