//! `/bench` and `/castings/{tag}/bench`: work, verdicts, finish, scrap, recast, handing over.

use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::science::trade::{Catalogue, TradeStep};
use crate::shop::breakout::page::{defects, pools};
use crate::shop::casting::page::table;
use crate::shop::casting::route::Stage;
use crate::shop::casting::{self, Listed};
use crate::shop::house::floor::{Floor, Look, choice, items, plain, text};
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Sheet, Table};
use crate::web::slip::{Choice, Field, How, Slip};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::sync::Arc;

/// How many castings a page lists of each stage.
const MOST: i64 = 100;

/// The pages.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    let mut out = super::away::pages(floor);
    out.extend(super::patina_page::pages(floor));
    out.extend([floor.page("/bench", Right::Read, list), floor.page("/castings/{tag}/bench", Right::Log, one)]);
    out
}

async fn list(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let stages = [Stage::Breakout, Stage::Bench, Stage::Done];
    let listed = casting::standing_at(&mut floor.kit.db.read().await?, &stages, MOST).await?;
    let listed = casting::seen_by(listed, visit.actor()?.role);
    let mut sheet = Sheet::new(&visit, "Bench");
    for (stage, heading, empty) in [
        ("bench", "On the bench, to finish", "Nothing is on the bench."),
        ("breakout", "Broken out, to be cut off", "Nothing is waiting to be cut off."),
        ("done", "Finished, to hand over", "Nothing is waiting to be handed over."),
    ] {
        let mut castings: Vec<&Listed> = listed.iter().filter(|c| c.stage == stage).collect();
        castings.sort_by(|a, b| (&a.number, a.seq).cmp(&(&b.number, b.seq)));
        let page = if stage == "breakout" { "cut-off" } else { "bench" };
        sheet.table(table(heading, empty, &castings, &look.reads, |c| format!("/castings/{}/{page}", c.tag)));
    }
    sheet.part(look.cautions(TradeStep::Bench, None, None)?);
    sheet.show()
}

/// Operations by name, those of a casting at the bench first.
///
/// # Errors
/// That the built-in tables cannot be read.
pub fn operations(first: TradeStep) -> Result<Vec<Choice>, Problem> {
    let built_in = Catalogue::builtin().map_err(Problem::internal)?;
    let mut all: Vec<_> = built_in.operations.iter().collect();
    all.sort_by_key(|o| o.stage != first);
    Ok(all.into_iter().map(|o| choice(o.code.clone(), o.name.clone(), "")).collect())
}

async fn one(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let casting = look.get(&format!("/v1/castings/{}", escape_part(visit.part("tag")))).await?;
    let (tag, stage) = (text(&casting, "tag"), text(&casting, "stage"));
    let mut sheet = Sheet::new(&visit, "Bench");
    sheet.tag.clone_from(&tag);
    sheet.lead = format!("{}, {}", text(&casting, "alloy"), plain(&stage));
    if casting["unique"] == true {
        "UNIQUE, CANNOT BE RECAST".clone_into(&mut sheet.cry);
    }
    sheet.facts(
        "",
        [
            ("Net", Cell::text(look.reads.kg(&casting["metal"]["net_kg"]))),
            ("Mass now", Cell::text(look.reads.kg(&casting["metal"]["mass_kg"]))),
            ("Minutes so far", Cell::text(minutes(&casting))),
        ],
    );
    let to = format!("castings/{tag}");
    let scrapped = matches!(stage.as_str(), "scrapped" | "lost");
    if scrapped {
        sheet.slip("Cast it again", recast(&look, &to, &casting));
    } else {
        if let Some(judge) = judge(&look, &casting)? {
            sheet.slip("Judge it", judge);
        }
        let patinas = look.get("/v1/patinas?limit=100").await?;
        sheet.slip("Work on it", work(&look, &to, &casting, items(&patinas["items"]))?);
        if matches!(stage.as_str(), "breakout" | "bench") {
            sheet.slip("", look.slip(format!("{to}/finish"), "Finished").field(Field::at()).field(look.hands("By")).main());
        }
        if stage == "done" {
            let deliver = look
                .slip(format!("pieces/{}/deliver", text(&casting, "piece_id")), "Handed over")
                .field(Field::text("to", "To whom, or where").more())
                .field(Field::text("carrier", "Carried by").more())
                .field(Field::number("crate_mm.x", "Crate, length").more())
                .field(Field::number("crate_mm.y", "Crate, width").more())
                .field(Field::number("crate_mm.z", "Crate, height").more())
                .field(Field::number("gross_kg", "With its crate").more())
                .field(Field::text("receipt", "Signed for by").more())
                .field(Field::at())
                .then(format!("/castings/{tag}"));
            sheet.slip("Hand its piece over", deliver.main());
        }
        if text(&casting, "part") != "whole" && matches!(stage.as_str(), "breakout" | "bench" | "done") {
            join(&look, &mut sheet, &casting).await?;
        }
        sheet.folded("Scrap it", scrap(&look, &to, &casting).await?);
        if stage == "delivered" {
            sheet.folded("Cast it again", recast(&look, &to, &casting));
        }
    }
    let mut table = Table::new("Worked on it", "No minutes are logged on it yet.", &["When", "What", "Minutes#"]);
    for line in items(&casting["work"]) {
        let what = Cell::text(plain(&text(line, "operation"))).to(format!("/records/{}", text(line, "id")));
        table.row([look.reads.at(&line["at"]).into(), what, text(line, "minutes").into()]);
    }
    sheet.table(table);
    sheet.part(look.cautions(TradeStep::Bench, None, None)?);
    sheet.links(&[("Its card", format!("/castings/{tag}")), ("The bench", "/bench".to_owned())]);
    sheet.show()
}

/// The slip that joins the parts of its piece, where two of them or more are there.
async fn join(look: &Look<'_>, sheet: &mut Sheet, casting: &Value) -> Result<(), Problem> {
    let piece = look.get(&format!("/v1/pieces/{}", text(casting, "piece_id"))).await?;
    let there = |c: &&Value| matches!(text(c, "stage").as_str(), "breakout" | "bench" | "done");
    let parts = items(&piece["castings"]).iter().filter(there);
    let parts: Vec<_> = parts.map(|c| choice(text(c, "id"), text(c, "part"), text(c, "tag"))).collect();
    let joined = look.get(&format!("/v1/assemblies?piece_id={}", text(casting, "piece_id"))).await?;
    if parts.len() < 2 || !items(&joined["items"]).is_empty() {
        return Ok(());
    }
    let joints = [("weld", "welded"), ("braze", "brazed"), ("bolt", "bolted"), ("pin", "pinned"), ("glue", "glued")];
    let slip = look
        .slip(format!("pieces/{}/assemble", text(casting, "piece_id")), "Joined")
        .field(Field::new("casting_ids", "Parts", How::Ticks).of(parts))
        .field(Field::one("joint", "How", &joints))
        .field(Field::at())
        .field(look.hands("By"));
    sheet.folded("Join its parts", slip);
    Ok(())
}

fn minutes(casting: &Value) -> String {
    let sum: f64 = items(&casting["work"]).iter().filter_map(|w| w["minutes"].as_f64()).sum();
    if sum > 0.0 { format!("{sum}") } else { String::new() }
}

fn work(look: &Look<'_>, to: &str, casting: &Value, patinas: &[Value]) -> Result<Slip, Problem> {
    let last = items(&casting["work"]).last().map_or_else(|| "chase".to_owned(), |w| text(w, "operation"));
    let me = look.visit.actor.as_ref().map_or_else(String::new, |a| a.name.clone());
    let mut slip = look
        .slip(format!("{to}/work"), "Log it")
        .field(Field::new("operation", "What", How::List).of(operations(TradeStep::Bench)?).with(last))
        .field(Field::number("minutes", "Minutes").need())
        .field(Field::text("hand", "By whom").with(me).more())
        .field(Field::number("mass_after_kg", "Its mass afterwards").more())
        .field(Field::number("rod_kg", "Rod and pins put on").more());
    if !patinas.is_empty() {
        let none = std::iter::once(choice("", "no patina", ""));
        let known = patinas.iter().map(|p| choice(text(p, "id"), text(p, "name"), ""));
        slip = slip.field(Field::new("patina_id", "By the patina", How::List).of(none.chain(known)).more());
    }
    if look.visit.actor.as_ref().is_some_and(|a| a.sees_money) {
        slip = slip.field(Field::number("material_minor", "Materials used").more());
    }
    Ok(slip.field(Field::at()).field(Field::text("note", "Note").more()).main())
}

/// The verdict of its breakout, as long as there is none.
fn judge(look: &Look<'_>, casting: &Value) -> Result<Option<Slip>, Problem> {
    let broken = items(&casting["route"]).iter().rfind(|line| line["kind"] == "breakout").map(|line| &line["record"]);
    let Some(record) = broken.filter(|r| !matches!(r["verdict"].as_str(), Some("accepted" | "repair" | "scrap"))) else {
        return Ok(None);
    };
    let verdicts = [("accepted", "Good"), ("repair", "To repair"), ("scrap", "Scrap")];
    let mut slip = look
        .slip(format!("breakouts/{}", text(record, "id")), "Judged")
        .correcting(&text(record, "etag"))
        .field(Field::one("verdict", "It is", &verdicts));
    // What was found before stays: a row that is named is kept.
    let found = items(&record["findings"]);
    for (n, finding) in found.iter().enumerate() {
        slip = slip.field(Field::hidden(&format!("findings.{n}.id"), &text(finding, "id")));
    }
    let n = found.len();
    Ok(Some(
        slip.field(Field::new(&format!("findings.{n}.code"), "Fault", How::List).of(defects(TradeStep::Breakout)?).more())
            .field(Field::text(&format!("findings.{n}.where"), "Where").more()),
    ))
}

async fn scrap(look: &Look<'_>, to: &str, casting: &Value) -> Result<Slip, Problem> {
    let causes = [
        ("wax", "The wax"),
        ("shell", "The shell"),
        ("burnout", "The burnout"),
        ("metal", "The metal"),
        ("pour", "The pour"),
        ("breakout", "Breaking it out"),
        ("bench", "The bench"),
        ("client", "The client"),
        ("other", "Something else"),
    ];
    Ok(look
        .slip(format!("{to}/scrap"), "Scrapped")
        .field(Field::one("cause.category", "Where the cause lies", &causes))
        .field(Field::text("cause.text", "In words").more())
        .field(Field::new("findings.0.code", "Fault", How::List).of(defects(TradeStep::Breakout)?).more())
        .field(Field::text("findings.0.where", "Where on it").more())
        .field(Field::number("returned_kg", "Put back into a pool").hint("Left empty: all of it.").more())
        .field(Field::new("returned_lot_id", "Into", How::List).of(pools(look, &text(casting, "alloy")).await?).more())
        .field(Field::at()))
}

fn recast(look: &Look<'_>, to: &str, casting: &Value) -> Slip {
    let reasons = [
        ("scrapped", "It was scrapped"),
        ("spare", "A spare"),
        ("lost", "Lost"),
        ("damaged", "Damaged"),
        ("refused", "Refused by the client"),
    ];
    let scrapped = matches!(casting["stage"].as_str(), Some("scrapped" | "lost"));
    let mut slip = look.slip(format!("{to}/recast"), "Cast it again");
    let reason = Field::list("reason", "Why", &reasons).with(if scrapped { "scrapped" } else { "spare" });
    slip = slip.field(if scrapped { reason.more() } else { reason });
    if casting["unique"] == true {
        let how = [
            ("remodelled", "Modelled anew"),
            ("moulded_off_failed", "Moulded off the failed one"),
            ("new_original", "A new original"),
        ];
        slip = slip.field(Field::one("how", "How the form is had again", &how));
    }
    slip.field(Field::at()).then("/castings/{made}").main()
}
