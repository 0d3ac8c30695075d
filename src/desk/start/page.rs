//! The start page.

use super::reminders::{self, Found, Reminder};
use crate::book::api::Kit;
use crate::book::story;
use crate::kernel::actor::Right;
use crate::kernel::{Instant, Kind, Mass, Problem, Seq};
use crate::shop::casting::route::Stage;
use crate::shop::casting::{self, IN_THE_SHOP, Listed};
use crate::shop::house::shown::Shown as Reads;
use crate::shop::house::{settings, trade};
use crate::shop::shell::{self, Dip};
use crate::shop::{burnout, commission, metal};
use crate::web::{Frame, Page, Shown, Visit};
use askama::Template;
use std::collections::BTreeMap;

/// How many castings of a stage are listed; the rest are counted.
const OF_EACH: i64 = 15;
/// How many days before its day a job is near.
const NEAR_DAYS: i32 = 14;

struct Row {
    tag: String,
    what: String,
    mark: String,
    number: String,
    shell: String,
    since: String,
    unique: bool,
}

struct Band {
    id: &'static str,
    name: &'static str,
    next: &'static str,
    count: i64,
    rows: Vec<Row>,
}

struct DipRow {
    what: String,
    recipe: String,
    dry: Vec<String>,
    wet: Vec<(String, String)>,
}

struct MetalRow {
    alloy: String,
    shells: usize,
    clear: String,
    on_hand: String,
}

struct AgainstRow {
    tag: String,
    why: String,
}

struct JobRow {
    number: String,
    title: String,
    due: String,
    late: bool,
    left: i64,
}

#[derive(Template)]
#[template(path = "start.html")]
struct StartPage {
    frame: Frame,
    empty: bool,
    bands: Vec<Band>,
    dips: Vec<DipRow>,
    metal: Vec<MetalRow>,
    against: Vec<AgainstRow>,
    jobs: Vec<JobRow>,
    reminders: Vec<Reminder>,
}

/// The start page as a page.
#[must_use]
pub fn pages(kit: &Kit) -> Vec<Page> {
    let kit = kit.clone();
    vec![Page::get("/", Right::Read, move |visit| {
        let kit = kit.clone();
        async move { start(&kit, &visit).await }
    })]
}

async fn start(kit: &Kit, visit: &Visit) -> Result<Shown, Problem> {
    let mut read = kit.db.read().await?;
    let now = visit.now;
    let settings = settings::of(&mut read).await?;
    let trade = trade::of(&mut read).await?;
    let reads = Reads::new(settings.clone(), now);
    let listed = casting::seen_by(casting::in_the_shop(&mut read, OF_EACH).await?, visit.actor()?.role);
    let dipping = casting::shells_at(&mut read, &[Stage::Shell]).await?;
    let fired = casting::shells_at(&mut read, &[Stage::Burnout, Stage::Preheat]).await?;
    let both: Vec<Seq> = dipping.iter().chain(&fired).copied().collect();
    let story = story::load(&mut read, &[], &both).await?;
    let names = shell::names(&mut read, &both).await?;
    let flags = burnout::flags(&mut read, &fired).await?;
    let expected = metal::expected(&mut read, &fired).await?;
    let on_hand = metal::on_hand(&mut read).await?;
    let left = casting::still_owed(&mut read).await?;
    let today = settings.day(now);
    let until = today.saturating_add(jiff::Span::new().days(NEAR_DAYS));
    let open: Vec<Seq> = left.iter().map(|(seq, _)| *seq).collect();
    let due = commission::due(&mut read, &open, &until.to_string()).await?;
    let tag_of = |seq: Seq| names.iter().find(|(s, ..)| *s == seq).map_or_else(String::new, |(_, tag, _)| tag.clone());
    let recipe_of = |seq: Seq| names.iter().find(|(s, ..)| *s == seq).map_or_else(String::new, |(.., name)| name.clone());
    let dips: Vec<Dip> = dipping.iter().filter_map(|shell| shell::next_dip(&story, *shell)).collect();
    let mut against = Vec::new();
    let mut clear: BTreeMap<&str, (usize, Mass)> = BTreeMap::new();
    for &shell in &fired {
        let why = burnout::against(&story, &settings, shell, &flags, now);
        if !why.is_empty() {
            against.push(AgainstRow { tag: tag_of(shell), why: why.join("; ") });
        } else if let Some((_, alloy, mass)) = expected.iter().find(|(s, ..)| *s == shell) {
            let sum = clear.entry(alloy.as_str()).or_default();
            *sum = (sum.0 + 1, sum.1 + *mass);
        }
    }
    let fired_last = |shell: Seq| {
        story.on_shell(shell).iter().filter(|l| l.kind == Kind::Burnout && l.body["purpose"] != "dewax").map(|l| l.at).max()
    };
    let found = Found {
        open: &open,
        money: visit.actor()?.sees_money,
        dry: dips.iter().filter(|dip| dip.is_due() && dip.dry_at.is_none_or(|at| at <= now)).count(),
        standing: fired.iter().filter_map(|&shell| Some((tag_of(shell), fired_last(shell)?))).collect(),
        short: clear
            .iter()
            .map(|(alloy, (_, need))| (*alloy, *need, on_hand.iter().find(|(a, _)| a == alloy).map_or(Mass::ZERO, |(_, m)| *m)))
            .filter(|(_, need, held)| held < need)
            .map(|(alloy, need, held)| {
                (trade.alloy(alloy).map_or_else(|| alloy.to_owned(), |a| format!("{} {alloy}", a.common_name)), need, held)
            })
            .collect(),
    };
    let reminders = reminders::all(&mut read, &settings, &reads, now, &found).await?;
    drop(read);
    let alloys: std::collections::BTreeSet<&str> = clear.keys().copied().chain(on_hand.iter().map(|(a, _)| a.as_str())).collect();
    let metal = alloys
        .into_iter()
        .map(|code| {
            let (shells, mass) = clear.get(code).copied().unwrap_or_default();
            let held = on_hand.iter().find(|(a, _)| a == code).map_or(Mass::ZERO, |(_, m)| *m);
            let alloy = trade.alloy(code).map_or_else(|| code.to_owned(), |a| format!("{} {code}", a.common_name));
            MetalRow {
                alloy,
                shells,
                clear: if mass.is_zero() { "none".to_owned() } else { reads.mass(mass) },
                on_hand: reads.mass(held),
            }
        })
        .collect();
    let jobs = due
        .into_iter()
        .map(|(seq, number, title, day)| JobRow {
            left: left.iter().find(|(s, _)| *s == seq).map_or(0, |(_, n)| *n),
            late: day < today.to_string(),
            due: day.parse().map_or(day, |day| reads.date(day)),
            number,
            title,
        })
        .collect();
    let bands = bands(&listed, &reads);
    Shown::page(&StartPage {
        frame: visit.frame("Where everything is"),
        empty: listed.is_empty(),
        bands,
        dips: dip_rows(dips, &reads, now, tag_of, recipe_of),
        metal,
        against,
        jobs,
        reminders,
    })
}

fn bands(listed: &[Listed], reads: &Reads) -> Vec<Band> {
    IN_THE_SHOP
        .iter()
        .map(|stage| {
            let here: Vec<&Listed> = listed.iter().filter(|c| c.stage == stage.name()).collect();
            let (name, next) = match stage {
                Stage::Wax => ("Wax", "not yet in a shell"),
                Stage::Shell => ("Shell", "being dipped"),
                Stage::Burnout => ("Burnout", "has been in the kiln"),
                Stage::Preheat => ("Preheat", "brought back to heat"),
                Stage::Pour => ("Pour", "to break out"),
                Stage::Breakout => ("Breakout", "to cut off"),
                Stage::Bench => ("Bench", "to finish"),
                _ => ("Done", "to hand over"),
            };
            Band {
                id: stage.name(),
                name,
                next,
                count: here.first().map_or(0, |c| c.of),
                rows: here.into_iter().map(|c| row(c, reads)).collect(),
            }
        })
        .collect()
}

fn row(casting: &Listed, reads: &Reads) -> Row {
    let mut what = casting.pattern.clone();
    if !casting.part.is_empty() && casting.part != "whole" {
        what = format!("{what}, {}", casting.part);
    }
    if casting.attempt > 1 {
        what = format!("{what}, attempt {}", casting.attempt);
    }
    Row {
        tag: casting.tag.clone(),
        what,
        mark: casting.mark.clone().or_else(|| casting.maker.clone()).unwrap_or_default(),
        number: casting.number.clone(),
        shell: casting.shell.as_ref().map_or_else(String::new, |(_, tag)| tag.clone()),
        since: casting.since.map_or_else(String::new, |at| reads.ago(at)),
        unique: casting.unique,
    }
}

/// Dips gathered by recipe and coat: what one rack would get.
fn dip_rows(
    dips: Vec<Dip>,
    reads: &Reads,
    now: Instant,
    tag_of: impl Fn(Seq) -> String,
    recipe_of: impl Fn(Seq) -> String,
) -> Vec<DipRow> {
    let mut racks: BTreeMap<(String, usize, usize, String), DipRow> = BTreeMap::new();
    for dip in dips {
        let recipe = recipe_of(dip.shell);
        let rack = racks.entry(dip.rack(&recipe)).or_insert_with(|| {
            let last = !dip.is_due();
            let what = if last {
                "All coats on, to the kiln".to_owned()
            } else {
                format!("Coat {} of {}, {}", dip.coat, dip.of, dip.words())
            };
            DipRow { what, recipe, dry: Vec::new(), wet: Vec::new() }
        });
        match dip.dry_at.filter(|at| *at > now) {
            Some(at) => rack.wet.push((tag_of(dip.shell), reads.soon(at))),
            None => rack.dry.push(tag_of(dip.shell)),
        }
    }
    racks.into_values().collect()
}
