//! `/jobs/{id}/links`, where the owner makes and ends links; `/progress/{secret}`, what they show.

use super::store;
use crate::book::api::find;
use crate::book::reach;
use crate::kernel::actor::Right;
use crate::kernel::{Kind, Problem, ProblemType};
use crate::shop::casting::{self, CastingRow};
use crate::shop::house::floor::Floor;
use crate::shop::house::settings;
use crate::shop::house::shown::Shown as Reads;
use crate::web::page::escape_part;
use crate::web::{Frame, Page, Shown, Visit};
use askama::Template;
use std::collections::BTreeMap;
use std::sync::Arc;

struct LinkRow {
    n: i64,
    said: String,
    live: bool,
}

#[derive(Template)]
#[template(path = "links.html")]
struct LinksPage {
    frame: Frame,
    number: String,
    made: String,
    links: Vec<LinkRow>,
}

struct Line {
    what: String,
    mark: String,
    place: usize,
    said: String,
}

#[derive(Template)]
#[template(path = "progress.html")]
struct ProgressPage {
    frame: Frame,
    title: String,
    due: String,
    steps: Vec<&'static str>,
    lines: Vec<Line>,
}

/// The pages.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    let (make, end, look) = (Arc::new(floor.clone()), Arc::new(floor.clone()), Arc::new(floor.clone()));
    vec![
        floor.page("/jobs/{id}/links", Right::Own, |floor, visit| async move { links(&floor, &visit, String::new()).await }),
        Page::post("/jobs/{id}/links", Right::Own, move |visit| {
            let floor = make.clone();
            async move { make_link(&floor, visit).await }
        }),
        Page::post("/jobs/{id}/links/end", Right::Own, move |visit| {
            let floor = end.clone();
            async move { end_link(&floor, visit).await }
        }),
        Page::get("/progress/{secret}", Right::Open, move |visit| {
            let floor = look.clone();
            async move { progress(&floor, visit).await }
        }),
    ]
}

async fn links(floor: &Floor, visit: &Visit, made: String) -> Result<Shown, Problem> {
    let mut read = floor.kit.db.read().await?;
    let commission = find(&mut read, Kind::Commission, visit.part("id")).await?;
    let reads = Reads::new(settings::of(&mut read).await?, visit.now);
    let links = store::links(&mut read, commission).await?;
    let say = |link: &store::Link| {
        let ended = link.ended.map_or_else(String::new, |at| format!(", ended {}", reads.day(at)));
        format!("made by {} on {}{ended}", link.by, reads.day(link.created))
    };
    let links = links.iter().map(|link| LinkRow { n: link.n, said: say(link), live: link.ended.is_none() }).collect();
    Shown::page(&LinksPage {
        frame: visit.frame(format!("Links to job {}", visit.part("id"))),
        number: visit.part("id").to_owned(),
        made,
        links,
    })
}

async fn make_link(floor: &Floor, visit: Visit) -> Result<Shown, Problem> {
    let commission = find(&mut floor.kit.db.read().await?, Kind::Commission, visit.part("id")).await?;
    let mut tx = floor.kit.db.write(visit.actor()?).await?;
    let secret = store::make(&mut tx, commission);
    let secret = tx.save(secret).await?;
    links(floor, &visit, format!("/progress/{secret}")).await
}

async fn end_link(floor: &Floor, visit: Visit) -> Result<Shown, Problem> {
    let commission = find(&mut floor.kit.db.read().await?, Kind::Commission, visit.part("id")).await?;
    let n = visit.form.get("n").parse().map_err(|_| Problem::new(ProblemType::NotFound, "There is no such link."))?;
    let mut tx = floor.kit.db.write(visit.actor()?).await?;
    store::end(&mut tx, commission, n);
    tx.save(()).await?;
    Ok(Shown::go(&format!("/jobs/{}/links", escape_part(visit.part("id")))))
}

/// The steps that a client is shown, and the place among them of each stage of a casting.
const STEPS: [&str; 5] = ["Wax", "Shell", "Metal", "Bench", "Finished"];

fn place(stage: &str) -> usize {
    match stage {
        "shell" | "burnout" | "preheat" => 1,
        "pour" | "breakout" => 2,
        "bench" => 3,
        "done" => 4,
        "delivered" => STEPS.len(),
        _ => 0,
    }
}

/// What is shown of a job: of each piece how far it is; no costs, no names, no failed attempts.
async fn progress(floor: &Floor, visit: Visit) -> Result<Shown, Problem> {
    let gone =
        || Problem::new(ProblemType::NotFound, "This link shows nothing, or nothing any more. Ask the foundry for a new one.");
    let mut read = floor.kit.db.read().await?;
    let commission = store::job(&mut read, visit.part("secret")).await?.ok_or_else(gone)?;
    let reads = Reads::new(settings::of(&mut read).await?, visit.now);
    let job = reach::by_seqs(&mut read, &[commission]).await?.pop().ok_or_else(gone)?;
    let castings = casting::by_commission(&mut read, commission).await?;
    let seqs: Vec<_> = castings.iter().map(|c| c.seq).collect();
    let listed = casting::listed_of(&mut read, &seqs, 400).await?;
    let mut last: BTreeMap<(i64, i64), &CastingRow> = BTreeMap::new();
    for casting in castings.iter().filter(|c| c.stage != "scrapped") {
        last.insert((casting.piece_seq, casting.part_n), casting);
    }
    // A part whose castings are all scrapped begins anew.
    for casting in &castings {
        last.entry((casting.piece_seq, casting.part_n)).or_insert(casting);
    }
    let lines = last
        .values()
        .map(|casting| {
            let known = listed.iter().find(|l| l.seq == casting.seq);
            let part = if casting.part == "whole" { String::new() } else { format!(", {}", casting.part) };
            let place = place(&casting.stage);
            let said = STEPS.get(place).copied().unwrap_or("handed over");
            Line {
                what: format!("{}{part}", known.map_or("", |l| l.pattern.as_str())),
                mark: known.and_then(|l| l.mark.clone()).unwrap_or_default(),
                place,
                said: said.to_lowercase(),
            }
        })
        .collect();
    let mut frame = visit.frame("How far the work is");
    frame.who = None;
    frame.here = String::new();
    let due = job.body["due_on"].as_str().and_then(|day| day.parse().ok()).map_or_else(String::new, |day| reads.date(day));
    let title = job.body["title"].as_str().unwrap_or_default().to_owned();
    Shown::page(&ProgressPage { frame, title, due, steps: STEPS.to_vec(), lines })
}
