//! `/dip`: a rack of shells gets the next coat of its recipe.

use super::dips::{Dip, next_dip};
use super::store;
use crate::book::story;
use crate::kernel::actor::Right;
use crate::kernel::{Problem, Seq, Tag};
use crate::science::trade::TradeStep;
use crate::shop::casting;
use crate::shop::casting::route::Stage;
use crate::shop::house::floor::{Floor, Look, choice};
use crate::shop::house::settings;
use crate::web::sheet::{Cell, Part, Sheet, Table};
use crate::web::slip::{Choice, Field, How, Slip};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::Arc;

/// The page of the dip room.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    let mut out = super::class_page::pages(floor);
    out.push(floor.page("/dip", Right::Log, dip));
    out
}

struct Rack {
    dip: Dip,
    recipe: String,
    shells: Vec<Choice>,
}

async fn dip(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let mut read = floor.kit.db.read().await?;
    let now = visit.now;
    let settings = settings::of(&mut read).await?;
    let shells = casting::shells_at(&mut read, &[Stage::Shell]).await?;
    let story = story::load(&mut read, &[], &shells).await?;
    let names = store::names(&mut read, &shells).await?;
    let begin = settings.begin(settings.day(now)).unwrap_or(now);
    let reading = store::last_reading(&mut read, begin).await?;
    drop(read);
    let name =
        |seq: Seq| names.iter().find(|(s, ..)| *s == seq).map_or(("", ""), |(_, tag, recipe)| (tag.as_str(), recipe.as_str()));
    let only = Tag::parse(visit.query.get("shell")).map(|tag| tag.to_string());
    let (mut racks, mut finished) = (BTreeMap::<(String, usize, usize, String), Rack>::new(), Vec::new());
    for dip in shells.iter().filter_map(|shell| next_dip(&story, *shell)) {
        let (tag, recipe) = name(dip.shell);
        let wet = dip.dry_at.filter(|at| *at > now).map_or_else(String::new, |at| look.reads.soon(at));
        if !dip.is_due() {
            finished.push((tag.to_owned(), wet));
            continue;
        }
        let chosen = only.as_deref().map_or(wet.is_empty(), |only| only == tag);
        let aside = if wet.is_empty() { wet } else { format!("drying until {wet}") };
        let rack = racks.entry(dip.rack(recipe)).or_insert_with(|| Rack { recipe: recipe.to_owned(), shells: Vec::new(), dip });
        rack.shells.push(Choice { chosen, ..choice(tag, tag, aside) });
    }
    let mut sheet = Sheet::new(&visit, "Dip");
    if racks.is_empty() {
        sheet.part(Part::Words("No shell is waiting for a coat.".to_owned()));
    }
    for (n, rack) in racks.into_values().enumerate() {
        if only.as_ref().is_some_and(|only| !rack.shells.iter().any(|s| s.value == *only)) {
            continue;
        }
        let heading = format!("Coat {} of {}, {}: {}", rack.dip.coat, rack.dip.of, rack.dip.words(), rack.recipe);
        sheet.slip(&heading, slip(&look, n, rack, &reading));
    }
    if !finished.is_empty() {
        let mut table = Table::new("All coats on", "", &["Shell", ""]);
        for (tag, wet) in finished {
            let dry = if wet.is_empty() { "dry by the recipe".to_owned() } else { format!("drying until {wet}") };
            table.row([Cell::tag(tag.clone()).to(format!("/shells/{tag}")), dry.into()]);
        }
        sheet.table(table);
        sheet.links(&[("Into the kiln", "/kiln".to_owned())]);
    }
    sheet.part(look.cautions(TradeStep::Shell, None, None)?);
    sheet.links(&[("Slurry", "/slurry".to_owned()), ("Shell recipes", "/recipes".to_owned()), ("Shells", "/shells".to_owned())]);
    sheet.show()
}

/// What was read last today is proposed and, left as it is, assumed; what was not is asked.
fn slip(look: &Look<'_>, n: usize, rack: Rack, reading: &Value) -> Slip {
    let planned = |name: &str| rack.dip.planned[name].as_str().unwrap_or("").to_owned();
    let number = |name: &str| reading[name].as_f64().map_or_else(String::new, |n| n.to_string());
    let room = reading["room_c"].as_f64().and_then(crate::kernel::Celsius::new);
    let room = room.map_or_else(String::new, |c| look.reads.units().temperature_field(c));
    // A cup's seconds are of one slurry; those of another say nothing.
    let same = reading["slurry"] == rack.dip.planned["slurry"];
    let viscosity = if same { number("viscosity_s") } else { String::new() };
    let proposed = |field: Field, value: String| if value.is_empty() { field } else { field.assume(value).more() };
    let all_wet = rack.shells.iter().all(|s| !s.chosen);
    let wet = "By the recipe all of these are still drying. Tick what was dipped all the same.";
    let shells = Field::new("shell_ids", "Shells on the rack", How::Ticks).hint(if all_wet { wet } else { "" });
    let mut slip = look
        .slip("coats", "Dipped")
        .named(look.visit, &format!("{}-{n}", rack.dip.coat))
        .field(shells.of(rack.shells))
        .field(Field::hidden("kind", &planned("kind")))
        .field(Field::hidden("slurry", &planned("slurry")));
    if !planned("stucco").is_empty() {
        slip = slip.field(Field::hidden("stucco", &planned("stucco")));
    }
    slip.field(proposed(Field::number("viscosity_s", "Viscosity, s"), viscosity))
        .field(proposed(Field::number("room_c", "Room"), room))
        .field(proposed(Field::number("humidity_percent", "Humidity, percent"), number("humidity_percent")))
        .field(Field::at())
        .field(look.hands("Dipped by"))
        .main()
}
