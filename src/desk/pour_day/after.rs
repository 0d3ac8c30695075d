//! What is logged after the pour: in this order, all full, then what differed; and that the
//! pours of a heat went as planned.

use super::page::{Despite, page};
use crate::kernel::{Instant, Problem, ProblemType};
use crate::shop::house::floor::{Floor, items, text};
use crate::web::inside::Asked;
use crate::web::slip::despite_words;
use crate::web::typed::{Measures as _, number, sentence};
use crate::web::{Method, Shown, Visit};
use serde_json::{Value, json};

/// The longest that two pours of one heat may be apart, in minutes.
const APART: f64 = 120.0;

struct Line {
    tag: String,
    place: i64,
    filled: String,
}

fn lines(visit: &Visit, faults: &mut Vec<String>) -> Vec<Line> {
    let mut out: Vec<Line> = Vec::new();
    for (name, value) in &visit.form.0 {
        let (Some(tag), place) = (name.strip_prefix("place."), value.trim()) else { continue };
        if place.is_empty() {
            continue;
        }
        match place.parse::<i64>() {
            Ok(place) if (1..=200).contains(&place) => {
                let filled = visit.form.get(&format!("filled.{tag}")).to_owned();
                let filled = if filled.is_empty() { "full".to_owned() } else { filled };
                out.push(Line { tag: tag.to_owned(), place, filled });
            }
            _ => faults.push(format!("The place of {tag} is a whole number from 1.")),
        }
    }
    out.sort_by_key(|line| line.place);
    for pair in out.windows(2) {
        if let [a, b] = pair
            && a.place == b.place
        {
            faults.push(format!("{} and {} have one place.", a.tag, b.tag));
        }
    }
    if out.is_empty() && faults.is_empty() {
        faults.push("Give the shells that were poured a place: 1 for the first.".to_owned());
    }
    out
}

/// Logs what was poured, in the order given, all of it or up to the first that is refused.
pub(super) async fn log(floor: &Floor, visit: Visit) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let mut faults = Vec::new();
    let lines = lines(&visit, &mut faults);
    let started = look.reads.time(visit.form.get("started")).map_err(|why| faults.push(format!("Begun: {why}."))).ok();
    let minutes = number(visit.form.get("minutes")).ok().filter(|m| (0.0..=APART).contains(m));
    if minutes.is_none() {
        faults.push(format!("Minutes from one pour to the next: a number from 0 to {APART:.0}."));
    }
    let heat = visit.form.get("heat").to_owned();
    if heat.is_empty() {
        faults.push("Light a heat first; metal is poured from one.".to_owned());
    }
    let (Some(started), Some(minutes), true) = (started, minutes, faults.is_empty()) else {
        return page(floor, &visit, faults, &[]).await;
    };
    let (mut recorded, mut despite) = (0_u16, Vec::new());
    for line in &lines {
        // By its place, not by how many are left: sent again, the rest keep their times.
        let body = pour(&visit, line, after(started, minutes, line.place));
        let key = format!("{}-{}", visit.form.get("_key"), line.tag);
        let asked = ask(&visit, Method::Post, format!("/v1/heats/{heat}/pours"), body, Some(key), None)?;
        match floor.inside.ask(asked).await {
            Ok(_) => recorded += 1,
            Err(problem) if matches!(problem.kind, ProblemType::Busy | ProblemType::Internal) => return Err(problem),
            Err(problem) => {
                faults.push(format!("{}: {}", line.tag, said(&problem)));
                let codes = problem.despite();
                if let Some(first) = codes.first() {
                    let words = despite_words(first).to_owned();
                    despite.push(Despite { name: format!("despite.{}", line.tag), codes: codes.join(","), words });
                }
                break;
            }
        }
    }
    if faults.is_empty() {
        return Ok(Shown::go(&format!("/pour-day?heat={heat}&done={recorded}")));
    }
    if recorded > 0 {
        faults.push(format!("The {recorded} before it are recorded."));
    }
    page(floor, &visit, faults, &despite).await
}

#[expect(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "at most 200 pours, two hours apart")]
fn after(started: Instant, minutes: f64, place: i64) -> Instant {
    started.plus_ms((minutes * 60_000.0 * (place - 1) as f64) as i64)
}

fn pour(visit: &Visit, line: &Line, at: Instant) -> Value {
    // Logged after, the times are about.
    let mut body = json!({"shell_id": line.tag, "filled": line.filled, "at": at.to_string(), "at_precision": "hour"});
    let mut assumed = Vec::new();
    for (name, list) in [("support", false), ("hands", true)] {
        let said = visit.form.get(name);
        if said.is_empty() {
            continue;
        }
        body[name] = if list { said.split(',').map(str::trim).filter(|n| !n.is_empty()).collect() } else { json!(said) };
        if visit.form.get(&format!("_assumed.{name}")) == said {
            assumed.push(name);
        }
    }
    body["assumed"] = json!(assumed);
    // Said of the one that was refused, by its tag: of no other.
    let said = format!("despite.{}", line.tag);
    let despite: Vec<&str> = visit.form.all(&said).flat_map(|codes| codes.split(',')).collect();
    if !despite.is_empty() {
        body["despite"] = json!(despite);
    }
    body
}

fn ask(
    visit: &Visit,
    method: Method,
    path: String,
    body: Value,
    key: Option<String>,
    if_match: Option<String>,
) -> Result<Asked, Problem> {
    Ok(Asked { actor: visit.actor()?, method, path, body, key, sent: None, if_match, now: visit.now })
}

fn said(problem: &Problem) -> String {
    if problem.faults.is_empty() {
        return problem.detail.clone();
    }
    problem.faults.iter().map(|f| sentence(&f.message)).collect::<Vec<_>>().join(" ")
}

/// Says that what was assumed of the pours of a heat was so.
pub(super) async fn confirm(floor: &Floor, visit: Visit) -> Result<Shown, Problem> {
    let heat = visit.form.get("heat").to_owned();
    let record = floor.inside.get(&visit, &format!("/v1/heats/{}", crate::web::page::escape_part(&heat))).await?;
    for pour in items(&record["pours"]).iter().filter(|p| !items(&p["assumed"]).is_empty()) {
        let body = json!({"assumed": null, "reason": "all as planned"});
        let path = format!("/v1/pours/{}", text(pour, "id"));
        floor.inside.ask(ask(&visit, Method::Patch, path, body, None, Some(format!("\"{}\"", text(pour, "etag"))))?).await?;
    }
    Ok(Shown::go(&format!("/pour-day?heat={heat}")))
}
