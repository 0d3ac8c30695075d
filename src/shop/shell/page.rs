//! `/dip`: a rack of shells gets the next coat of its recipe.

use super::api::dip_rack;
use super::dips::{Dip, next_dip};
use super::store;
use crate::book::api::Kit;
use crate::book::story;
use crate::kernel::actor::Right;
use crate::kernel::{Instant, Problem, ProblemType, Seq};
use crate::shop::casting;
use crate::shop::casting::route::Stage;
use crate::shop::house::settings;
use crate::shop::house::shown::Shown as Reads;
use crate::web::page::escape_part;
use crate::web::{Ctx, Form, Frame, Method, Page, Shown, Visit};
use askama::Template;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

struct Choice {
    tag: String,
    ticked: bool,
    wet: String,
}

struct Rack {
    n: usize,
    key: String,
    what: String,
    recipe: String,
    kind: String,
    slurry: String,
    stucco: String,
    shells: Vec<Choice>,
    viscosity: String,
    room: String,
    humidity: String,
    hands: String,
    all_wet: bool,
}

#[derive(Template)]
#[template(path = "dip.html")]
struct DipPage {
    frame: Frame,
    faults: Vec<(&'static str, String)>,
    said: String,
    degrees: &'static str,
    racks: Vec<Rack>,
    finished: Vec<(String, String)>,
}

/// The pages of the dip room.
#[must_use]
pub fn pages(kit: &Kit) -> Vec<Page> {
    let (show, take) = (kit.clone(), kit.clone());
    vec![
        Page::get("/dip", Right::Log, move |visit| {
            let kit = show.clone();
            async move { page(&kit, &visit, Vec::new()).await }
        }),
        Page::post("/dip", Right::Log, move |visit| {
            let kit = take.clone();
            async move { dipped(&kit, visit).await }
        }),
    ]
}

async fn page(kit: &Kit, visit: &Visit, faults: Vec<(&'static str, String)>) -> Result<Shown, Problem> {
    let mut read = kit.db.read().await?;
    let now = visit.now;
    let settings = settings::of(&mut read).await?;
    let shells = casting::shells_at(&mut read, &[Stage::Shell]).await?;
    let story = story::load(&mut read, &[], &shells).await?;
    let names = store::names(&mut read, &shells).await?;
    let begin = settings.begin(settings.day(now)).unwrap_or(now);
    let reading = store::last_reading(&mut read, begin).await?;
    drop(read);
    let reads = Reads::new(settings, now);
    let name =
        |seq: Seq| names.iter().find(|(s, ..)| *s == seq).map_or(("", ""), |(_, tag, recipe)| (tag.as_str(), recipe.as_str()));
    let only = crate::kernel::Tag::parse(visit.query.get("shell")).map(|tag| tag.to_string());
    let (mut racks, mut finished) = (BTreeMap::<(String, usize), Rack>::new(), Vec::new());
    for dip in shells.iter().filter_map(|shell| next_dip(&story, *shell)) {
        let (tag, recipe) = name(dip.shell);
        let wet = dip.dry_at.filter(|at| *at > now).map_or_else(String::new, |at| reads.soon(at));
        if !dip.is_due() {
            finished.push((tag.to_owned(), wet));
            continue;
        }
        let n = racks.len() + 1;
        let rack =
            racks.entry((recipe.to_owned(), dip.coat)).or_insert_with(|| rack(n, &dip, recipe, kit, visit, &reading, &reads));
        let ticked = only.as_deref().map_or(wet.is_empty(), |only| only == tag);
        rack.all_wet &= !ticked;
        rack.shells.push(Choice { tag: tag.to_owned(), ticked, wet });
    }
    let mut racks: Vec<Rack> = racks.into_values().collect();
    if let Some(only) = &only {
        racks.retain(|rack| rack.shells.iter().any(|s| s.tag == *only));
    }
    let mut frame = visit.frame("Dip");
    frame.faulty = !faults.is_empty();
    let status = if faults.is_empty() { 200 } else { 422 };
    let said = done(&visit.query);
    let degrees = reads.units().temperature_symbol();
    Shown::page(&DipPage { frame, faults, said, degrees, racks, finished }).map(|shown| shown.status(status))
}

fn done(query: &Form) -> String {
    match query.get("done").parse::<u16>() {
        Ok(1) => "One shell dipped.".to_owned(),
        Ok(n) if n > 0 => format!("{n} shells dipped."),
        _ => String::new(),
    }
}

fn rack(n: usize, dip: &Dip, recipe: &str, kit: &Kit, visit: &Visit, reading: &Value, reads: &Reads) -> Rack {
    let text = |name: &str| dip.planned[name].as_str().unwrap_or("").to_owned();
    let typed = |name: &str, read: String| if visit.form.get("kind").is_empty() { read } else { visit.form.get(name).to_owned() };
    let number = |name: &str| reading[name].as_f64().map_or_else(String::new, |n| n.to_string());
    let room = reading["room_c"]
        .as_f64()
        .and_then(crate::kernel::Celsius::new)
        .map_or_else(String::new, |c| reads.units().temperature_field(c));
    // A cup's seconds are of one slurry; those of another say nothing.
    let same = reading["slurry"] == dip.planned["slurry"];
    Rack {
        n,
        key: kit.db.clock().mint().to_string(),
        what: format!("Coat {} of {}, {}", dip.coat, dip.of, dip.words()),
        recipe: recipe.to_owned(),
        kind: text("kind"),
        slurry: text("slurry"),
        stucco: text("stucco"),
        shells: Vec::new(),
        viscosity: typed("viscosity_s", if same { number("viscosity_s") } else { String::new() }),
        room: typed("room", room),
        humidity: typed("humidity_percent", number("humidity_percent")),
        hands: typed("hand", visit.actor.as_ref().map_or_else(String::new, |a| a.name.clone())),
        all_wet: true,
    }
}

/// The form as the API takes it.
fn body(form: &Form, now: Instant, reads: &Reads) -> Result<Value, Vec<(&'static str, String)>> {
    let mut out = Map::new();
    let mut faults = Vec::new();
    let shells: Vec<&str> = form.all("shell").filter(|s| !s.is_empty()).collect();
    if shells.is_empty() {
        faults.push(("racks", "Tick the shells that were dipped.".to_owned()));
    }
    out.insert("shell_ids".into(), json!(shells));
    out.insert("at".into(), now.to_string().into());
    for name in ["kind", "slurry", "stucco"] {
        if !form.get(name).is_empty() {
            out.insert(name.into(), form.get(name).into());
        }
    }
    for (name, words) in [("viscosity_s", "Viscosity"), ("humidity_percent", "Humidity")] {
        let typed = form.get(name).replace(',', ".");
        if typed.is_empty() {
            continue;
        }
        match typed.parse::<f64>().ok().filter(|n| n.is_finite()) {
            Some(number) => {
                out.insert(name.into(), json!(number));
            }
            None => faults.push(("racks", format!("{words} is a plain number."))),
        }
    }
    if !form.get("room").is_empty() {
        match reads.units().read_temperature(form.get("room")) {
            Ok(celsius) => {
                out.insert("room_c".into(), json!(celsius.get()));
            }
            Err(e) => faults.push(("racks", format!("Room: {e}."))),
        }
    }
    if !form.get("hand").is_empty() {
        out.insert("hands".into(), json!([form.get("hand")]));
    }
    if faults.is_empty() { Ok(Value::Object(out)) } else { Err(faults) }
}

async fn dipped(kit: &Kit, visit: Visit) -> Result<Shown, Problem> {
    let reads = Reads::new(settings::of(&mut kit.db.read().await?).await?, visit.now);
    let body = match body(&visit.form, visit.now, &reads) {
        Ok(body) => body,
        Err(faults) => return page(kit, &visit, faults).await,
    };
    let shells = body["shell_ids"].as_array().map_or(0, Vec::len);
    let ctx = Ctx {
        actor: visit.actor.clone(),
        path_params: Vec::new(),
        query: Vec::new(),
        body,
        path: "/v1/coats".to_owned(),
        method: Method::Post,
        if_match: None,
        key: Some(visit.form.get("key").to_owned()).filter(|key| !key.is_empty()),
        sent: None,
        now: visit.now,
    };
    match dip_rack(kit, ctx).await {
        Ok(_) => Ok(Shown::go(&format!("/dip?done={}", escape_part(&shells.to_string())))),
        Err(problem) if problem.kind == ProblemType::KeyReused => {
            let said = "That rack was recorded already. Nothing was written again.".to_owned();
            page(kit, &visit, vec![("racks", said)]).await
        }
        Err(problem) if problem.kind == ProblemType::Invalid => {
            let faults = problem.faults.into_iter().map(|f| ("racks", f.message)).collect();
            page(kit, &visit, faults).await
        }
        Err(problem) => Err(problem),
    }
}
