//! `/breakout` and `/cut-off`: shells opened, castings cut off.

use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::science::trade::{Catalogue, TradeStep};
use crate::shop::casting::page::table;
use crate::shop::casting::route::Stage;
use crate::shop::casting::{self, Listed};
use crate::shop::house::floor::{Floor, Look, choice, items, text};
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Sheet, Table};
use crate::web::slip::{Choice, Field, How};
use crate::web::{Page, Shown, Visit};
use std::collections::BTreeMap;
use std::sync::Arc;

/// How many castings a page lists.
const MOST: i64 = 120;

/// The pages.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    vec![
        floor.page("/breakout", Right::Read, list),
        floor.page("/shells/{tag}/breakout", Right::Log, open),
        floor.page("/cut-off", Right::Read, to_cut_off),
        floor.page("/castings/{tag}/cut-off", Right::Log, cut_off),
    ]
}

/// Defects by name, their codes behind, those seen at a step first.
///
/// # Errors
/// That the built-in tables cannot be read.
pub fn defects(first: TradeStep) -> Result<Vec<Choice>, Problem> {
    let built_in = Catalogue::builtin().map_err(Problem::internal)?;
    let mut defects: Vec<_> = built_in.defects.iter().collect();
    defects.sort_by_key(|d| (d.stage != first, d.name.clone()));
    let none = std::iter::once(choice("", "no fault named", ""));
    Ok(none.chain(defects.into_iter().map(|d| choice(d.code.clone(), d.name.clone(), d.code.clone()))).collect())
}

async fn list(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let mut read = floor.kit.db.read().await?;
    let poured = casting::standing_at(&mut read, &[Stage::Pour, Stage::Breakout], MOST).await?;
    let poured = casting::seen_by(poured, visit.actor()?.role);
    drop(read);
    let mut sheet = Sheet::new(&visit, "Break out");
    let mut shells: BTreeMap<(i64, String), Vec<&Listed>> = BTreeMap::new();
    for casting in poured.iter().filter(|c| c.stage == "pour") {
        let since = casting.since.map_or(0, crate::kernel::Instant::ms);
        let tag = casting.shell.as_ref().map_or_else(String::new, |(_, tag)| tag.clone());
        shells.entry((since, tag)).or_default().push(casting);
    }
    let mut open = Table::new("Poured, to be opened", "No shell is waiting to be opened.", &["Shell", "What is in it", "Poured"]);
    for ((_, tag), castings) in &shells {
        let what: Vec<String> = castings.iter().map(|c| format!("{} {}", c.tag, c.called())).collect();
        let since = castings.first().and_then(|c| c.since).map_or_else(String::new, |at| look.reads.ago(at));
        open.row([Cell::tag(tag.clone()).to(format!("/shells/{tag}/breakout")), what.join("; ").into(), since.into()]);
    }
    sheet.table(open);
    sheet.part(look.cautions(TradeStep::Breakout, None, None)?);
    let cut: Vec<&Listed> = poured.iter().filter(|c| c.stage == "breakout").collect();
    sheet.table(table("Broken out, to be cut off", "Nothing is waiting to be cut off.", &cut, &look.reads, |c| {
        format!("/castings/{}/cut-off", c.tag)
    }));
    sheet.show()
}

async fn open(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let tag = escape_part(visit.part("tag"));
    let shell = look.get(&format!("/v1/shells/{tag}")).await?;
    let tag = text(&shell, "tag");
    let mut read = floor.kit.db.read().await?;
    let seq = crate::book::api::find(&mut read, crate::kernel::Kind::Shell, &tag).await?;
    let castings = casting::listed_of(&mut read, &[seq], 50).await?;
    drop(read);
    let mut sheet = Sheet::new(&visit, "Break out");
    sheet.tag.clone_from(&tag);
    "Weigh the whole tree, tap the bad ones; the rest stay not judged.".clone_into(&mut sheet.lead);
    let mut slip = look
        .slip(format!("shells/{tag}/breakout"), "Broken out")
        .field(Field::number("gross_kg", "The whole tree").hint("Left empty it counts as not weighed."));
    let defects = defects(TradeStep::Breakout)?;
    for (n, casting) in castings.iter().rev().filter(|c| c.stage == "pour").enumerate() {
        let verdicts = [("not_judged", "Not judged"), ("repair", "To repair"), ("scrap", "Scrap"), ("accepted", "Good")];
        let label = format!("{} {}", casting.tag, casting.called());
        slip = slip
            .field(Field::hidden(&format!("castings.{n}.casting_id"), &casting.tag))
            .field(Field::one(&format!("castings.{n}.verdict"), &label, &verdicts).with("not_judged"))
            .field(
                Field::new(&format!("castings.{n}.findings.0.code"), &format!("Fault of {}", casting.tag), How::List)
                    .of(defects.clone())
                    .more(),
            )
            .field(Field::text(&format!("castings.{n}.findings.0.where"), &format!("Where on {}", casting.tag)).more());
    }
    let slip = slip.field(Field::at()).field(look.hands("Knocked off by")).then("/breakout").main();
    sheet.slip("", slip);
    sheet.part(look.cautions(TradeStep::Breakout, None, None)?);
    sheet.links(&[("The shell", format!("/shells/{tag}")), ("To break out", "/breakout".to_owned())]);
    sheet.show()
}

async fn to_cut_off(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let listed = casting::standing_at(&mut floor.kit.db.read().await?, &[Stage::Breakout], MOST).await?;
    let listed = casting::seen_by(listed, visit.actor()?.role);
    let mut sheet = Sheet::new(&visit, "Cut off");
    let castings: Vec<&Listed> = listed.iter().collect();
    sheet.table(table("", "Nothing is waiting to be cut off.", &castings, &look.reads, |c| {
        format!("/castings/{}/cut-off", c.tag)
    }));
    sheet.links(&[("To break out", "/breakout".to_owned())]);
    sheet.show()
}

async fn cut_off(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let tag = escape_part(visit.part("tag"));
    let casting = look.get(&format!("/v1/castings/{tag}")).await?;
    let tag = text(&casting, "tag");
    let mut sheet = Sheet::new(&visit, "Cut off");
    sheet.tag.clone_from(&tag);
    sheet.facts(
        "",
        [
            ("By estimate", Cell::text(look.reads.kg(&casting["metal"]["estimate_kg"]))),
            ("Alloy", Cell::text(text(&casting, "alloy"))),
        ],
    );
    let pools = pools(&look, &text(&casting, "alloy")).await?;
    let slip = look
        .slip(format!("castings/{tag}/cut-off"), "Cut off")
        .field(Field::number("net_kg", "Net").need())
        .field(Field::number("returned_kg", "Gates and sprue put back").more())
        .field(Field::new("returned_lot_id", "Into", How::List).of(pools).more())
        .field(Field::at())
        .field(look.hands("Cut off by"))
        .then("/breakout")
        .main();
    sheet.slip("", slip);
    sheet.part(look.cautions(TradeStep::Bench, None, None)?);
    sheet.links(&[("Its card", format!("/castings/{tag}"))]);
    sheet.show()
}

/// The pools of an alloy that metal may be put back into; the default pool is the first.
///
/// # Errors
/// As the API.
pub async fn pools(look: &Look<'_>, alloy: &str) -> Result<Vec<Choice>, Problem> {
    let lots = look.get(&format!("/v1/metal-lots?limit=200&alloy={}", escape_part(alloy))).await?;
    let pools = items(&lots["items"]).iter().filter(|lot| lot["kind"] == "returns");
    let words = |lot: &serde_json::Value| {
        let owner = if lot["owner_client_id"].is_null() { "" } else { ", a client's" };
        format!("returns {}{owner}", text(lot, "alloy"))
    };
    let chosen = pools.map(|lot| choice(text(lot, "id"), words(lot), look.reads.kg(&lot["mass_kg"])));
    Ok(std::iter::once(choice("", "the usual pool of this alloy", "")).chain(chosen).collect())
}
