//! `/find`: straight to the casting of a tag, else a list.

use super::store;
use crate::book::api::{Kit, find};
use crate::kernel::actor::Right;
use crate::kernel::{Kind, Problem, ProblemType, Seq, Tag};
use crate::shop::casting::{self, Listed};
use crate::shop::house::settings;
use crate::shop::house::shown::Shown as Reads;
use crate::web::page::escape_part;
use crate::web::{Frame, Page, Shown, Visit};
use askama::Template;

/// How many are listed.
const MOST: i64 = 60;

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
    rows: Vec<Row>,
}

#[derive(Template)]
#[template(path = "find.html")]
struct FindPage {
    frame: Frame,
    count: i64,
    band: Band,
}

/// The page that finds.
#[must_use]
pub fn pages(kit: &Kit) -> Vec<Page> {
    let kit = kit.clone();
    vec![Page::get("/find", Right::Read, move |visit| {
        let kit = kit.clone();
        async move { look(&kit, &visit).await }
    })]
}

async fn look(kit: &Kit, visit: &Visit) -> Result<Shown, Problem> {
    let mut read = kit.db.read().await?;
    let text: String = visit.query.get("q").chars().take(80).collect();
    let tag = Tag::parse(&text);
    if let Some(tag) = tag {
        for kind in [Kind::Casting, Kind::Shell] {
            match find(&mut read, kind, &text).await {
                Ok(_) if kind == Kind::Casting => return Ok(Shown::go(&format!("/castings/{tag}"))),
                Ok(_) => return Ok(Shown::go(&format!("/shells/{tag}"))),
                Err(problem) if problem.kind == ProblemType::NotFound => {}
                Err(problem) => return Err(problem),
            }
        }
    }
    // A number stands for one job or one heat.
    for (kind, page) in [(Kind::Commission, "jobs"), (Kind::Heat, "heats")] {
        let number = text.to_ascii_uppercase();
        if number.chars().any(|c| c.is_ascii_digit()) && number.contains('-') && !number.contains(' ') {
            match find(&mut read, kind, &number).await {
                Ok(_) => return Ok(Shown::go(&format!("/{page}/{}", escape_part(&number)))),
                Err(problem) if problem.kind == ProblemType::NotFound => {}
                Err(problem) => return Err(problem),
            }
        }
    }
    let mut of: Vec<Seq> = Vec::new();
    if !text.is_empty() {
        of = store::named(&mut read, &text, 200).await?;
    }
    let listed = casting::seen_by(casting::listed_of(&mut read, &of, MOST).await?, visit.actor()?.role);
    let reads = Reads::new(settings::of(&mut read).await?, visit.now);
    let rows = listed.iter().map(|c| row(c, &reads)).collect();
    let title = if text.is_empty() { "Find".to_owned() } else { format!("Found by {text}") };
    let mut frame = visit.frame(title);
    frame.find = text;
    Shown::page(&FindPage { frame, count: listed.first().map_or(0, |c| c.of), band: Band { rows } })
}

fn row(casting: &Listed, reads: &Reads) -> Row {
    let part = if casting.part == "whole" { String::new() } else { format!(", {}", casting.part) };
    let attempt = if casting.attempt > 1 { format!(", attempt {}", casting.attempt) } else { String::new() };
    Row {
        tag: casting.tag.clone(),
        what: format!("{}{part}{attempt}", casting.pattern),
        mark: casting.mark.clone().or_else(|| casting.maker.clone()).unwrap_or_default(),
        number: casting.number.clone(),
        shell: casting.shell.as_ref().map_or_else(String::new, |(_, tag)| tag.clone()),
        since: format!("{} {}", casting.stage, casting.since.map_or_else(String::new, |at| reads.ago(at))),
        unique: casting.unique,
    }
}
