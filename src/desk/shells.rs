//! `/shells`: shells from their first coat to their pour, one page each.

use crate::book::story;
use crate::kernel::actor::Right;
use crate::kernel::{Kind, Problem};
use crate::science::trade::TradeStep;
use crate::shop::casting::route::Stage;
use crate::shop::casting::{self, Listed};
use crate::shop::house::floor::{Floor, Look, choice, items, plain, text};
use crate::shop::house::settings;
use crate::shop::{burnout, shell};
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Part, Sheet, Table};
use crate::web::slip::{Choice, Field, How};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::Arc;

/// How many castings of each stage a page lists.
const MOST: i64 = 150;

/// The pages.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    vec![
        floor.page("/shells", Right::Read, list),
        floor.page("/shells/new", Right::Log, new),
        floor.page("/shells/{tag}", Right::Read, one),
    ]
}

async fn list(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let stages = [Stage::Wax, Stage::Shell, Stage::Burnout, Stage::Preheat, Stage::Pour];
    let listed = casting::standing_at(&mut floor.kit.db.read().await?, &stages, MOST).await?;
    let listed = casting::seen_by(listed, visit.actor()?.role);
    let mut sheet = Sheet::new(&visit, "Shells");
    let waxes = listed.iter().find(|c| c.stage == "wax").map_or(0, |c| c.of);
    if waxes > 0 {
        sheet.links(&[("Waxes into a shell", "/shells/new".to_owned())]);
    }
    for (stage, heading) in [
        ("shell", "Being dipped"),
        ("burnout", "Has been in the kiln"),
        ("preheat", "Brought back to heat"),
        ("pour", "Poured, not opened"),
    ] {
        let mut shells: BTreeMap<(i64, &str), Vec<&Listed>> = BTreeMap::new();
        for casting in listed.iter().filter(|c| c.stage == stage) {
            if let Some((_, tag)) = &casting.shell {
                shells.entry((casting.since.map_or(0, crate::kernel::Instant::ms), tag)).or_default().push(casting);
            }
        }
        let mut table = Table::new(heading, "None.", &["Shell", "What is in it", "Since"]);
        for ((_, tag), castings) in &shells {
            let what: Vec<String> = castings.iter().map(|c| c.called()).collect();
            let since = castings.first().and_then(|c| c.since).map_or_else(String::new, |at| look.reads.ago(at));
            table.row([Cell::tag(*tag).to(format!("/shells/{tag}")), what.join("; ").into(), since.into()]);
        }
        sheet.table(table);
    }
    sheet.links(&[("Dip", "/dip".to_owned()), ("Kiln", "/kiln".to_owned()), ("Shell recipes", "/recipes".to_owned())]);
    sheet.show()
}

async fn new(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let waxes = casting::standing_at(&mut floor.kit.db.read().await?, &[Stage::Wax], MOST).await?;
    let recipes = look.get("/v1/recipes?limit=100").await?;
    let last = look.get("/v1/shells?limit=1").await?;
    let last = items(&last["items"]).first().cloned().unwrap_or(Value::Null);
    let mut sheet = Sheet::new(&visit, "Into a shell");
    let asked = visit.query.get("casting");
    let waxes: Vec<Choice> = waxes
        .iter()
        .map(|c| Choice {
            chosen: c.tag == asked,
            ..choice(c.tag.clone(), c.tag.clone(), format!("{}, job {}", c.called(), c.number))
        })
        .collect();
    if waxes.is_empty() {
        sheet.part(Part::Note("No wax is waiting for a shell. Take a piece into a job first.".to_owned()));
        sheet.links(&[("Jobs", "/jobs".to_owned())]);
        return sheet.show();
    }
    let recipes: Vec<Choice> = items(&recipes["items"]).iter().map(|r| choice(text(r, "id"), text(r, "name"), "")).collect();
    if recipes.is_empty() {
        sheet.part(Part::Note("A shell needs a recipe: put one on file first.".to_owned()));
        sheet.links(&[("Shell recipes", "/recipes".to_owned())]);
        return sheet.show();
    }
    let fed = [("", "not said"), ("top", "from the top"), ("bottom", "from the bottom"), ("side", "from the side")];
    let cores = [("", "not said"), ("none", "no core"), ("shell", "the shell itself"), ("poured", "a poured core")];
    let slip = look
        .slip("shells", "Into the shell")
        .field(Field::new("casting_ids", "Waxes", How::Ticks).of(waxes))
        .field(Field::new("recipe_id", "Recipe", How::List).of(recipes).with(text(&last, "recipe_id")))
        .field(Field::number("gating_kg", "Gating, in wax").need().hint("Cup, sprue, runners, gates, vents."))
        .field(Field::number("tree_kg", "The whole tree, in wax").more())
        .field(Field::number("vents", "Vents").more())
        .field(Field::list("fed", "Fed", &fed).more())
        .field(Field::list("core", "Core", &cores).more())
        .field(Field::at())
        .field(look.hands("Sprued by"))
        .then("/shells/{made}")
        .main();
    sheet.slip("", slip);
    sheet.part(look.cautions(TradeStep::Shell, None, None)?);
    sheet.show()
}

async fn one(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let found = look.get(&format!("/v1/shells/{}", escape_part(visit.part("tag")))).await?;
    let tag = text(&found, "tag");
    let mut read = floor.kit.db.read().await?;
    let seq = crate::book::api::find(&mut read, Kind::Shell, &tag).await?;
    let settings = settings::of(&mut read).await?;
    let story = story::load(&mut read, &[], &[seq]).await?;
    let flags = burnout::flags(&mut read, &[seq]).await?;
    let castings = casting::seen_by(casting::listed_of(&mut read, &[seq], 60).await?, visit.actor()?.role);
    drop(read);
    let stage = castings.first().map_or("", |c| c.stage.as_str());
    let mut sheet = Sheet::new(&visit, "Shell");
    sheet.tag.clone_from(&tag);
    sheet.lead = format!("{}, version {}", text(&found, "recipe"), text(&found, "recipe_version"));
    if castings.iter().any(|c| c.unique) {
        "UNIQUE, CANNOT BE RECAST".clone_into(&mut sheet.cry);
    }
    let dip = shell::next_dip(&story, seq);
    let next = match (stage, &dip) {
        ("shell", Some(dip)) if dip.is_due() => Some(("Next coat", format!("/dip?shell={tag}"))),
        ("shell", _) => Some(("Into the kiln", format!("/kiln?shell={tag}"))),
        ("burnout" | "preheat", _) => Some(("Pour", "/pour-day".to_owned())),
        ("pour", _) => Some(("Break out", format!("/shells/{tag}/breakout"))),
        _ => None,
    };
    for line in trials(&look, &tag).await? {
        sheet.part(line);
    }
    if let Some((words, to)) = next {
        sheet.links(&[(words, to)]);
    }
    if matches!(stage, "burnout" | "preheat") {
        let against = burnout::against(&story, &settings, seq, &flags, visit.now);
        let said = if against.is_empty() {
            "Nothing is on record against it.".to_owned()
        } else {
            format!("On record against it: {}.", against.join("; "))
        };
        sheet.part(Part::Note(said));
    }
    let all: Vec<&Listed> = castings.iter().collect();
    sheet.table(casting::page::table("In it", "Nothing is in it.", &all, &look.reads, |c| format!("/castings/{}", c.tag)));
    sheet.facts(
        "",
        [
            ("Gating", Cell::text(look.reads.kg(&found["gating_kg"]))),
            ("The whole tree, in wax", Cell::text(look.reads.kg(&found["tree_kg"]))),
            ("Vents", Cell::text(text(&found, "vents"))),
            ("Fed", Cell::text(text(&found, "fed"))),
            ("Notes", Cell::text(text(&found, "notes"))),
        ],
    );
    let mut table = Table::new("Coats and patches", "Not dipped yet.", &["When", "What", "Viscosity, s#"]);
    for (n, coat) in items(&found["coats"]).iter().enumerate() {
        let what = format!("coat {}, {} {}", n + 1, text(coat, "kind"), text(coat, "stucco"));
        let when = Cell::text(look.reads.at(&coat["at"])).to(format!("/records/{}", text(coat, "id")));
        table.row([when, what.trim().to_owned().into(), text(coat, "viscosity_s").into()]);
    }
    for patch in items(&found["patches"]) {
        let what = ["patched".to_owned(), text(patch, "where"), text(patch, "material")];
        let what: Vec<String> = what.into_iter().filter(|w| !w.is_empty()).collect();
        let when = Cell::text(look.reads.at(&patch["at"])).to(format!("/records/{}", text(patch, "id")));
        table.row([when, plain(&what.join(", ")).into(), Cell::text("")]);
    }
    sheet.table(table);
    if matches!(stage, "shell" | "burnout" | "preheat") {
        let patch = look
            .slip(format!("shells/{tag}/patches"), "Patched")
            .field(Field::text("where", "Where"))
            .field(Field::text("material", "With what").more())
            .field(Field::at())
            .field(look.hands("Patched by"));
        sheet.folded("Patch it", patch);
    }
    sheet.links(&[("All shells", "/shells".to_owned()), ("Its record", format!("/records/{}", text(&found, "id")))]);
    sheet.show()
}

/// What the coin of a trial gave a shell: to be seen while it runs, else said.
async fn trials(look: &Look<'_>, tag: &str) -> Result<Vec<Part>, Problem> {
    let pairs = look.get(&format!("/v1/trial-pairs?shell_ids={tag}&limit=5")).await?;
    let mut out = Vec::new();
    for pair in items(&pairs["items"]) {
        let Some(mine) = items(&pair["assignments"]).iter().find(|a| a["tag"] == tag) else { continue };
        let said = format!("Trial {}: {}, {}.", text(pair, "trial"), text(mine, "arm").to_uppercase(), text(mine, "is"));
        out.push(if pair["running"] == true { Part::Note(said) } else { Part::Words(said) });
    }
    Ok(out)
}
